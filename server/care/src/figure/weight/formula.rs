//! The weight formulas as data: which measures they take, in which units, for which horses, and how far off they are.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use serde::Deserialize;

use crate::horse::BreedType;
use crate::kind::codes;
use crate::rules::{Mark, row};
use crate::unit::{CM_PER_IN, KG_PER_LB};

codes! {
    /// Whom a weight formula is made for.
    WeightClass {
        /// A foal with its dam.
        Foal = "foal",
        /// A weaned foal in its first year.
        Weanling = "weanling",
        /// In its second year.
        Yearling = "yearling",
        /// A grown horse.
        Adult = "adult",
        /// A grown pony.
        Pony = "pony",
        /// A grown draught horse.
        Draft = "draft",
        /// A donkey.
        Donkey = "donkey",
        /// A miniature horse.
        Miniature = "miniature",
    }
}

codes! {
    /// A measure that a formula may take.
    Measure {
        /// Round the chest, behind the elbow and over the withers.
        Girth = "girth",
        /// From the shoulder to the buttock.
        Length = "length",
        /// To the withers.
        Height = "height",
        /// Round the neck, midway between poll and withers.
        Neck = "neck",
        /// Round the belly at the navel.
        UmbilicalGirth = "umbilical_girth",
        /// Age in months.
        AgeMonths = "age_months",
    }
}

codes! {
    /// The units in which a formula is written.
    Units {
        /// Kilograms from centimetres.
        KgCm = "kg_cm",
        /// Pounds from inches.
        LbIn = "lb_in",
        /// Kilograms from metres.
        KgM = "kg_m",
    }
}

impl Units {
    /// How many centimetres the formula's unit of length is.
    const fn length_cm(self) -> f64 {
        match self {
            Self::KgCm => 1.0,
            Self::LbIn => CM_PER_IN,
            Self::KgM => 100.0,
        }
    }

    /// How many kilograms the formula's unit of weight is.
    const fn weight_kg(self) -> f64 {
        match self {
            Self::LbIn => KG_PER_LB,
            Self::KgCm | Self::KgM => 1.0,
        }
    }
}

codes! {
    /// Whether a formula holds for a mare in foal.
    InFoal {
        /// It was made for mares in foal.
        Fits = "fits",
        /// It was made without them; late in pregnancy it misleads.
        Caution = "caution",
        /// Its authors measured only mares that were not in foal.
        Refused = "refused",
    }
}

/// One term: `times` a product of powers of the measures.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Term {
    /// The factor.
    #[serde(default = "one")]
    pub times: f64,
    /// The power of each measure.
    #[serde(flatten)]
    pub powers: BTreeMap<Measure, f64>,
}

fn one() -> f64 {
    1.0
}

/// How far off a formula is, as published: a share of the weight or a number of kilograms.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accuracy {
    /// In per cent of the estimate.
    pub percent: Option<f64>,
    /// In kilograms.
    pub kg: Option<f64>,
    /// Where that is stated.
    pub source: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

impl Accuracy {
    /// The error in kilograms at this weight.
    #[must_use]
    pub fn at(&self, weight_kg: f64) -> f64 {
        self.kg.unwrap_or(0.0) + self.percent.unwrap_or(0.0) / 100.0 * weight_kg
    }
}

/// One formula: weight = (constant + Σ terms) / divisor, in its own units.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Formula {
    /// Its name within the pack.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The name a caller asks for; formulas that differ in units or in age may share it.
    pub method: String,
    /// Whom it holds for.
    pub classes: Vec<WeightClass>,
    /// The builds it holds for; empty for any.
    #[serde(default)]
    pub breed_types: Vec<BreedType>,
    /// Its place among the formulas that the measures allow, higher first; 0 only by name.
    pub rank: u8,
    /// The units it is written in.
    pub units: Units,
    /// The constant of the sum.
    #[serde(default)]
    pub constant: f64,
    /// The terms of the sum.
    pub terms: Vec<Term>,
    /// What the sum is divided by.
    #[serde(default = "one")]
    pub divisor: f64,
    /// How far off it is.
    pub error: Accuracy,
    /// Ages, in days, for which it holds.
    pub age_days: Option<[i64; 2]>,
    /// The measures, in centimetres, for which it holds.
    pub limits_cm: BTreeMap<Measure, [f64; 2]>,
    /// The lengths, as shares of the girth, for which it holds.
    pub length_to_girth: Option<[f64; 2]>,
    /// The weights, in kilograms, for which it holds.
    pub result_kg: [f64; 2],
    /// Whether it holds for a mare in foal.
    #[serde(default = "caution")]
    pub pregnant: InFoal,
    /// How to measure, and whom it is for, for a person.
    pub note: Option<String>,
}

fn caution() -> InFoal {
    InFoal::Caution
}

/// Measures in centimetres; the age in months.
pub type Measures = BTreeMap<Measure, f64>;

impl Formula {
    /// The measures it takes.
    pub fn takes(&self) -> impl Iterator<Item = Measure> {
        Measure::ALL.iter().copied().filter(|measure| {
            let with_it = |term: &Term| term.powers.contains_key(measure);
            self.terms.iter().any(with_it)
        })
    }

    /// The weight in kilograms from measures in centimetres (and an age in months), not rounded and not judged; `None`
    /// if a measure is lacking. The formula is worked in its own units with its own constants.
    #[must_use]
    pub fn weight_kg(&self, measures: &Measures) -> Option<f64> {
        let mut sum = self.constant;
        for term in &self.terms {
            let mut product = term.times;
            for (measure, power) in &term.powers {
                let size = match measure {
                    Measure::AgeMonths => 1.0,
                    _ => self.units.length_cm(),
                };
                product *= (measures.get(measure)? / size).powf(*power);
            }
            sum += product;
        }
        Some(sum / self.divisor * self.units.weight_kg())
    }

    /// Whether it was made for this class and build; a build that is not known is not held against it.
    #[must_use]
    pub fn suits(&self, class: WeightClass, breed_type: Option<BreedType>) -> bool {
        let build = breed_type.is_none_or(|breed| self.breed_types.contains(&breed));
        self.classes.contains(&class) && (self.breed_types.is_empty() || build)
    }

    /// The limits of a measure in centimetres, if it has any.
    #[must_use]
    pub fn limits(&self, measure: Measure) -> Option<RangeInclusive<f64>> {
        let [low, high] = *self.limits_cm.get(&measure)?;
        Some(low..=high)
    }
}

/// The weight that a frame should carry: `per_length` × length + `per_height` × height − `less`, in kilograms and
/// centimetres, at a condition score of 5.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ideal {
    /// Its name within the pack.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The build it holds for.
    pub breed_type: BreedType,
    /// Kilograms for each centimetre of length.
    pub per_length: f64,
    /// Kilograms for each centimetre of height.
    pub per_height: f64,
    /// Kilograms taken off.
    pub less: f64,
}

impl Ideal {
    /// The weight in kilograms; `None` without a length and a height.
    #[must_use]
    pub fn weight_kg(&self, measures: &Measures) -> Option<f64> {
        let length = measures.get(&Measure::Length)?;
        let height = measures.get(&Measure::Height)?;
        Some(self.per_length * length + self.per_height * height - self.less)
    }
}

row!(Formula, Ideal);
