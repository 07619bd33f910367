//! What the figure `hoof` takes, and whether it can be.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::details::{Finding, MeasureMethod, Measures};
use crate::fault::Faults;
use crate::figure::Basis;
use crate::kind::Foot;
use crate::rules::Rules;
use crate::unit::KG_PER_LB;
use crate::when::PartialDate;

use super::balance::heel_mm;
use super::findings::FootSign;
use super::geometry;
use super::grades::Hemisphere;
use super::taken::{MM_PER_IN, Pair, angle, lengths, measured};

measured! {
    /// The other foot of the pair.
    #[cfg_attr(feature = "schema", schema(as = HoofOpposite))]
    Opposite {}
}

measured! {
    /// The same foot at an earlier visit.
    #[cfg_attr(feature = "schema", schema(as = HoofPrevious))]
    Previous {
        /// The day it was measured.
        measured_on: Option<NaiveDate>,
    }
}

measured! {
    /// What the figure takes: a foot, what was measured on it, and what is known around it. Each length in millimetres or
    /// in inches, not both.
    #[cfg_attr(feature = "schema", schema(as = HoofInput, example = json!({
        "foot": "LF", "toe_length_mm": 85.0, "toe_angle_deg": 52.0, "pastern_angle_deg": 54.0, "heel_angle_deg": 45.0,
        "heel_length_medial_mm": 32.0, "heel_length_lateral_mm": 32.0, "support_length_mm": 110.0, "method": "gauge",
        "weight_kg": 497.0, "foaled_on": "2015-05-02", "on": "2026-06-12", "shod": true,
        "growth_toe_mm": 12.6, "growth_heel_mm": 6.3
    })))]
    Input {
        /// Which foot.
        foot: Foot,
        /// The other foot of the pair.
        opposite: Option<Opposite>,
        /// The same foot at an earlier visit.
        previous: Option<Previous>,
        /// The horse's weight in kilograms.
        weight_kg: Option<f64>,
        /// The same in pounds.
        weight_lb: Option<f64>,
        /// When it was foaled.
        foaled_on: Option<PartialDate>,
        /// The day of the visit.
        on: Option<NaiveDate>,
        /// Whether this horse is shod.
        shod: Option<bool>,
        /// Where it lives, for the season; north if missing.
        hemisphere: Option<Hemisphere>,
        /// What grew at the toe since the trim, less what wore off, in millimetres.
        growth_toe_mm: Option<f64>,
        /// The same in inches.
        growth_toe_in: Option<f64>,
        /// What grew at the heel since the trim, less what wore off, in millimetres.
        growth_heel_mm: Option<f64>,
        /// The same in inches.
        growth_heel_in: Option<f64>,
        /// The day of the trim that growth counts from.
        trimmed_on: Option<NaiveDate>,
        /// How high the front of the wall stands at the hairline, in millimetres; gives a toe angle that wasn't measured.
        toe_height_mm: Option<f64>,
        /// How high the heel stands at the hairline, in millimetres; gives a heel angle that wasn't measured.
        heel_height_mm: Option<f64>,
        /// From the toe's hairline to where the heel meets the ground, in millimetres; gives a toe angle as well.
        diagonal_mm: Option<f64>,
        /// How far a crack, ring or hole is above the ground, in millimetres.
        defect_above_ground_mm: Option<f64>,
        /// What was found on this foot.
        findings: Option<Vec<Finding>>,
        /// Signs on horse and leg.
        signs: Option<Vec<FootSign>>,
        /// The AAEP lameness grade, 0 to 5.
        lameness_aaep: Option<u8>,
        /// The Obel grade of laminitis, 0 to 4.
        obel: Option<u8>,
        /// The day it was last shod.
        shod_on: Option<NaiveDate>,
    }
}

/// What is known around the measures, in metric.
pub(super) struct Known {
    pub(super) weight_kg: Option<f64>,
    pub(super) growth_toe_mm: Option<f64>,
    pub(super) growth_heel_mm: Option<f64>,
}

impl Known {
    pub(super) fn of(input: &Input, rules: &Rules, faults: &mut Faults) -> Self {
        let weight = Pair {
            metric: ("weight_kg", input.weight_kg),
            trade: ("weight_lb", input.weight_lb),
        };
        let toe = Pair {
            metric: ("growth_toe_mm", input.growth_toe_mm),
            trade: ("growth_toe_in", input.growth_toe_in),
        };
        let heel = Pair {
            metric: ("growth_heel_mm", input.growth_heel_mm),
            trade: ("growth_heel_in", input.growth_heel_in),
        };
        let known = Self {
            weight_kg: weight.read("", KG_PER_LB, rules, faults),
            growth_toe_mm: toe.read("", MM_PER_IN, rules, faults),
            growth_heel_mm: heel.read("", MM_PER_IN, rules, faults),
        };
        for (field, mm) in [
            ("growth_toe_mm", known.growth_toe_mm),
            ("growth_heel_mm", known.growth_heel_mm),
        ] {
            if mm.is_some_and(|mm| !(-30.0..=80.0).contains(&mm)) {
                let detail = "from -30 mm (worn off) to 80 mm since the trim is taken";
                faults.add(format!("/{field}"), detail);
            }
        }
        for (field, mm) in [
            ("toe_height_mm", input.toe_height_mm),
            ("heel_height_mm", input.heel_height_mm),
            ("diagonal_mm", input.diagonal_mm),
            ("defect_above_ground_mm", input.defect_above_ground_mm),
        ] {
            if mm.is_some_and(|mm| !(mm > 0.0 && mm <= 300.0)) {
                faults.add(format!("/{field}"), "it is above 0, up to 300 mm");
            }
        }
        for (field, grade, most) in [
            ("lameness_aaep", input.lameness_aaep, 5),
            ("obel", input.obel, 4),
        ] {
            if let Some(grade) = grade.filter(|grade| *grade > most) {
                faults.add(
                    format!("/{field}"),
                    format!("{grade} is no grade; 0 to {most}"),
                );
            }
        }
        for (n, finding) in input.findings.iter().flatten().enumerate() {
            let at = format!("/findings/{n}");
            if rules.hoof_findings.find(&finding.finding).is_none() {
                let known: Vec<&str> = rules.hoof_findings.codes().collect();
                let detail = format!(
                    "{} is no finding; known are {}",
                    finding.finding,
                    known.join(", ")
                );
                faults.add(format!("{at}/finding"), detail);
            }
            if let Some(severity) = finding.severity.filter(|severity| *severity > 4) {
                let detail = format!("{severity} is no severity; 0 is none, 4 an emergency");
                faults.add(format!("{at}/severity"), detail);
            }
        }
        known
    }
}

/// Refuses days in the wrong order.
pub(super) fn check_days(input: &Input, faults: &mut Faults) {
    let Some(on) = input.on else {
        if input.trimmed_on.is_some() || input.shod_on.is_some() {
            faults.add(
                "/on",
                "say the day of the visit, so that days can be counted",
            );
        }
        return;
    };
    let before = input.previous.as_ref().and_then(|one| one.measured_on);
    for (field, day) in [
        ("/foaled_on", input.foaled_on.map(PartialDate::earliest)),
        ("/trimmed_on", input.trimmed_on),
        ("/shod_on", input.shod_on),
        ("/previous/measured_on", before),
    ] {
        if let Some(day) = day.filter(|day| *day > on) {
            faults.add(field, format!("{day} is after the visit ({on})"));
        }
    }
}

/// Fills angles that were not measured from heights and sides.
pub(super) fn compute_angles(
    input: &Input,
    measures: &mut Measures,
    basis: &mut Basis,
) -> Result<(), Faults> {
    let mut faults = Faults::default();
    let mut computed = |angle: &mut Option<f64>, degrees: Option<f64>, at: &str, why: &str| {
        if degrees.is_none() {
            faults.add(at, why);
        } else if angle.is_none() {
            *angle = degrees;
            basis.caution("an angle was computed from lengths: a millimetre is a degree or more");
        }
    };
    if let Some((length, height)) = measures.toe_length_mm.zip(input.toe_height_mm) {
        let degrees = geometry::angle_from_height(length, height);
        let why = "the toe can't stand higher than it is long";
        computed(&mut measures.toe_angle_deg, degrees, "/toe_height_mm", why);
    }
    if let Some((length, height)) = heel_mm(measures).zip(input.heel_height_mm) {
        let degrees = geometry::angle_from_height(length, height);
        let why = "the heel can't stand higher than it is long";
        computed(
            &mut measures.heel_angle_deg,
            degrees,
            "/heel_height_mm",
            why,
        );
    }
    let sides = measures.toe_length_mm.zip(measures.support_length_mm);
    if let Some(((toe, support), diagonal)) = sides.zip(input.diagonal_mm) {
        let degrees = geometry::angle_from_sides(toe, support, diagonal);
        let why = "toe, support and diagonal make no triangle";
        computed(&mut measures.toe_angle_deg, degrees, "/diagonal_mm", why);
    }
    faults.or(())
}

/// The other foot, unless it was measured by another method.
pub(super) fn comparable(
    foot: &Measures,
    opposite: Option<Measures>,
    basis: &mut Basis,
) -> Option<Measures> {
    let opposite = opposite?;
    if let (Some(here), Some(there)) = (foot.method, opposite.method)
        && here != there
    {
        basis.caution(format!(
            "this foot was measured by {here}, the other by {there}: the two can't be compared"
        ));
        return None;
    }
    Some(opposite)
}
