//! Signs that somebody saw.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use super::finding::severity;
use crate::code::Sign;
use crate::rules::herd_health::Illness;

/// Details of `observation`: what somebody saw, without a diagnosis.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields, default)]
pub struct Observation {
    /// The signs.
    pub signs: Vec<Sign>,
    /// 0 none, 1 mild, 2 moderate, 3 marked, 4 an emergency.
    pub severity: Option<u8>,
    /// Contagious diseases that are suspected, or that a vet has found.
    pub diseases: Vec<Illness>,
    /// In words.
    pub text: Option<String>,
}

impl Typed for Observation {
    fn example() -> Value {
        json!({
            "signs": ["cough", "nasal_discharge"],
            "diseases": ["influenza"],
            "severity": 1,
            "text": "Coughed twice when led out; clear drip from the left nostril."
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.distinct("/signs", &self.signs);
        check.distinct("/diseases", &self.diseases);
        severity("/severity", self.severity, check);
        check.long("/text", self.text.as_deref());
        check.that(
            !self.signs.is_empty() || !self.diseases.is_empty() || self.text.is_some(),
            "/signs",
            "say what was seen: signs, text, or both",
        );
    }
}
