//! The figure `hoof`: a foot's balance, its growth, and when the farrier should come again.

pub mod balance;
pub mod findings;
pub mod geometry;
pub mod grades;
mod input;
pub mod interval;
pub mod pack;
mod taken;
pub mod trend;
mod verdict;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::band::grade;
use crate::details::Measures;
use crate::fault::Faults;
use crate::figure::Basis;
use crate::figure::growth::age::whole_months;
use crate::kind::Foot;
use crate::rules::{Rules, Source};

use balance::{Flag, Found, Pair, Subject, balance, heel_mm, rest_on};
use findings::{Judged, Urgency};
use grades::{Axis, Frog, HeelBalance};
use input::{Known, check_days, comparable, compute_angles};
use interval::{Interval, Wearer, suggest};
use trend::{Change, GrowOut, changes, grow_out};
use verdict::{judge, red_flags, straighten};

pub use input::{Input, Opposite, Previous};

/// A foot's balance and growth. Null is what the input doesn't allow.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HoofAnswer))]
pub struct Answer {
    /// Which foot.
    pub foot: Foot,
    /// How the hoof stands to the pastern.
    pub axis: Option<Axis>,
    /// Toe angle less pastern angle, in degrees.
    pub axis_difference_deg: Option<f64>,
    /// Whether the heel is underrun.
    pub underrun_heel: Option<bool>,
    /// Toe length by the mean of both heels' lengths.
    pub toe_to_heel: Option<f64>,
    /// The difference of the heels' lengths, in millimetres.
    pub heel_difference_mm: Option<f64>,
    /// What that means.
    pub heel_balance: Option<HeelBalance>,
    /// Width of the frog by its length.
    pub frog_ratio: Option<f64>,
    /// What that means.
    pub frog: Option<Frog>,
    /// The pair compared.
    pub pair: Option<Pair>,
    /// The toe length usual for the weight, in millimetres.
    pub toe_length_target_mm: Option<f64>,
    /// The toe angle to expect after that growth, in degrees.
    pub toe_angle_expected_deg: Option<f64>,
    /// The line from the toe's hairline to the heel's, to the ground, in degrees.
    pub hairline_angle_deg: Option<f64>,
    /// Growth in millimetres a week: this foot's since the trim, else usual for the age.
    pub growth_mm_per_week: Option<f64>,
    /// Weeks from one visit to the next.
    pub suggested_interval_weeks: Option<u32>,
    /// As many weeks as this horse may wait.
    pub stretch_to_weeks: Option<u32>,
    /// Overdue after so many weeks.
    pub overdue_after_weeks: Option<u32>,
    /// Why that interval.
    pub interval_reasons: Vec<String>,
    /// What is to be noted.
    pub flags: Vec<Flag>,
    /// What was found, judged.
    pub findings: Vec<Judged>,
    /// The most urgent of flags and findings.
    pub urgency: Option<Urgency>,
    /// What changed since the earlier visit.
    pub changes: Vec<Change>,
    /// When the defect will have grown out.
    pub grows_out: Option<GrowOut>,
    /// What the numbers rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// A foot's balance, its growth, and when the farrier should come again.
///
/// # Errors
///
/// Faults with pointers into the input: measures that can't be, sides that make no triangle, findings that aren't known,
/// days in the wrong order.
///
/// # Source
///
/// The packs `hoof` and `hoof_findings`; each row names its own.
pub fn hoof(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let mut faults = Faults::default();
    let mut basis = Basis::default();
    let mut measures = input.measures("", rules, &mut faults);
    let opposite = input.opposite.as_ref();
    let opposite = opposite.map(|foot| foot.measures("/opposite", rules, &mut faults));
    let previous = input.previous.as_ref();
    let previous = previous.map(|foot| foot.measures("/previous", rules, &mut faults));
    let known = Known::of(input, rules, &mut faults);
    check_days(input, &mut faults);
    faults.or(())?;
    compute_angles(input, &mut measures, &mut basis)?;

    let subject = Subject {
        foot: input.foot,
        measures,
        opposite: comparable(&measures, opposite, &mut basis),
        weight_kg: known.weight_kg,
    };
    let Found {
        axis,
        axis_difference_deg,
        underrun_heel,
        toe_to_heel,
        heel_difference_mm,
        heel_balance,
        frog_ratio,
        frog,
        pair,
        toe_length_target_mm,
        mut flags,
    } = balance(&subject, rules, &mut basis);
    let changes = previous.map_or_else(Vec::new, |before| {
        changes(&before, &measures, rules, &mut basis)
    });
    let judged = judge(input, rules, &mut basis);
    flags.extend(red_flags(input, &changes, rules, &mut basis));
    straighten(
        axis_difference_deg,
        &measures,
        rules,
        &mut flags,
        &mut basis,
    );
    let interval = interval(input, &flags, &judged, rules, &mut basis);
    let growth_mm_per_week = growth(input, known.growth_toe_mm, rules, &mut basis);
    let grows_out = input
        .defect_above_ground_mm
        .zip(growth_mm_per_week.filter(|rate| *rate > 0.01))
        .map(|(mm, rate)| grow_out(mm, rate, input.on, rules, &mut basis));
    let most_urgent = flags.iter().filter_map(|flag| flag.urgency);
    let urgency = most_urgent
        .chain(judged.iter().filter_map(|one| one.urgency))
        .min();
    basis.caution("Farrier and vet judge the horse in front of them: numbers only help. Whoever is in doubt asks the vet.");
    Ok(Answer {
        foot: input.foot,
        axis,
        axis_difference_deg,
        underrun_heel,
        toe_to_heel,
        heel_difference_mm,
        heel_balance,
        frog_ratio,
        frog,
        pair,
        toe_length_target_mm,
        toe_angle_expected_deg: expected(&measures, &known),
        hairline_angle_deg: hairline(&measures),
        growth_mm_per_week,
        suggested_interval_weeks: interval.as_ref().map(|one| one.weeks),
        stretch_to_weeks: interval.as_ref().map(|one| one.stretch_weeks),
        overdue_after_weeks: interval.as_ref().map(|one| one.overdue_weeks),
        interval_reasons: interval.map_or_else(Vec::new, |one| one.reasons),
        flags,
        findings: judged,
        urgency,
        changes,
        grows_out,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

fn interval<'a>(
    input: &Input,
    flags: &[Flag],
    judged: &[Judged],
    rules: &'a Rules,
    basis: &mut Basis,
) -> Option<Interval<'a>> {
    let mut wearer = Wearer {
        foaled_on: input.foaled_on,
        on: input.on,
        shod: input.shod,
        hemisphere: input.hemisphere,
        findings: Vec::new(),
        out_of_balance: flags
            .iter()
            .any(|flag| flag.severity.is_some() || flag.red_flag),
    };
    wearer.add(judged);
    let flagged = flags
        .iter()
        .filter_map(|flag| Some((flag.code.clone(), flag.severity?)));
    wearer.findings.extend(flagged);
    let interval = suggest(&wearer, rules)?;
    rest_on(interval.rule, &rules.hoof, basis);
    for cap in &interval.caps {
        rest_on(*cap, &rules.hoof, basis);
    }
    if input.foaled_on.is_none() || input.on.is_none() {
        basis.caution("its age isn't known: since it is shod it is taken for grown");
    }
    if input.hemisphere.is_none() && interval.rule.winter.is_some() {
        basis.caution(
            "the season is that north of the equator; say hemisphere south where it isn't",
        );
    }
    Some(interval)
}

/// Growth a week: measured since the trim, else usual for the age.
fn growth(
    input: &Input,
    growth_toe_mm: Option<f64>,
    rules: &Rules,
    basis: &mut Basis,
) -> Option<f64> {
    let since_trim = input
        .on
        .zip(input.trimmed_on)
        .and_then(|(on, trimmed)| u32::try_from((on - trimmed).num_days()).ok())
        .filter(|days| *days > 0);
    if let Some((mm, days)) = growth_toe_mm.zip(since_trim) {
        return Some(mm * 7.0 / f64::from(days));
    }
    let (foaled_on, on) = input.foaled_on.zip(input.on)?;
    let of = |born: NaiveDate| {
        let months = f64::from(whole_months(born.min(on), on));
        grade(&rules.hoof.growth, months)
    };
    let row = of(foaled_on.earliest())?;
    if of(foaled_on.latest())?.id != row.id {
        basis.caution("the day of its birth isn't known well enough for a rate of growth");
        return None;
    }
    rest_on(row, &rules.hoof, basis);
    basis.caution("growth is the usual for its age: faster in spring and summer, slower in winter");
    Some(row.grade)
}

/// The toe angle after the growth given.
fn expected(measures: &Measures, known: &Known) -> Option<f64> {
    let toe = measures.toe_angle_deg?;
    let drift = geometry::drift_deg(
        toe,
        measures.heel_angle_deg?,
        measures.support_length_mm?,
        known.growth_toe_mm?,
        known.growth_heel_mm?,
    );
    Some(toe - drift)
}

fn hairline(measures: &Measures) -> Option<f64> {
    Some(geometry::hairline_deg(geometry::Side {
        toe_mm: measures.toe_length_mm?,
        toe_deg: measures.toe_angle_deg?,
        heel_mm: heel_mm(measures)?,
        heel_deg: measures.heel_angle_deg?,
        support_mm: measures.support_length_mm?,
    }))
}
