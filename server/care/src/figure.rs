//! The figures: one JSON document in, one out. `run` knows them by name; each is a file of `figure/`.

pub mod dose;
pub mod due;
pub mod egg_count;
pub mod entry;
pub mod growth;
pub mod hoof;
pub mod reduction;
pub mod weight;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::fault::{Faults, read};
use crate::rules::{Mark, Rules, Source};
use crate::sentence;

/// The names that [`run`] knows, in the order of the vocabulary.
pub const NAMES: &[&str] = &[
    "weight",
    "dose",
    "egg-count",
    "reduction",
    "hoof",
    "growth",
    "due",
    "entry",
];

/// Computes the figure `name` from a JSON document; `None` if there is no such figure.
///
/// # Errors
///
/// The faults of the document, with pointers into it.
pub fn run(name: &str, document: &Value, rules: &Rules) -> Option<Result<Value, Faults>> {
    Some(match name {
        "weight" => answer(weight::weight, document, rules),
        "dose" => answer(dose::dose, document, rules),
        "egg-count" => answer(egg_count::egg_count, document, rules),
        "reduction" => answer(reduction::reduction, document, rules),
        "hoof" => answer(hoof::hoof, document, rules),
        "growth" => answer(growth::growth, document, rules),
        "due" => answer(due::answer, document, rules),
        "entry" => answer(entry::answer, document, rules),
        _ => return None,
    })
}

/// Reads the input, computes, writes the answer.
fn answer<I: DeserializeOwned, A: Serialize>(
    figure: impl Fn(&I, &Rules) -> Result<A, Faults>,
    document: &Value,
    rules: &Rules,
) -> Result<Value, Faults> {
    let input: I = read(document)?;
    let answer = figure(&input, rules)?;
    serde_json::to_value(answer).map_err(|error| Faults::one("", error.to_string()))
}

/// A warning with a stable code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Warning {
    /// The stable code.
    pub code: String,
    /// What a person must know, in words.
    pub text: String,
}

impl Warning {
    /// A warning.
    pub fn new(code: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            code: code.into(),
            text: text.into(),
        }
    }
}

/// What an answer rests on: gathered while it is computed, without repetition.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Basis {
    /// The sources of every number used.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

impl Basis {
    /// Notes that the answer rests on a rule of `source`; a mark other than "read" becomes a caution.
    pub fn rests_on(&mut self, rule: &str, source: &Source, mark: Mark) {
        if !self.sources.contains(source) {
            self.sources.push(source.clone());
        }
        if let Some(caution) = mark.caution() {
            self.caution(format!("{}: {caution}", sentence::rule(rule)));
        }
    }

    /// Notes a caution once.
    pub fn caution(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !self.cautions.contains(&text) {
            self.cautions.push(text);
        }
    }
}
