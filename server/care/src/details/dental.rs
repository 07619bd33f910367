//! Dental work.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::kind::codes;

codes! {
    /// What was done to the teeth.
    DentalProcedure {
        /// Looked at.
        Exam = "exam",
        /// Floated (rasped).
        Float = "float",
        /// A tooth was taken out.
        Extraction = "extraction",
    }
}

/// Teeth looked at or worked on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Dental {
    /// What was done.
    pub procedure: DentalProcedure,
    /// What was found, in words.
    #[serde(default)]
    pub findings: Vec<String>,
    /// Whether the horse was sedated.
    pub sedated: Option<bool>,
    /// The next visit is wanted after so many months.
    pub next_in_months: Option<u32>,
}

impl Typed for Dental {
    fn example() -> Value {
        json!({
            "procedure": "float",
            "findings": ["sharp points on the upper cheek teeth", "small hook on 206"],
            "sedated": true,
            "next_in_months": 12
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        for (index, finding) in self.findings.iter().enumerate() {
            check.long(&format!("/findings/{index}"), Some(finding));
        }
        let months = self.next_in_months.map(f64::from);
        check.quantity("/next_in_months", "next_in_months", months);
    }
}
