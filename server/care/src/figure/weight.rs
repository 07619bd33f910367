//! The figure `weight`: a horse's weight from a tape, with how far off it may be.

mod choice;
pub mod formula;
mod judge;
pub mod pack;
mod suits;
mod taken;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::fault::Faults;
use crate::figure::Basis;
use crate::horse::BreedType;
use crate::rules::{Row, Rules, Source};
use crate::sentence;
use crate::unit::KG_PER_LB;
use crate::when::PartialDate;

use choice::{alternatives, best, class_of, fitting};
use formula::{Formula, InFoal, WeightClass};
use judge::{judge_measures, judge_result, words};
pub use suits::{Suits, suits};
use taken::Taken;

/// What the figure takes. Each measure is given in centimetres or in inches, not both.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = WeightInput, example = json!({
    "class": "adult", "heart_girth_cm": 185.0, "body_length_cm": 165.0
})))]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// Whom it is about.
    pub class: Option<WeightClass>,
    /// Round the chest, behind the elbow and over the withers, after the horse has breathed out.
    pub heart_girth_cm: Option<f64>,
    /// The same in inches.
    pub heart_girth_in: Option<f64>,
    /// From the point of the shoulder to the point of the buttock; of a donkey, from the elbow.
    pub body_length_cm: Option<f64>,
    /// The same in inches.
    pub body_length_in: Option<f64>,
    /// To the withers.
    pub height_cm: Option<f64>,
    /// The same in inches.
    pub height_in: Option<f64>,
    /// Round the neck, midway between poll and withers.
    pub neck_cm: Option<f64>,
    /// The same in inches.
    pub neck_in: Option<f64>,
    /// Round the belly at the navel (for young donkeys).
    pub umbilical_girth_cm: Option<f64>,
    /// The same in inches.
    pub umbilical_girth_in: Option<f64>,
    /// Its build, for formulas that go by it.
    pub breed_type: Option<BreedType>,
    /// Whether she is in foal.
    pub pregnant: Option<bool>,
    /// When it was foaled, for formulas that hold for an age.
    pub foaled_on: Option<PartialDate>,
    /// The day of measuring, which gives the age.
    pub on: Option<NaiveDate>,
    /// The formula to use; else the best that the measures allow.
    pub method: Option<String>,
}

/// The weight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = WeightAnswer))]
pub struct Answer {
    /// The estimate in kilograms.
    pub weight_kg: f64,
    /// The same in pounds.
    pub weight_lb: f64,
    /// The method used.
    pub method: String,
    /// The rule used: the method in its units, or for its ages.
    pub formula: String,
    /// The estimate less the formula's published error, in kilograms.
    pub low_kg: f64,
    /// The estimate and the formula's published error, in kilograms.
    pub high_kg: f64,
    /// What its frame should carry at a condition score of 5, in kilograms, where a rule for its build gives it.
    pub ideal_kg: Option<f64>,
    /// What the numbers rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Estimates a horse's weight in kilograms by the best formula that its class and the measures allow.
///
/// # Errors
///
/// Faults with pointers into the input: a class or a measure that is missing, a measure outside the formula's
/// population (with the unit that may have been meant), a method that is not for this class.
///
/// # Source
///
/// The pack `weight`; each row names its own.
pub fn weight(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let taken = Taken::from(input)?;
    let class = class_of(input)?;
    let fitting = fitting(input, class, &taken, rules)?;
    let Some(formula) = best(&fitting, &taken) else {
        return Err(Faults::one("", "no formula fits these measures"));
    };
    judge_measures(formula, class, &taken)?;

    let mut basis = Basis::default();
    let mut low_kg = f64::INFINITY;
    let mut high_kg = f64::NEG_INFINITY;
    let mut weight_kg = None;
    for one in alternatives(formula, &fitting, &taken) {
        let Some(kg) = one.weight_kg(&taken.measures) else {
            continue;
        };
        let error = one.error.at(kg);
        low_kg = low_kg.min(kg - error);
        high_kg = high_kg.max(kg + error);
        weight_kg.get_or_insert(kg);
        rest_on(&mut basis, one, rules);
    }
    let Some(weight_kg) = weight_kg else {
        return Err(Faults::one("", "no formula fits these measures"));
    };
    judge_result(formula, class, weight_kg)?;
    say(&mut basis, formula, input, &taken);
    let ideal_kg = ideal(input, class, &taken, rules, &mut basis);
    Ok(Answer {
        weight_kg,
        weight_lb: weight_kg / KG_PER_LB,
        method: formula.method.clone(),
        formula: formula.id.clone(),
        low_kg,
        high_kg,
        ideal_kg,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

/// Notes the sources of a formula and of its error.
fn rest_on(basis: &mut Basis, formula: &Formula, rules: &Rules) {
    if let Some(source) = rules.weight.source(formula.source()) {
        basis.rests_on(
            &format!("the formula {}", formula.id),
            source,
            formula.mark(),
        );
    }
    if let Some(source) = rules.weight.source(&formula.error.source) {
        let accuracy = format!("the accuracy of the formula {}", formula.id);
        basis.rests_on(&accuracy, source, formula.error.mark);
    }
}

/// What a person must know beside the number.
fn say(basis: &mut Basis, formula: &Formula, input: &Input, taken: &Taken) {
    basis.caution("an estimate by tape; a scale is better, and a dose rests on it");
    if let Some(note) = &formula.note {
        basis.caution(note.clone());
    }
    if input.pregnant == Some(true) && formula.pregnant == InFoal::Caution {
        basis.caution("late in pregnancy this formula misleads: weigh her on a scale");
    }
    if let Some([from, until]) = formula.age_days
        && taken
            .age_days
            .is_none_or(|(youngest, oldest)| youngest < from || oldest > until)
    {
        basis.caution(format!(
            "its age is not known to the day: the formula {} holds from day {from} to day {until}; say when it was foaled",
            sentence::words(&formula.id)
        ));
    }
    let unused: Vec<_> = taken
        .given
        .iter()
        .filter(|(measure, _, _)| !formula.takes().any(|taken| taken == *measure))
        .map(|(measure, _, _)| words(*measure).0)
        .collect();
    if !unused.is_empty() {
        basis.caution(format!(
            "not used by the formula {}: {}",
            sentence::words(&formula.method),
            unused.join(", ")
        ));
    }
}

/// What the frame should carry, where there is a rule for the build.
fn ideal(
    input: &Input,
    class: WeightClass,
    taken: &Taken,
    rules: &Rules,
    basis: &mut Basis,
) -> Option<f64> {
    let build = match (class, input.breed_type) {
        (WeightClass::Pony, _) => BreedType::Pony,
        (WeightClass::Draft, _) => BreedType::Draft,
        (WeightClass::Adult, Some(build)) => build,
        _ => return None,
    };
    let row = rules
        .weight
        .ideal
        .iter()
        .find(|row| row.breed_type == build)?;
    let ideal_kg = row.weight_kg(&taken.measures).filter(|kg| *kg > 0.0)?;
    if let Some(source) = rules.weight.source(row.source()) {
        basis.rests_on(&row.id, source, row.mark());
    }
    Some(ideal_kg)
}
