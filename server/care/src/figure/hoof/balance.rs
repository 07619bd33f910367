//! A foot's ratios, axis and pair, and what is to be noted about them.

use serde::{Deserialize, Serialize};

use crate::band::{Graded, grade};
use crate::details::Measures;
use crate::figure::Basis;
use crate::kind::Foot;
use crate::rules::{Row, Rules};
use crate::unit::{KG_PER_LB, plain};

use super::findings::{Severity, Urgency};
use super::grades::{Axis, Frog, HeelBalance, Limb, PairGrade, Quantity};
use super::pack::{Hooves, ToeTarget};
use super::taken::MM_PER_IN;

/// The underrun heel, by the code of its finding.
const UNDERRUN: &str = "underrun_heel";

/// A pair of feet compared.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HoofPair))]
pub struct Pair {
    /// The difference of the toe angles, in degrees.
    pub toe_angle_difference_deg: f64,
    /// How well they match.
    pub grade: PairGrade,
    /// The difference of the toe lengths, in millimetres.
    pub toe_length_difference_mm: Option<f64>,
    /// The difference of the widths, in millimetres.
    pub width_difference_mm: Option<f64>,
}

/// What is to be noted about a foot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HoofFlag))]
pub struct Flag {
    /// The stable code; a finding's, where it is one.
    pub code: String,
    /// What it is, in words.
    pub text: String,
    /// The severity of the finding.
    pub severity: Option<Severity>,
    /// How soon somebody must look at it.
    pub urgency: Option<Urgency>,
    /// Whether vet and owner must be told.
    pub red_flag: bool,
}

/// A foot, its pair and its horse, as far as they are known.
pub(super) struct Subject {
    pub(super) foot: Foot,
    pub(super) measures: Measures,
    pub(super) opposite: Option<Measures>,
    pub(super) weight_kg: Option<f64>,
}

/// What the measures give. What they don't allow is `None`.
#[derive(Clone, Debug, Default)]
pub(super) struct Found {
    pub(super) axis: Option<Axis>,
    pub(super) axis_difference_deg: Option<f64>,
    pub(super) underrun_heel: Option<bool>,
    pub(super) toe_to_heel: Option<f64>,
    pub(super) heel_difference_mm: Option<f64>,
    pub(super) heel_balance: Option<HeelBalance>,
    pub(super) frog_ratio: Option<f64>,
    pub(super) frog: Option<Frog>,
    pub(super) pair: Option<Pair>,
    pub(super) toe_length_target_mm: Option<f64>,
    pub(super) flags: Vec<Flag>,
}

/// The mean of both heels' lengths.
pub(super) fn heel_mm(measures: &Measures) -> Option<f64> {
    let both = measures
        .heel_length_medial_mm
        .zip(measures.heel_length_lateral_mm);
    both.map(|(medial, lateral)| f64::midpoint(medial, lateral))
}

fn less(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.zip(b).map(|(a, b)| a - b)
}

fn by(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.zip(b).map(|(a, b)| a / b)
}

/// Angles read to a tenth differ by tenths; without this 52.3 − 50.8 would be over 1.5.
fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// Ratios, grades and flags of a foot.
pub(super) fn balance(subject: &Subject, rules: &Rules, basis: &mut Basis) -> Found {
    let pack = &rules.hoof;
    let foot = &subject.measures;
    let opposite = subject.opposite.unwrap_or_default();
    let axis_difference = less(foot.toe_angle_deg, foot.pastern_angle_deg).map(tidy);
    let heel_difference =
        less(foot.heel_length_medial_mm, foot.heel_length_lateral_mm).map(|mm| tidy(mm.abs()));
    let frog_ratio = by(foot.frog_width_mm, foot.frog_length_mm);
    let target = subject.weight_kg.and_then(|kg| toe_target(kg, pack, basis));
    let mut found = Found {
        axis_difference_deg: axis_difference,
        axis: graded(&pack.axis, axis_difference, pack, basis),
        toe_to_heel: by(foot.toe_length_mm, heel_mm(foot)),
        heel_difference_mm: heel_difference,
        heel_balance: graded(&pack.heel_balance, heel_difference, pack, basis),
        frog_ratio,
        frog: graded(&pack.frog, frog_ratio.map(tidy), pack, basis),
        toe_length_target_mm: target,
        ..Found::default()
    };
    let turned = less(foot.toe_angle_deg, opposite.toe_angle_deg).map(tidy);
    let apart = |a, b| less(a, b).map(|mm| tidy(mm.abs()));
    let lengths = apart(foot.toe_length_mm, opposite.toe_length_mm);
    let widths = apart(foot.width_mm, opposite.width_mm);
    let pair = graded(&pack.pair, turned.map(f64::abs), pack, basis);
    found.pair = turned.zip(pair).map(|(turned, grade)| Pair {
        toe_angle_difference_deg: turned.abs(),
        grade,
        toe_length_difference_mm: lengths,
        width_difference_mm: widths,
    });
    let toe_less_heel = less(foot.toe_angle_deg, foot.heel_angle_deg).map(tidy);
    let over = less(foot.toe_length_mm, target).map(tidy);
    let quantity = |of: Quantity| match of {
        Quantity::ToeLessHeel => toe_less_heel,
        Quantity::ToeToHeel => found.toe_to_heel.map(tidy),
        Quantity::HeelDifference => heel_difference,
        Quantity::FrogRatio => frog_ratio.map(tidy),
        Quantity::SoleDepth => foot.sole_depth_mm,
        Quantity::AxisDifference => axis_difference,
        Quantity::ToeOverTarget => over,
        Quantity::ToeOverTargetPercent => by(over, target).map(|part| tidy(100.0 * part)),
        Quantity::ToeAngle => foot.toe_angle_deg,
        Quantity::PairAngleDifference => turned.map(f64::abs),
        Quantity::SteeperThanOpposite => turned.filter(|_| found.axis == Some(Axis::BrokenForward)),
        Quantity::PairLengthDifference => lengths,
        Quantity::PairWidthDifference => widths,
        Quantity::PoundsPerSquareInch => load(subject),
    };
    let flags = flags(subject.foot, quantity, rules, basis);
    found.underrun_heel = toe_less_heel.map(|_| flags.iter().any(|flag| flag.code == UNDERRUN));
    found.flags = flags;
    found
}

/// The grade of a value, and what it rests on.
fn graded<G: Copy>(
    rows: &[Graded<G>],
    value: Option<f64>,
    pack: &Hooves,
    basis: &mut Basis,
) -> Option<G> {
    let row = grade(rows, value?)?;
    rest_on(row, pack, basis);
    Some(row.grade)
}

pub(super) fn rest_on(row: &dyn Row, pack: &Hooves, basis: &mut Basis) {
    if let Some(source) = pack.source(row.source()) {
        basis.rests_on(row.id(), source, row.mark());
    }
}

/// The toe length usual for a weight, in millimetres: straight lines through the pack's points, and on beyond them.
fn toe_target(weight_kg: f64, pack: &Hooves, basis: &mut Basis) -> Option<f64> {
    let weight_lb = weight_kg / KG_PER_LB;
    let points = &pack.toe_targets;
    let (first, last) = (points.first()?, points.last()?);
    let upper = points
        .iter()
        .skip(1)
        .position(|one| weight_lb <= one.weight_lb);
    let index = upper.unwrap_or(points.len().saturating_sub(2));
    let (low, high): (&ToeTarget, &ToeTarget) = (points.get(index)?, points.get(index + 1)?);
    let slope = (high.toe_in - low.toe_in) / (high.weight_lb - low.weight_lb);
    let inches = low.toe_in + slope * (weight_lb - low.weight_lb);
    if inches <= 0.0 {
        return None;
    }
    if weight_lb < first.weight_lb - 50.0 || weight_lb > last.weight_lb + 50.0 {
        basis.caution(format!(
            "the toe length for {} kg lies beyond the handbook's weights: ponies and draught horses differ, look at the sole's depth",
            plain(weight_kg)
        ));
    }
    rest_on(low, pack, basis);
    Some(inches * MM_PER_IN)
}

/// Pounds of horse for each square inch of foot, by the circumference of the coronet.
fn load(subject: &Subject) -> Option<f64> {
    let inches = subject.measures.coronet_circumference_mm? / MM_PER_IN;
    Some(subject.weight_kg? / KG_PER_LB * 12.56 / inches.powi(2))
}

fn flags(
    foot: Foot,
    quantity: impl Fn(Quantity) -> Option<f64>,
    rules: &Rules,
    basis: &mut Basis,
) -> Vec<Flag> {
    let limb = match foot {
        Foot::LeftFore | Foot::RightFore => Limb::Fore,
        Foot::LeftHind | Foot::RightHind => Limb::Hind,
    };
    let mut up: Vec<Flag> = Vec::new();
    for row in &rules.hoof.flags {
        let value = quantity(row.of).filter(|value| row.range.holds(*value));
        let Some(value) = value.filter(|_| row.limb.is_none_or(|only| only == limb)) else {
            continue;
        };
        rest_on(row, &rules.hoof, basis);
        let judged = row.severity.and_then(|severity| {
            let findings = &rules.hoof_findings;
            if let Some(rule) = findings.find(&row.code)
                && let Some(source) = findings.source(rule.source())
            {
                basis.rests_on("urgency of findings", source, rule.mark());
            }
            findings.judge(&row.code, Some(severity), None)
        });
        let text = row.says.replace("{}", &plain(value.abs()));
        up.push(Flag {
            code: row.code.clone(),
            text,
            severity: judged.as_ref().map(|one| one.severity),
            urgency: judged.as_ref().and_then(|one| one.urgency),
            red_flag: judged.as_ref().is_some_and(|one| one.red_flag),
        });
    }
    up
}
