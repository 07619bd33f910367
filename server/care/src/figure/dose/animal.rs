//! Whether this horse may have it: its age, its condition, a mare in foal, food for people.

use crate::calendar::{Period, days_after};
use crate::code::Parasite;
use crate::fault::Faults;
use crate::horse::BreedType;
use crate::sentence::counted;
use crate::unit::plain;

use super::case::{Case, Findings, Under};
use super::code::Code;
use super::fact::{ActiveRow, Debilitated, InFoalLabel, Youngest};
use super::input::{Food, Label};
use super::limit::LimitName;

/// Looks at the horse.
pub(super) fn look(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    for active in &case.all {
        age(case, active, found);
        condition(case, active, found)?;
        in_foal(case, active, found);
    }
    first_dose(case, found)?;
    ascarids(case, found)?;
    if case.input.breed_type == Some(BreedType::Donkey) {
        found.warn(
            Code::Donkey,
            "labels speak of horses; doses for donkeys are common practice, no source: ask your vet",
        );
    }
    Ok(())
}

/// Case 1: too young, or an age that matters and is not known.
fn age(case: &Case<'_>, active: &ActiveRow, found: &mut Findings) {
    let Some(row) = strictest(case, active) else {
        return;
    };
    let name = &active.name;
    let label = match row.label {
        Some(Label::Us) => "the US label",
        Some(Label::Gb) => "the UK label",
        None => "labels",
    };
    match case.age.under(row.age) {
        Under::Yes => {
            found.rest_on(case.pack, row);
            found.refuse(
                Code::TooYoung,
                format!("{name} is not for horses under {} ({label})", row.age),
            );
        }
        Under::Maybe => {
            let settled = row.settled_from_kg.is_some_and(|kg| case.kg() >= kg);
            if !settled {
                found.rest_on(case.pack, row);
                found.warn_or_refuse(
                    active.narrow_margin,
                    Code::AgeUnknown,
                    format!(
                        "{name} is not for horses under {} ({label}), and this one's age does not tell: say when it was foaled",
                        row.age
                    ),
                );
            }
        }
        Under::No => {}
    }
}

/// The rule with the highest age that applies; without a label, of all labels.
fn strictest<'a>(case: &Case<'a>, active: &ActiveRow) -> Option<&'a Youngest> {
    let holds = |other: &String| case.all.iter().any(|row| row.id == *other);
    let form = case.product.as_ref().and_then(|held| held.form);
    case.pack
        .youngest
        .iter()
        .filter(|row| row.active == active.id)
        .filter(|row| row.label.is_none() || case.label.is_none() || row.label == case.label)
        .filter(|row| row.with.as_ref().is_none_or(holds))
        .filter(|row| {
            row.form
                .as_ref()
                .is_none_or(|id| form.is_some_and(|form| form.id == *id))
        })
        .max_by_key(|row| row.age.rough_days())
}

/// Cases 2 and 8: thin, weak or light.
fn condition(case: &Case<'_>, active: &ActiveRow, found: &mut Findings) -> Result<(), Faults> {
    let name = &active.name;
    let weak = case.input.debilitated == Some(true);
    if active.narrow_margin {
        let thin_at = case.number(LimitName::ThinAtScore)?;
        let thin = case
            .input
            .body_condition
            .is_some_and(|score| score <= thin_at);
        if thin || weak {
            found.rest_on_number(case, LimitName::ThinAtScore);
            let how = if thin { "thin" } else { "debilitated" };
            let ordered = case.input.vet_ordered == Some(true);
            let text = if ordered {
                format!("{how}, and {name} is given on a vet's order: watch it for two days")
            } else {
                format!("{name} harms thin and weak horses, and this one is {how}: a vet decides")
            };
            found.warn_or_refuse(!ordered, Code::TooThin, text);
        }
        let light = case.number(LimitName::LightBelowKg)?;
        if case.kg() < light {
            found.rest_on_number(case, LimitName::LightBelowKg);
            found.warn(
                Code::Light,
                format!(
                    "under {} kg {name} harms more often: weigh it on a scale and set the syringe with care",
                    plain(light)
                ),
            );
        }
    } else if weak {
        match active.debilitated {
            Some(Debilitated::Refuse) => found.refuse(
                Code::Debilitated,
                format!("{name} is not for severely debilitated horses: ask your vet"),
            ),
            Some(Debilitated::Warn) => found.warn(
                Code::Debilitated,
                format!("take care with {name} in sick or debilitated horses: ask your vet"),
            ),
            None => {}
        }
    }
    Ok(())
}

/// A mare in foal.
fn in_foal(case: &Case<'_>, active: &ActiveRow, found: &mut Findings) {
    if case.input.pregnant != Some(true) {
        return;
    }
    let known = &active.in_foal;
    let rule = format!("{} in foal", active.name);
    found.rest_on_part(case.pack, &rule, &known.source, known.mark);
    if known.say == InFoalLabel::Unconfirmed {
        found.warn(
            Code::InFoalUnconfirmed,
            format!(
                "we found no source on {} in mares in foal: read the label, ask your vet",
                active.name
            ),
        );
    }
}

/// No dewormer is due before this age.
fn first_dose(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let days = case.whole(LimitName::FirstDoseDays)?;
    if case.input.foaled_on.is_some() && case.age.under(Period::days(days)) == Under::Yes {
        found.rest_on_number(case, LimitName::FirstDoseDays);
        found.warn(
            Code::BeforeFirstDose,
            format!("no dewormer is due before {days} days of age: ask your vet"),
        );
    }
    Ok(())
}

/// Case 9: killing many ascarids at once can block a foal's gut.
fn ascarids(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let class = case.pack.class(&case.active.class);
    let risky = class.is_some_and(|class| class.ascarid_risk);
    let months = case.whole(LimitName::AscaridsUntilMonths)?;
    let grown =
        case.input.foaled_on.is_none() && case.kg() >= case.number(LimitName::GrownFromKg)?;
    let young = case.age.under(Period::months(months)) != Under::No && !grown;
    if risky && young && case.parasite == Parasite::Ascarids {
        found.rest_on_number(case, LimitName::AscaridsUntilMonths);
        found.warn(
            Code::AscaridBurden,
            format!(
                "many ascarids killed at once can block a foal's gut, and ascarids widely resist {}: ask your vet first; a benzimidazole comes first",
                case.active.name
            ),
        );
    }
    Ok(())
}

/// Case 11: meat and milk. The day until which its meat is not eaten, where a label allows it at all.
pub(super) fn food(case: &Case<'_>, days: u32, found: &mut Findings) -> Option<chrono::NaiveDate> {
    let Some(food) = case.input.food else {
        found
            .basis
            .caution("not for horses that people will eat, unless the label allows it");
        return None;
    };
    if food == Food::Milk {
        found.refuse(
            Code::FoodChain,
            "not for mares whose milk people drink: ask your vet",
        );
        return None;
    }
    if case.label == Some(Label::Us) {
        found.refuse(
            Code::FoodChain,
            "US labels: not for horses that people will eat",
        );
        return None;
    }
    let form = case.product.as_ref().and_then(|held| held.form);
    let Some((form, meat_days)) = form.and_then(|form| Some((form, form.meat_days?))) else {
        found.refuse(
            Code::FoodChain,
            "its meat may be eaten, and how long to wait is the product's own: say its form, or ask your vet",
        );
        return None;
    };
    found.rest_on(case.pack, form);
    let last = days_after(case.input.on, days.saturating_sub(1));
    let until = days_after(last, meat_days);
    found.warn(
        Code::FoodChain,
        format!(
            "its meat must not be eaten until {until} ({} after the last dose)",
            counted(meat_days, "day", "days")
        ),
    );
    Some(until)
}
