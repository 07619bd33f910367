//! How much may be given at most.

use crate::unit::plain;

use super::case::{Case, Findings};
use super::code::Code;
use super::fact::ActiveRow;
use super::history;
use super::setting::Setting;
use super::target::Target;

/// Cases 15 and 19: what is given, with what it had today, against what may be given at most.
pub(super) fn ceilings(
    case: &Case<'_>,
    target: Target,
    setting: Option<&Setting>,
    found: &mut Findings,
) {
    let need_mg = target.mg_per_kg * case.kg();
    let gives_mg = setting.map_or(need_mg, |setting| setting.given_mg);
    for active in &case.all {
        let label = if active.id == case.active.id {
            Some(target.mg_per_kg)
        } else {
            part_mg_per_kg(case, &active.id)
        };
        let before = history::given_today(case, &active.id, label);
        if setting.is_some() || before > 0.0 {
            let ceiling = &active.ceiling;
            let rule = format!("the ceiling of {}", active.name);
            found.rest_on_part(case.pack, &rule, &ceiling.source, ceiling.mark);
            ceiling_of(active, gives_mg / need_mg, before, found);
        }
    }
    if case.input.pregnant == Some(true)
        && let Some(most) = case.active.in_foal.most_mg_per_kg
        && gives_mg > most * case.kg() + ROUNDING
    {
        found.refuse(
            Code::OverInFoalLimit,
            format!(
                "{} mg/kg of {}, and {} is the most for a mare in foal",
                plain(gives_mg / case.kg()),
                case.active.name,
                plain(most)
            ),
        );
    }
}

/// Takes up the rounding of binary fractions.
const ROUNDING: f64 = 1e-9;

/// One active's: `times` the label's dose now, and `before` times it earlier on the day.
fn ceiling_of(active: &ActiveRow, times: f64, before: f64, found: &mut Findings) {
    let most = active.ceiling.refuse_above;
    let sum = times + before;
    let above = |limit: f64| sum > limit + ROUNDING;
    if above(most) && before > 0.0 {
        found.refuse(
            Code::SameActiveTogether,
            format!(
                "with what it had today it would get {} times the label's dose of {}, and {} is the most",
                plain(sum),
                active.name,
                plain(most)
            ),
        );
    } else if above(most) {
        found.refuse(Code::OverCeiling, over(active, sum));
    } else if active.ceiling.warn_above.is_some_and(above) {
        found.warn(
            Code::NearCeiling,
            format!(
                "that is {} times the label's dose of {}: a finer pack is better",
                plain(sum),
                active.name
            ),
        );
    }
}

/// Case 19 in words: the ratio, and what to do instead.
fn over(active: &ActiveRow, times: f64) -> String {
    format!(
        "the next mark gives {} times the label's dose of {}, and {} is the most: take a syringe with finer marks, or have your vet weigh out a dose",
        plain(times),
        active.name,
        plain(active.ceiling.refuse_above)
    )
}

/// The label's dose of another active of the product, where its form is known.
pub(super) fn part_mg_per_kg(case: &Case<'_>, active: &str) -> Option<f64> {
    let form = case.product.as_ref()?.form?;
    let part = form.parts.iter().find(|part| part.active == active)?;
    Some(part.mg_per_kg)
}
