//! What changed on a foot between two visits, and when a defect will have grown out.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::calendar::days_after;
use crate::details::Measures;
use crate::figure::Basis;
use crate::rules::Rules;
use crate::sentence::words;

use super::balance::rest_on;

/// A measure that was taken twice by the same method.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HoofChange))]
pub struct Change {
    /// The measure: the name of its field.
    pub measure: String,
    /// What it was.
    pub before: f64,
    /// What it is.
    pub now: f64,
    /// How far it changed.
    pub change: f64,
    /// Whether that is more than the noise of measuring.
    pub real: bool,
}

/// When a defect will have grown down to the ground, with the margin.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct GrowOut {
    /// Weeks at the foot's growth.
    pub weeks: f64,
    /// The fewest weeks.
    pub low_weeks: f64,
    /// The most weeks.
    pub high_weeks: f64,
    /// The day, where the day of the visit is known.
    pub on: Option<NaiveDate>,
}

/// What changed since an earlier visit; nothing where the methods differ or aren't known alike.
pub(super) fn changes(
    before: &Measures,
    now: &Measures,
    rules: &Rules,
    basis: &mut Basis,
) -> Vec<Change> {
    if before.method != now.method {
        let name = |measures: &Measures| {
            measures
                .method
                .map_or("an unknown method".to_owned(), |one| words(one.code()))
        };
        basis.caution(format!(
            "measured by {} then and by {} now: the two can't be compared",
            name(before),
            name(now)
        ));
        return Vec::new();
    }
    if now.method.is_none() {
        basis.caution("how it was measured isn't said: compare only what was measured alike");
    }
    let mut changes = Vec::new();
    for ((measure, before), (_, now)) in before.quantities().into_iter().zip(now.quantities()) {
        let (Some(before), Some(now)) = (before, now) else {
            continue;
        };
        let change = ((now - before) * 1e6).round() / 1e6;
        let noise = rules.hoof.noises.iter().find(|row| row.id == measure);
        if let Some(noise) = noise {
            rest_on(noise, &rules.hoof, basis);
        }
        changes.push(Change {
            measure: measure.to_owned(),
            before,
            now,
            change,
            real: noise.is_none_or(|noise| noise.real.holds(change.abs())),
        });
    }
    changes
}

/// The largest change of an angle, without its sign.
pub(super) fn largest_turn(changes: &[Change]) -> Option<f64> {
    changes
        .iter()
        .filter(|change| matches!(&*change.measure, "toe_angle_deg" | "heel_angle_deg"))
        .map(|change| change.change.abs())
        .max_by(f64::total_cmp)
}

/// When a defect so far above the ground will have grown out.
pub(super) fn grow_out(
    above_ground_mm: f64,
    mm_per_week: f64,
    on: Option<NaiveDate>,
    rules: &Rules,
    basis: &mut Basis,
) -> GrowOut {
    let margin = rules.hoof.amount("grow-out-margin-percent");
    if let Some(row) = margin {
        rest_on(row, &rules.hoof, basis);
    }
    let part = margin.map_or(0.0, |row| row.value / 100.0);
    let weeks = above_ground_mm / mm_per_week;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "at most 200 mm at no less than a hundredth of a millimetre a week"
    )]
    let days = (weeks * 7.0).round() as u32;
    GrowOut {
        weeks,
        low_weeks: weeks * (1.0 - part),
        high_weeks: weeks * (1.0 + part),
        on: on.map(|on| days_after(on, days)),
    }
}
