//! The rows of the pack `dewormers`: classes, actives, doses, youngest ages, products.

use serde::Deserialize;

use crate::calendar::Period;
use crate::code::Parasite;
use crate::kind::codes;
use crate::rules::{Mark, row};

use super::input::{Label, Make, Regimen};
use super::limit::Limit;

/// A chemical class: worms that resist one of its actives mostly resist all.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrugClass {
    /// Its code.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// Its name for a person.
    pub name: String,
    /// The shortest time between two doses of the class, in days.
    pub interval_days: Option<u32>,
    /// The fewest eggs, counted before treatment, from which a reduction test can show that it works.
    pub least_eggs: Option<u32>,
    /// Whether it can kill a heavy burden of ascarids at once, so that they block the gut.
    pub ascarid_risk: bool,
    /// Whether the yearly baseline treatments are of this class.
    pub baseline: bool,
    /// What to think of where it no longer works.
    pub others: String,
}

codes! {
    /// What to do about a severely debilitated horse.
    Debilitated {
        /// Give none.
        Refuse = "refuse",
        /// Take care.
        Warn = "warn",
    }
}

codes! {
    /// What labels say about mares in foal.
    InFoalLabel {
        /// At any stage.
        AnyStage = "any_stage",
        /// No source found.
        Unconfirmed = "unconfirmed",
    }
}

/// How many times the label's dose may be given once the syringe is rounded up.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ceiling {
    /// Above this a person is warned.
    pub warn_above: Option<f64>,
    /// Above this no setting is given.
    pub refuse_above: f64,
    /// Where that is stated.
    pub source: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// The share of the base in a salt.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BaseInSalt {
    /// Milligrams of base in a milligram of salt.
    pub factor: f64,
    /// Where that is stated.
    pub source: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// What is known for mares in foal.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InFoal {
    /// What labels say.
    pub say: InFoalLabel,
    /// The most that may be given, in mg/kg.
    pub most_mg_per_kg: Option<f64>,
    /// Where that is stated.
    pub source: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// An active substance.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ActiveRow {
    /// Its code.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// Its name for a person.
    pub name: String,
    /// Its chemical class.
    pub class: String,
    /// The dose in mg/kg that a syringe's marks stand for.
    pub marks_go_by: Option<f64>,
    /// Whether its margin is narrow: age and condition must be known, and the weight measured.
    #[serde(default)]
    pub narrow_margin: bool,
    /// Whether its dose is the product's own.
    #[serde(default)]
    pub by_product: bool,
    /// Whether it goes into feed alone, never by syringe or tube.
    #[serde(default)]
    pub feed_only: bool,
    /// What to do about a severely debilitated horse.
    pub debilitated: Option<Debilitated>,
    /// Doses and strengths count the base; products may count the salt.
    pub base_in_salt: Option<BaseInSalt>,
    /// How far rounding up may lift the dose.
    pub ceiling: Ceiling,
    /// What is known for mares in foal.
    pub in_foal: InFoal,
}

/// A label's dose for a use.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dose {
    /// Its name within the pack.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The active.
    pub active: String,
    /// How it is given.
    pub regimen: Regimen,
    /// What it is for.
    pub parasites: Vec<Parasite>,
    /// For horses under this age only.
    pub under_months: Option<u32>,
    /// Milligrams for each kilogram of horse, each day.
    pub mg_per_kg: f64,
    /// On how many days in a row; as long as the label says where it is missing.
    pub days: Option<u32>,
}

/// The age under which an active is not given.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Youngest {
    /// Its name within the pack.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The active.
    pub active: String,
    /// Only together with this other active.
    pub with: Option<String>,
    /// Only under labels of this country.
    pub label: Option<Label>,
    /// Only for this form.
    pub form: Option<String>,
    /// The age from which it may be given.
    pub age: Period,
    /// From this weight on it is old enough whatever its date of birth, in kilograms.
    pub settled_from_kg: Option<f64>,
}

/// An active's share of a product.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// The active.
    pub active: String,
    /// Its strength by weight (or, in a liquid, grams in 100 mL).
    pub percent: Option<f64>,
    /// Its strength in a liquid or gel.
    pub mg_per_ml: Option<f64>,
    /// Whether the strength counts the base of a salt.
    pub base: Option<bool>,
    /// The label's dose of this active from this product.
    pub mg_per_kg: f64,
}

/// A product without its brand: strength, pack and marks.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Form {
    /// Its code.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// Its name for a person.
    pub name: String,
    /// The country of the label.
    pub label: Label,
    /// What it is.
    pub make: Make,
    /// Its actives.
    pub parts: Vec<Part>,
    /// What a syringe holds, in grams.
    pub content_g: Option<f64>,
    /// What a syringe holds, in millilitres.
    pub content_ml: Option<f64>,
    /// What one mark treats, in kilograms.
    pub mark_kg: Option<f64>,
    /// What one mark treats, in pounds.
    pub mark_lb: Option<f64>,
    /// Whether the ring must first be set to zero and the first paste thrown away.
    #[serde(default)]
    pub zero_first: bool,
    /// Whether its label names tapeworm.
    #[serde(default)]
    pub tapeworm_claim: bool,
    /// Days before the meat may be eaten, where the label allows it at all.
    pub meat_days: Option<u32>,
}

/// Something said with every dose of an active, of a class, or of any.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Saying {
    /// Its name within the pack.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// Only of this active.
    pub active: Option<String>,
    /// Only of this class.
    pub class: Option<String>,
    /// What is said.
    pub text: String,
}

row!(DrugClass, ActiveRow, Dose, Youngest, Form, Saying, Limit);
