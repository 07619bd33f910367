//! How much may be given at most.

use crate::unit::plain;

use super::answer::round_up;
use super::case::{Case, Findings};
use super::code::Code;
use super::history;
use super::target::Target;

/// Cases 15 and 19: what is given, with what it had today, against what may be given at most.
pub(super) fn ceilings(
    case: &Case<'_>,
    target: Target,
    need_mg: f64,
    gives_mg: f64,
    found: &mut Findings,
) {
    let times = gives_mg / need_mg;
    for active in &case.all {
        let ceiling = &active.ceiling;
        let label = if active.id == case.active.id {
            Some(target.mg_per_kg)
        } else {
            part_mg_per_kg(case, &active.id)
        };
        let before = history::given_today(case, &active.id, label);
        let rule = format!("the ceiling of {}", active.name);
        found.rest_on_part(case.pack, &rule, &ceiling.source, ceiling.mark);
        let sum = times + before;
        let above = |limit: f64| sum > limit + 1e-9;
        if above(ceiling.refuse_above) && before > 0.0 {
            found.refuse(
                Code::SameActiveTogether,
                format!(
                    "with what it had today it would get {} times the label's dose of {}, and {} is the most",
                    plain(sum),
                    active.name,
                    plain(ceiling.refuse_above)
                ),
            );
        } else if above(ceiling.refuse_above) {
            found.refuse(
                Code::OverCeiling,
                over(
                    case,
                    active.name.as_str(),
                    sum,
                    ceiling.refuse_above,
                    need_mg,
                ),
            );
        } else if ceiling.warn_above.is_some_and(above) {
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
    let most = case.active.in_foal.most_mg_per_kg;
    let given_mg_per_kg = gives_mg / case.kg();
    if case.input.pregnant == Some(true)
        && let Some(most) = most
        && given_mg_per_kg > most + 1e-9
    {
        found.refuse(
            Code::OverInFoalLimit,
            format!(
                "{} mg/kg of {}, and {} is the most for a mare in foal",
                plain(given_mg_per_kg),
                case.active.name,
                plain(most)
            ),
        );
    }
}

/// Case 19 in words: the ratio, and what to do instead.
fn over(case: &Case<'_>, name: &str, times: f64, most: f64, need_mg: f64) -> String {
    let strength = case.product.as_ref().and_then(|held| held.strength);
    let instead = strength.map_or_else(String::new, |strength| {
        let unit = if strength.liquid { "ml" } else { "g" };
        format!(
            ", or weigh out {} {unit}",
            plain(round_up(need_mg / strength.mg))
        )
    });
    format!(
        "the next mark gives {} times the label's dose of {name}, and {} is the most: take a syringe with finer marks{instead}",
        plain(times),
        plain(most)
    )
}

/// The label's dose of another active of the product, where its form is known.
pub(super) fn part_mg_per_kg(case: &Case<'_>, active: &str) -> Option<f64> {
    let form = case.product.as_ref()?.form?;
    let part = form.parts.iter().find(|part| part.active == active)?;
    Some(part.mg_per_kg)
}
