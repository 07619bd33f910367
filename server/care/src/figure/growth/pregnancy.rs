//! The pregnancy that a foal comes from, or is to come from.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::calendar::days_between;
use crate::fault::Faults;
use crate::when::PartialDate;

use super::gestation::{Carried, gestation};
use super::pack::Growth;
use super::{Found, Input, Life};

/// Longer than any mare carries, in days: a covering so far back was another one. A proposal of ours.
const LONGEST_DAYS: i64 = 450;

/// The dates of a pregnancy.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Pregnancy {
    /// The last covering.
    pub covered_on: NaiveDate,
    /// Watch her from this day on; a foal before it is early.
    pub watch_from: NaiveDate,
    /// The day she is due.
    pub due_on: NaiveDate,
    /// Still in foal after this day: ask the vet.
    pub long_after: NaiveDate,
    /// The usual day for mares of her build, where a study gives one.
    pub usual_on: Option<NaiveDate>,
    /// The day of pregnancy on the day to answer for, or on that of birth.
    pub day: Option<i64>,
    /// How long she carried; null before she foals, or where the day is not known.
    pub carried: Option<Carried>,
}

/// Refuses a covering that this horse can't come from.
pub(super) fn judge(input: &Input, faults: &mut Faults) {
    let Some(covered_on) = input.covered_on else {
        return;
    };
    let ends = input.foaled_on.map_or(input.on, PartialDate::earliest);
    if covered_on > input.on {
        let detail = format!("{covered_on} is after {}", input.on);
        faults.add("/covered_on", detail);
    } else if input
        .foaled_on
        .is_some_and(|foaled_on| foaled_on.latest() <= covered_on)
    {
        let detail = format!("{covered_on} is not before it was foaled");
        faults.add("/covered_on", detail);
    } else if days_between(covered_on, ends) > LONGEST_DAYS {
        let detail = format!(
            "from {covered_on} to {ends} is longer than any mare carries; is the day of the covering right?"
        );
        faults.add("/covered_on", detail);
    }
}

/// The dates of the pregnancy, and what they call for.
pub(super) fn dated(
    covered_on: NaiveDate,
    input: &Input,
    life: Option<Life>,
    growth: &Growth,
    found: &mut Found,
) -> Option<Pregnancy> {
    let dates = gestation(covered_on, input.breed_type, growth)?;
    found.rest_on(&dates.rule.id, dates.rule, growth);
    if let Some((_, row)) = dates.usual_on {
        found.rest_on(&row.id, row, growth);
    }
    found.basis.caution(
        "The day a mare is due is for planning: breeds differ, and one mare's foalings differ by about two weeks.",
    );
    let on = input.on;
    let (day, carried) = if let Some(life) = life {
        let day = life.same(|born| days_between(covered_on, born));
        (day, life.same(|born| dates.carried(born)))
    } else {
        if on > dates.long_after {
            found.warn("overdue", "long in foal: ask the vet");
        } else if on >= dates.watch_from {
            found.warn("near-foaling", "watch her: she may foal any day");
        }
        (Some(days_between(covered_on, on)), None)
    };
    match carried {
        Some(Carried::VeryShort) => found.warn(
            "foaled-very-early",
            "a foal so early rarely lives: call the vet",
        ),
        Some(Carried::Short) => found.warn("foaled-early", "a premature foal: call the vet"),
        Some(Carried::Long) => found.warn(
            "foaled-late",
            "a long pregnancy: check the day of the covering, and tell the vet",
        ),
        Some(Carried::Usual) | None => {}
    }
    Some(Pregnancy {
        covered_on,
        watch_from: dates.watch_from,
        due_on: dates.due_on,
        long_after: dates.long_after,
        usual_on: dates.usual_on.map(|(on, _)| on),
        day,
        carried,
    })
}
