//! How much the label gives: by active, regimen, parasite and age.

use crate::calendar::Period;
use crate::fault::Faults;
use crate::unit::plain;

use super::case::{Case, Findings, Under};
use super::code::Code;
use super::fact::Dose;
use super::input::Regimen;
use super::limit::LimitName;

/// The label's dose.
#[derive(Clone, Copy)]
pub(super) struct Target {
    /// Milligrams for each kilogram, each day.
    pub(super) mg_per_kg: f64,
    /// On how many days; as long as the label says where it is missing.
    pub(super) days: Option<u32>,
}

/// The label's dose, or nothing with the reason found.
pub(super) fn target(case: &Case<'_>, found: &mut Findings) -> Result<Option<Target>, Faults> {
    if case.active.by_product {
        return Ok(by_product(case, found));
    }
    let rows: Vec<&Dose> = case
        .doses()
        .filter(|row| row.regimen == case.regimen)
        .filter(|row| row.parasites.contains(&case.parasite))
        .collect();
    if rows.is_empty() {
        found.refuse(Code::NotLabelled, not_labelled(case));
        return Ok(None);
    }
    let mut best: Option<&Dose> = None;
    for row in rows {
        if applies(case, row, found)? && best.is_none_or(|best| row.mg_per_kg > best.mg_per_kg) {
            best = Some(row);
        }
    }
    let Some(row) = best else {
        found.refuse(Code::NotLabelled, not_labelled(case));
        return Ok(None);
    };
    found.rest_on(case.pack, row);
    Ok(Some(Target {
        mg_per_kg: row.mg_per_kg,
        days: row.days,
    }))
}

/// Whether a dose for an age is this horse's. A light horse of unknown age may be young, and a guess would halve or
/// double its dose; a heavy one is taken as grown, aloud.
fn applies(case: &Case<'_>, row: &Dose, found: &mut Findings) -> Result<bool, Faults> {
    let Some(months) = row.under_months else {
        return Ok(true);
    };
    match case.age.under(Period::months(months)) {
        Under::Yes => return Ok(true),
        Under::No => return Ok(false),
        Under::Maybe => {}
    }
    let name = &case.active.name;
    let dose = plain(row.mg_per_kg);
    if case.kg() < case.number(LimitName::GrownFromKg)? {
        found.refuse(
            Code::AgeUnknown,
            format!(
                "{name} is given at {dose} mg/kg under {months} months, and the horse's age does not tell: say when it was foaled"
            ),
        );
    } else {
        found.rest_on_number(case, LimitName::GrownFromKg);
        found.warn(
            Code::AgeUnknown,
            format!(
                "taken as grown by its weight; under {months} months {name} is given at {dose} mg/kg: say when it was foaled"
            ),
        );
    }
    Ok(false)
}

/// The dose that the product's own label states.
fn by_product(case: &Case<'_>, found: &mut Findings) -> Option<Target> {
    let name = &case.active.name;
    if case.regimen != Regimen::Single || case.parasite != crate::code::Parasite::Tapeworm {
        found.refuse(Code::NotLabelled, not_labelled(case));
        return None;
    }
    let held = case.product.as_ref();
    let Some(mg_per_kg) = held.and_then(|held| held.mg_per_kg) else {
        let forms: Vec<_> = case
            .pack
            .form
            .iter()
            .filter(|form| form.parts.iter().any(|part| part.active == case.active.id))
            .map(|form| &*form.id)
            .collect();
        found.refuse(
            Code::ProductNeeded,
            format!(
                "the dose of {name} is the product's own: say its strength, or its form, one of {}",
                forms.join(", ")
            ),
        );
        return None;
    };
    found.rest_on(case.pack, case.active);
    Some(Target {
        mg_per_kg,
        days: Some(1),
    })
}

/// What the active is labelled for, when it is not for this.
fn not_labelled(case: &Case<'_>) -> String {
    let name = &case.active.name;
    let mut uses: Vec<String> = Vec::new();
    for row in case.doses() {
        let parasites: Vec<_> = row.parasites.iter().map(|one| one.code()).collect();
        uses.push(format!("{} for {}", row.regimen, parasites.join(", ")));
    }
    if case.active.by_product {
        uses.push("single for tapeworm".to_owned());
    }
    uses.dedup();
    format!(
        "no label gives {name} with the regimen {} for {}; it is given {}",
        case.regimen,
        case.parasite,
        uses.join("; ")
    )
}
