//! The figure `growth`: a young horse's weight against the curve, and its age.

pub mod age;
pub mod curve;
pub mod gestation;
pub mod pack;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::rules::{Row, Rules, Source};
use crate::unit::{KILOGRAMS, POUNDS, either, plain};
use crate::when::PartialDate;

use age::AgeClass;
use curve::Curve;
use pack::Growth;

/// The most that the weight expected may differ between the days on which it can have been born, in percent, for one
/// number to be given.
const CLOSE_PERCENT: f64 = 10.0;

/// What the figure takes. Weights in kilograms or in pounds, not both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = GrowthInput, example = json!({
    "foaled_on": "2026-04-20", "on": "2026-10-20", "mature_weight_kg": 520.0, "weight_kg": 215.0
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// When it was foaled.
    pub foaled_on: PartialDate,
    /// The day to answer for: that of the weight, if there is one.
    pub on: NaiveDate,
    /// What it will weigh grown: by its dam, its sire or its breed.
    pub mature_weight_kg: Option<f64>,
    /// The same in pounds.
    pub mature_weight_lb: Option<f64>,
    /// What it weighs.
    pub weight_kg: Option<f64>,
    /// The same in pounds.
    pub weight_lb: Option<f64>,
    /// The day it was weaned.
    pub weaned_on: Option<NaiveDate>,
    /// Another curve than the usual one: its name in the rules.
    pub curve: Option<String>,
}

/// An age by a registry's common birthday.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OfficialAge {
    /// How it is counted: `northern` from 1 January, `southern` from 1 August, `south_american` from 1 July.
    pub counting: String,
    /// In years.
    pub years: i32,
    /// What it is called by that age.
    pub age_class: Option<AgeClass>,
}

/// A young horse's weight against the curve, and its age. Null is what its date of birth doesn't allow.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = GrowthAnswer))]
pub struct Answer {
    /// The weight expected at that age, in kilograms.
    pub expected_kg: Option<f64>,
    /// The same in percent of the grown weight: the curve's, not this horse's.
    pub percent_of_mature: Option<f64>,
    /// How much heavier (or, below zero, lighter) it is than expected, in percent.
    pub difference_percent: Option<f64>,
    /// What it is called by its actual age.
    pub age_class: Option<AgeClass>,
    /// Its age in days.
    pub age_days: Option<i64>,
    /// Its age in months.
    pub age_months: Option<f64>,
    /// Its age in whole years, by its own birthday.
    pub age_years: Option<u32>,
    /// Its age by the registries' common birthdays.
    pub official_ages: Vec<OfficialAge>,
    /// What to look into.
    pub warnings: Vec<Warning>,
    /// What the numbers rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// A young horse's weight expected at its age, and how far off it is.
///
/// # Errors
///
/// Faults with pointers into the input: a day before birth, a weight that can't be, a curve that isn't known.
///
/// # Source
///
/// The pack `growth`; its curve is that of NRC 2007, with constants from memory.
pub fn growth(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let mut faults = Faults::default();
    let (mature_kg, weight_kg) = weights(input, rules, &mut faults);
    if input.foaled_on.earliest() > input.on {
        let detail = format!("{} is before it was foaled ({})", input.on, input.foaled_on);
        faults.add("/on", detail);
    }
    if let Some(weaned) = input.weaned_on
        && weaned < input.foaled_on.earliest()
    {
        let detail = format!("{weaned} is before it was foaled ({})", input.foaled_on);
        faults.add("/weaned_on", detail);
    }
    let curve = curve_of(input, &rules.growth, &mut faults);
    faults.or(())?;
    let (Some(mature_kg), Some(curve)) = (mature_kg, curve) else {
        return Err(Faults::one("", "there is no curve to go by"));
    };

    let growth = &rules.growth;
    let mut basis = Basis::default();
    let (oldest, latest) = (input.foaled_on.earliest(), input.foaled_on.latest());
    let youngest = latest.min(input.on);
    let months = f64::midpoint(
        age::months(oldest, input.on),
        age::months(youngest, input.on),
    );
    let expected = expected(curve, (oldest, youngest), input.on, mature_kg);
    note_age(input, curve, months, expected.is_some(), &mut basis);
    rest_on(&mut basis, growth, curve);
    let mut warnings = Vec::new();
    let difference_percent = expected
        .zip(weight_kg)
        .map(|(expected, weight)| 100.0 * (weight / expected - 1.0));
    if let Some(difference) = difference_percent {
        judge(difference, growth, &mut basis, &mut warnings);
        note_fit(curve, growth, months, &mut basis);
    }
    basis.caution(
        "The curve is for checking, not for dosing: weigh or tape a young horse for every dose.",
    );
    let exact = input.foaled_on.exact();
    let age_class = age::class(input.foaled_on, input.weaned_on, input.on, growth);
    if let Some(class) = age_class
        && let Some(row) = growth.ages.iter().find(|row| row.grade == class)
        && let Some(source) = growth.source(row.source())
    {
        basis.rests_on(&format!("age class {class}"), source, row.mark());
    }
    Ok(Answer {
        expected_kg: expected,
        percent_of_mature: expected.map(|kg| 100.0 * kg / mature_kg),
        difference_percent,
        age_class,
        age_days: exact.map(|born| (input.on - born).num_days()),
        age_months: exact.map(|born| age::months(born, input.on)),
        age_years: same(oldest, youngest, |born| age::whole_years(born, input.on)),
        official_ages: official_ages(input, age_class, growth, &mut basis),
        warnings,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

/// What holds for the earliest and the latest day of birth alike.
fn same<T: PartialEq>(
    oldest: NaiveDate,
    youngest: NaiveDate,
    of: impl Fn(NaiveDate) -> T,
) -> Option<T> {
    let one = of(oldest);
    (one == of(youngest)).then_some(one)
}

/// The grown weight and the weight, in kilograms, within what is possible.
fn weights(input: &Input, rules: &Rules, faults: &mut Faults) -> (Option<f64>, Option<f64>) {
    let mut weight = |limit, kg: (&str, Option<f64>), lb: (&str, Option<f64>)| {
        let given = either(faults, "", (kg.0, kg.1, KILOGRAMS), (lb.0, lb.1, POUNDS))?;
        let field = if given.unit == POUNDS { lb.0 } else { kg.0 };
        if let Err(detail) = rules.limits.allow(limit, given.metric()) {
            faults.add(format!("/{field}"), detail);
        }
        Some(given.metric())
    };
    let mature = weight(
        "mature_weight_kg",
        ("mature_weight_kg", input.mature_weight_kg),
        ("mature_weight_lb", input.mature_weight_lb),
    );
    let now = weight(
        "weight_kg",
        ("weight_kg", input.weight_kg),
        ("weight_lb", input.weight_lb),
    );
    if mature.is_none() && faults.0.is_empty() {
        faults.add(
            "/mature_weight_kg",
            "mature_weight_kg is missing: say what it will weigh grown, as its dam and sire do",
        );
    }
    (mature, now)
}

/// The curve asked for, else the first.
fn curve_of<'a>(input: &Input, growth: &'a Growth, faults: &mut Faults) -> Option<&'a Curve> {
    let Some(name) = &input.curve else {
        return growth.curves.first();
    };
    let curve = growth.curves.iter().find(|curve| curve.id == *name);
    if curve.is_none() {
        let known: Vec<&str> = growth.curves.iter().map(|curve| &*curve.id).collect();
        let detail = format!("{name} is no curve; known are {}", known.join(", "));
        faults.add("/curve", detail);
    }
    curve
}

/// The weight expected, unless the days on which it can have been born are too far apart for one number.
fn expected(
    curve: &Curve,
    born: (NaiveDate, NaiveDate),
    on: NaiveDate,
    mature_kg: f64,
) -> Option<f64> {
    let most = curve.kg(age::months(born.0, on), mature_kg);
    let least = curve.kg(age::months(born.1, on), mature_kg);
    let middle = f64::midpoint(least, most);
    (100.0 * (most - least) <= CLOSE_PERCENT * middle).then_some(middle)
}

/// Says what the date of birth and the curve's ages leave open.
fn note_age(input: &Input, curve: &Curve, months: f64, known: bool, basis: &mut Basis) {
    if !known {
        basis.caution(format!(
            "foaled_on {} is not exact enough at this age: give the day for the weight expected",
            input.foaled_on
        ));
    } else if input.foaled_on.exact().is_none() {
        basis.caution(format!(
            "foaled_on {} is not known to the day: the middle of what is possible is taken",
            input.foaled_on
        ));
    }
    if months > curve.until_months {
        basis.caution(format!(
            "the curve {} holds until {} months of age; beyond that it is a guess",
            curve.id,
            plain(curve.until_months)
        ));
    }
}

fn rest_on(basis: &mut Basis, growth: &Growth, curve: &Curve) {
    if let Some(source) = growth.source(curve.source()) {
        basis.rests_on(&format!("growth curve {}", curve.id), source, curve.mark());
    }
}

/// Questions a weight that lies too far from the curve.
fn judge(difference: f64, growth: &Growth, basis: &mut Basis, warnings: &mut Vec<Warning>) {
    for row in &growth.tolerances {
        if difference.abs() <= row.percent {
            continue;
        }
        let side = if difference < 0.0 { "below" } else { "above" };
        warnings.push(Warning::new(
            "weight-off-the-curve",
            format!(
                "{} % {side} the curve: check kilograms and pounds, the tape, the grown weight and the date of birth; \
                 if they are right, ask the vet",
                plain(difference.abs().round())
            ),
        ));
        if let Some(source) = growth.source(row.source()) {
            basis.rests_on(row.id(), source, row.mark());
        }
    }
}

/// Says how far the curve is known to be off at this age.
fn note_fit(curve: &Curve, growth: &Growth, months: f64, basis: &mut Basis) {
    let here = |row: &&pack::Fit| row.curve == curve.id && row.months.holds(months);
    for row in growth.fits.iter().filter(here) {
        let off = match (row.under_kg, row.over_kg) {
            (under, over) if under > 0.0 && over > 0.0 => {
                format!("within {} kg of it", plain(under.max(over)))
            }
            (under, _) if under > 0.0 => format!("up to {} kg above it", plain(under)),
            (_, over) => format!("up to {} kg below it", plain(over)),
        };
        basis.caution(format!(
            "at this age the mean of Thoroughbreds lay {off}; other breeds are not known"
        ));
        if let Some(source) = growth.source(row.source()) {
            basis.rests_on(row.id(), source, row.mark());
        }
    }
}

fn official_ages(
    input: &Input,
    actual: Option<AgeClass>,
    growth: &Growth,
    basis: &mut Basis,
) -> Vec<OfficialAge> {
    let (oldest, youngest) = (
        input.foaled_on.earliest(),
        input.foaled_on.latest().min(input.on),
    );
    let mut ages = Vec::new();
    for row in &growth.countings {
        let years = |born| age::official_years(born, input.on, row);
        if let Some(years) = same(oldest, youngest, years) {
            ages.push(OfficialAge {
                counting: row.id.clone(),
                years,
                age_class: age::official_class(years, actual, growth),
            });
            if let Some(source) = growth.source(row.source()) {
                basis.rests_on(row.id(), source, row.mark());
            }
        }
    }
    ages
}
