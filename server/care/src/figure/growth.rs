//! The figure `growth`: a young horse's weight against the curve, its age, and the pregnancy it comes from.

pub mod age;
pub mod curve;
pub mod gestation;
pub mod pack;
mod pregnancy;
mod weighed;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::horse::BreedType;
use crate::rules::{Row, Rules, Source};
use crate::when::PartialDate;

use age::{AgeClass, OLDEST_YEARS};
use curve::Curve;
use pack::Growth;
pub use pregnancy::Pregnancy;
use weighed::{Weighed, Weights};

/// What the figure takes: when the horse was foaled, when its dam was covered, or both. Weights in kilograms or in
/// pounds, not both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = GrowthInput, example = json!({
    "foaled_on": "2026-04-20", "on": "2026-10-20", "mature_weight_kg": 520.0, "weight_kg": 215.0
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// When it was foaled.
    pub foaled_on: Option<PartialDate>,
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
    /// The last covering of its dam.
    pub covered_on: Option<NaiveDate>,
    /// The build of its dam, for the day on which mares of her build usually foal.
    pub breed_type: Option<BreedType>,
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
    /// What to know about counting so.
    pub note: Option<String>,
}

/// A young horse's weight against the curve, and its age. Null is what its date of birth doesn't allow.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = GrowthAnswer))]
pub struct Answer {
    /// The weight expected at that age, in kilograms.
    pub expected_kg: Option<f64>,
    /// The same if it was born as late as its date of birth allows.
    pub expected_low_kg: Option<f64>,
    /// The same if it was born as early as its date of birth allows.
    pub expected_high_kg: Option<f64>,
    /// The weight expected in percent of the grown weight: the curve's, not this horse's.
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
    /// The pregnancy that it comes from, or is to come from.
    pub pregnancy: Option<Pregnancy>,
    /// What to look into.
    pub warnings: Vec<Warning>,
    /// What the numbers rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// What is found on the way.
#[derive(Default)]
struct Found {
    basis: Basis,
    warnings: Vec<Warning>,
}

impl Found {
    fn rest_on(&mut self, what: &str, row: &dyn Row, growth: &Growth) {
        if let Some(source) = growth.source(row.source()) {
            self.basis.rests_on(what, source, row.mark());
        }
    }

    fn warn(&mut self, code: &str, text: impl Into<String>) {
        self.warnings.push(Warning::new(code, text));
    }
}

/// The days between which it was born, and the day to answer for.
#[derive(Clone, Copy)]
struct Life {
    foaled_on: PartialDate,
    /// The earliest: it is as old as can be.
    oldest: NaiveDate,
    /// The latest.
    youngest: NaiveDate,
    on: NaiveDate,
}

impl Life {
    /// What holds for the earliest and the latest day of birth alike.
    fn same<T: PartialEq>(&self, of: impl Fn(NaiveDate) -> T) -> Option<T> {
        let one = of(self.oldest);
        (one == of(self.youngest)).then_some(one)
    }
}

/// A young horse's weight expected at its age, and how far off it is; its age both ways; the dates of the pregnancy
/// that it comes from.
///
/// # Errors
///
/// Faults with pointers into the input: a day before birth, a weight that can't be (with the unit that may have been
/// meant), a curve that isn't known.
///
/// # Source
///
/// The pack `growth`; its curve is that of NRC 2007, with constants from memory.
pub fn growth(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let mut faults = Faults::default();
    let weights = Weights::taken(input, rules, &mut faults);
    let life = life(input, &mut faults);
    pregnancy::judge(input, &mut faults);
    let curve = curve_of(input, &rules.growth, &mut faults);
    faults.or(())?;

    let growth = &rules.growth;
    let mut found = Found::default();
    let weighed = match (&life, weights.mature, curve) {
        (Some(life), Some(mature), Some(curve)) => {
            Some(Weighed::by(curve, life, mature, growth, &mut found)?)
        }
        (Some(_), _, _) => return Err(Faults::one("", "there is no curve to go by")),
        (None, _, _) => None,
    };
    let difference_percent = match (&weighed, weights.now, curve) {
        (Some(weighed), Some(now), Some(curve)) => {
            weighed.compare(now, curve, growth, &mut found)?
        }
        _ => None,
    };
    let age_class = life.and_then(|life| called(&life, input.weaned_on, growth, &mut found));
    let exact = input.foaled_on.and_then(PartialDate::exact);
    let official_ages = life.map(|life| official_ages(&life, age_class, growth, &mut found));
    let pregnancy = input
        .covered_on
        .and_then(|covered_on| pregnancy::dated(covered_on, input, life, growth, &mut found));
    Ok(Answer {
        expected_kg: weighed.as_ref().and_then(|one| one.expected_kg),
        expected_low_kg: weighed.as_ref().map(|one| one.low_kg),
        expected_high_kg: weighed.as_ref().map(|one| one.high_kg),
        percent_of_mature: weighed.as_ref().and_then(Weighed::percent_of_mature),
        difference_percent,
        age_class,
        age_days: exact.map(|born| (input.on - born).num_days()),
        age_months: exact.map(|born| age::months(born, input.on)),
        age_years: life.and_then(|life| life.same(|born| age::whole_years(born, input.on))),
        official_ages: official_ages.unwrap_or_default(),
        pregnancy,
        warnings: found.warnings,
        sources: found.basis.sources,
        cautions: found.basis.cautions,
    })
}

/// The days of its life, in an order that can be.
fn life(input: &Input, faults: &mut Faults) -> Option<Life> {
    let Some(foaled_on) = input.foaled_on else {
        if input.covered_on.is_none() {
            let detail = "foaled_on is missing: say the day, or the month or the year";
            faults.add("/foaled_on", detail);
        }
        return None;
    };
    let oldest = foaled_on.earliest();
    if oldest > input.on {
        let detail = format!("{} is before it was foaled ({foaled_on})", input.on);
        faults.add("/on", detail);
    }
    if age::whole_years(foaled_on.latest(), input.on) > OLDEST_YEARS {
        let detail = format!("{foaled_on} would make it older than any horse; is the year right?");
        faults.add("/foaled_on", detail);
    }
    if let Some(weaned) = input.weaned_on
        && weaned < oldest
    {
        let detail = format!("{weaned} is before it was foaled ({foaled_on})");
        faults.add("/weaned_on", detail);
    }
    Some(Life {
        foaled_on,
        oldest,
        youngest: foaled_on.latest().min(input.on),
        on: input.on,
    })
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

/// What it is called by its actual age, and what leaves that open.
fn called(
    life: &Life,
    weaned_on: Option<NaiveDate>,
    growth: &Growth,
    found: &mut Found,
) -> Option<AgeClass> {
    let of = |born| age::class(PartialDate::Day(born), weaned_on, life.on, growth);
    let (oldest, youngest) = (of(life.oldest)?, of(life.youngest)?);
    for row in &growth.ages {
        if row.grade == oldest || row.grade == youngest {
            found.rest_on(&format!("age class {}", row.grade), row, growth);
        }
    }
    if oldest != youngest {
        let words = |class: AgeClass| class.code().replace('_', "-");
        found.warn(
            "age-class-uncertain",
            format!(
                "foaled {}: {} or {}; give the day",
                life.foaled_on,
                words(youngest),
                words(oldest)
            ),
        );
        return None;
    }
    if weaned_on.is_none() && matches!(oldest, AgeClass::Foal | AgeClass::Weanling) {
        found.basis.caution(
            "The day of weaning makes a foal a weanling. It is not given, so six months are taken; four to six are usual.",
        );
    }
    Some(oldest)
}

fn official_ages(
    life: &Life,
    actual: Option<AgeClass>,
    growth: &Growth,
    found: &mut Found,
) -> Vec<OfficialAge> {
    let mut ages = Vec::new();
    for row in &growth.countings {
        if let Some(years) = life.same(|born| age::official_years(born, life.on, row)) {
            ages.push(OfficialAge {
                counting: row.id.clone(),
                years,
                age_class: age::official_class(years, actual, growth),
                note: row.note.clone(),
            });
            found.rest_on(&row.id, row, growth);
        }
    }
    ages
}
