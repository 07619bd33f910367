//! An adverse reaction.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use super::finding::severity;
use crate::code::Sign;
use crate::ids::EventId;

/// Details of `adverse_reaction`: something undesirable after something was given; no proof of the cause is needed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct AdverseReaction {
    /// The event after which it came, if that is on record.
    pub after_event_id: Option<EventId>,
    /// How many hours after it.
    pub onset_hours: Option<f64>,
    /// The signs.
    pub signs: Vec<Sign>,
    /// 0 none, 1 mild, 2 moderate, 3 marked, 4 an emergency.
    pub severity: Option<u8>,
    /// Who was told: the vet, the maker, the authority.
    pub reported_to: Option<String>,
}

impl Typed for AdverseReaction {
    fn example() -> Value {
        json!({
            "after_event_id": "019682f0-7c00-7000-8000-000000000003",
            "onset_hours": 6.0,
            "signs": ["injection_site_swelling", "stiffness"],
            "severity": 1,
            "reported_to": "the vet, and the maker through her"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.some_of("/signs", &self.signs, "sign");
        check.quantity("/onset_hours", "onset_hours", self.onset_hours);
        severity("/severity", self.severity, check);
        check.short("/reported_to", self.reported_to.as_deref());
    }
}
