//! The figure `hoof`: a foot's balance, its growth, and when the farrier should come again.

pub mod balance;
pub mod findings;
pub mod geometry;
pub mod interval;
pub mod pack;
mod taken;
pub mod trend;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::band::grade;
use crate::details::{Finding, MeasureMethod, Measures};
use crate::fault::Faults;
use crate::figure::Basis;
use crate::figure::growth::age::whole_months;
use crate::kind::Foot;
use crate::rules::{Row, Rules, Source};
use crate::unit::{KG_PER_LB, plain};
use crate::when::PartialDate;

use balance::{Flag, Found, Pair as FeetPair, Subject, balance, heel_mm, rest_on};
use findings::{FootSign, Judged, Seen, Urgency};
use interval::{Interval, Wearer, suggest};
use pack::{Axis, Frog, HeelBalance, Hemisphere};
use taken::{Pair, angle, lengths, measured};
use trend::{Change, GrowOut, changes, grow_out, largest_turn};

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
    pub pair: Option<FeetPair>,
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

/// What is known around the measures, in metric.
struct Known {
    weight_kg: Option<f64>,
    growth_toe_mm: Option<f64>,
    growth_heel_mm: Option<f64>,
}

impl Known {
    fn of(input: &Input, rules: &Rules, faults: &mut Faults) -> Self {
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
            growth_toe_mm: toe.read("", 25.4, rules, faults),
            growth_heel_mm: heel.read("", 25.4, rules, faults),
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

fn check_days(input: &Input, faults: &mut Faults) {
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
fn compute_angles(input: &Input, measures: &mut Measures, basis: &mut Basis) -> Result<(), Faults> {
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
fn comparable(foot: &Measures, opposite: Option<Measures>, basis: &mut Basis) -> Option<Measures> {
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

/// Judges what was found; an Obel grade is a finding of laminitis.
fn judge(input: &Input, rules: &Rules, basis: &mut Basis) -> Vec<Judged> {
    let pack = &rules.hoof_findings;
    let obel = input.obel.filter(|grade| *grade > 0);
    let laminitis = obel.and_then(|obel| {
        let severity = pack.severity_of_obel("laminitis_acute", obel)?;
        pack.judge("laminitis_acute", Some(severity), None)
    });
    let found = input.findings.iter().flatten().filter_map(|finding| {
        pack.judge(
            &finding.finding,
            finding.severity,
            finding.region.as_deref(),
        )
    });
    let judged: Vec<Judged> = found.chain(laminitis).collect();
    for one in &judged {
        if let Some(rule) = pack.find(&one.finding)
            && let Some(source) = pack.source(rule.source())
        {
            basis.rests_on("urgency of findings", source, rule.mark());
        }
    }
    judged
}

/// The red flags that are up around the foot.
fn red_flags(input: &Input, changes: &[Change], rules: &Rules, basis: &mut Basis) -> Vec<Flag> {
    let mut signs = input.signs.clone().unwrap_or_default();
    let young = input.foaled_on.zip(input.on);
    if young.is_some_and(|(foaled, on)| whole_months(foaled.latest().min(on), on) < 12) {
        signs.push(FootSign::Foal);
    }
    if input.lameness_aaep.is_some_and(|grade| grade > 0) {
        signs.push(FootSign::Lame);
    }
    let since_shoeing = input.on.zip(input.shod_on);
    let seen = Seen {
        signs,
        lameness_aaep: input.lameness_aaep,
        angle_change_deg: largest_turn(changes),
        days_since_shoeing: since_shoeing
            .and_then(|(on, shod)| u32::try_from((on - shod).num_days()).ok()),
        times_in_a_year: Vec::new(),
    };
    let up = rules.hoof_findings.red_flags(&seen);
    up.into_iter()
        .map(|flag| {
            if let Some(source) = rules.hoof_findings.source(flag.source()) {
                basis.rests_on("urgency of findings", source, flag.mark());
            }
            Flag {
                code: flag.id.clone(),
                text: format!("{} {}.", flag.says, flag.urgency.words()),
                severity: None,
                urgency: Some(flag.urgency),
                red_flag: true,
            }
        })
        .collect()
}

/// Says beside a broken axis how much height the heel lacks or has too much of, and that it is not changed at once.
fn straighten(
    difference: Option<f64>,
    measures: &Measures,
    rules: &Rules,
    flags: &mut [Flag],
    basis: &mut Basis,
) {
    let (Some(difference), Some(support)) = (difference, measures.support_length_mm) else {
        return;
    };
    let Some(most) = rules.hoof.amount("wedge-at-once-deg") else {
        return;
    };
    let broken = ["axis_broken_back", "axis_broken_forward"];
    for flag in flags
        .iter_mut()
        .filter(|flag| broken.contains(&&*flag.code))
    {
        let tenth = |mm: f64| plain((mm * 10.0).round() / 10.0);
        let height = geometry::wedge_mm(support, difference.abs());
        flag.text = format!(
            "{} Over this foot's length that is {} mm of height at the heel; no more than {}° ({} mm) at one visit.",
            flag.text,
            tenth(height),
            plain(most.value),
            tenth(geometry::wedge_mm(support, most.value)),
        );
        rest_on(most, &rules.hoof, basis);
    }
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
        basis.caution("foaled_on isn't exact enough for a rate of growth");
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
