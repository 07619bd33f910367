//! Whether the weight can be dosed by: its unit, its age, and how it was come by.

use crate::calendar::{Period, days_between};
use crate::code::WeightMethod;
use crate::fault::Faults;
use crate::figure::weight::{Suits, suits};
use crate::horse::BreedType;
use crate::sentence::counted;
use crate::unit::{KILOGRAMS, WEIGHTS, plain};

use super::case::{Case, Findings, Under};
use super::code::Code;
use super::limit::LimitName;

/// Looks at the weight.
pub(super) fn look(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    unit(case, found)?;
    age_of_weight(case, found)?;
    by_whom(case, found)?;
    population(case, found)
}

/// Case 5: pounds typed as kilograms, or the other way round.
fn unit(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let least = case.number(LimitName::LeastKg)?;
    let most = case.number(LimitName::MostKg)?;
    if let Some(doubt) = case
        .weight
        .doubt("the weight of a horse", &(least..=most), WEIGHTS)
    {
        found.rest_on_number(case, LimitName::MostKg);
        found.refuse(Code::UnitSlip, doubt);
        return Ok(());
    }
    // Nobody who says pounds means kilograms; a draught horse may weigh as much as any horse.
    if case.weight.unit != KILOGRAMS || case.input.breed_type == Some(BreedType::Draft) {
        return Ok(());
    }
    let narrow = case.narrow().is_some();
    let (name, refuse) = match case.input.breed_type {
        Some(BreedType::Miniature) => (LimitName::MiniatureMostKg, narrow),
        Some(BreedType::Pony) => (LimitName::PonyMostKg, narrow),
        Some(BreedType::Donkey) => (LimitName::DonkeyMostKg, narrow),
        _ if case.kg() > case.number(LimitName::DraftOnlyFromKg)? => {
            (LimitName::DraftOnlyFromKg, true)
        }
        _ => (LimitName::DoubtfulFromKg, narrow),
    };
    let usual = case.number(name)?;
    if case.kg() > usual {
        found.rest_on_number(case, name);
        found.warn_or_refuse(
            refuse,
            Code::UnitSlip,
            format!(
                "{} kg is much for this horse (over {} kg): were pounds meant? Say weight_lb, or if it does weigh so much, breed_type draft or its weight in pounds",
                plain(case.kg()),
                plain(usual)
            ),
        );
    }
    Ok(())
}

/// Case 3: a weight does not keep, least of all a foal's.
fn age_of_weight(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let Some(weighed_on) = case.input.weighed_on else {
        return Ok(());
    };
    let young = case.input.foaled_on.is_some() && case.age.under(Period::months(12)) != Under::No;
    let name = if young {
        LimitName::FoalWeightGoodForDays
    } else {
        LimitName::WeightGoodForDays
    };
    let days = days_between(weighed_on, case.input.on);
    let keeps = case.number(name)?;
    if f64::from(i32::try_from(days).unwrap_or(i32::MAX)) > keeps {
        found.rest_on_number(case, name);
        found.warn(
            Code::WeightOld,
            format!(
                "the weight is {} old and serves for {}: weigh or tape it again",
                counted(days, "day", "days"),
                counted(plain(keeps), "day", "days")
            ),
        );
    }
    Ok(())
}

/// Case 3: by eye; and the tenth that a tape may lack.
fn by_whom(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    if case.input.weight_from.is_none() {
        found.warn(
            Code::WeightFromUnknown,
            "nobody said how it was weighed: taken as a tape's; say weight_from",
        );
    }
    let low = case.number(LimitName::TapeReadsLowPercent)?;
    match case.weight_from {
        WeightMethod::Scale => {}
        WeightMethod::Visual => found.warn_or_refuse(
            case.narrow().is_some(),
            Code::WeightByEye,
            "a weight judged by eye is mostly too low, and often by more than a tenth: put a tape round the horse",
        ),
        WeightMethod::Tape | WeightMethod::Formula => {
            found.rest_on_number(case, LimitName::TapeReadsLowPercent);
            let text = match case.narrow() {
                Some(active) => format!(
                    "a tape is off by some per cent; never add to the weight for {}",
                    active.name
                ),
                None => format!(
                    "a tape or formula mostly reads low: ask your vet whether to set for {} % more, {} kg",
                    plain(low),
                    plain((case.kg() * (1.0 + low / 100.0)).round())
                ),
            };
            found.basis.caution(text);
        }
    }
    Ok(())
}

/// Case 4: weighed by a rule that was made for other horses.
fn population(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let small = matches!(
        case.input.breed_type,
        Some(BreedType::Miniature | BreedType::Donkey)
    );
    if case.weight_from == WeightMethod::Tape && small {
        found.rest_on_number(case, LimitName::TapeHighOnSmallPercent);
        let high = plain(case.number(LimitName::TapeHighOnSmallPercent)?);
        found.warn_or_refuse(
            case.narrow().is_some(),
            Code::WeightNotForThisHorse,
            format!(
                "a horse's weight tape was not made for miniatures and donkeys; on horses under 100 cm it reads {high} % too high: use a scale or their own formula"
            ),
        );
    }
    let Some(method) = &case.input.weight_formula else {
        return Ok(());
    };
    match suits(
        method,
        case.input.breed_type,
        case.input.foaled_on,
        case.input.on,
        case.input.pregnant,
        case.rules,
    ) {
        None => {
            return Err(Faults::one(
                "/weight_formula",
                format!("`{method}` is not a method of the figure weight"),
            ));
        }
        Some(Suits::Yes) => {}
        Some(Suits::InDoubt(why)) => found.warn(Code::WeightNotForThisHorse, why),
        Some(Suits::No(why)) => found.refuse(Code::WeightNotForThisHorse, why),
    }
    Ok(())
}
