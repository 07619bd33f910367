//! An adverse reaction.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use super::finding::severity;
use crate::code::Sign;
use crate::ids::EventId;
use crate::kind::codes;

codes! {
    /// How an adverse reaction ended: the words that reports to makers and authorities use.
    ReactionOutcome {
        /// The horse is well again.
        Recovered = "recovered",
        /// It is getting better.
        Recovering = "recovering",
        /// It is over, but something stays.
        WithSequelae = "with_sequelae",
        /// The horse died.
        Died = "died",
        /// It was put down.
        Euthanised = "euthanised",
        /// Nobody knows.
        Unknown = "unknown",
    }
}

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
    /// How many hours it lasted.
    pub duration_hours: Option<f64>,
    /// What was done against it.
    pub treatment: Option<String>,
    /// How it ended, as far as that is known.
    pub outcome: Option<ReactionOutcome>,
    /// What the vet makes of it.
    pub opinion: Option<String>,
    /// Who was told: the vet, the maker, the authority.
    pub reported_to: Option<String>,
    /// The number under which the maker or the authority keeps it.
    pub case_number: Option<String>,
}

impl Typed for AdverseReaction {
    fn example() -> Value {
        json!({
            "after_event_id": "019682f0-7c00-7000-8000-000000000003",
            "onset_hours": 6.0,
            "signs": ["injection_site_swelling", "stiffness"],
            "severity": 1,
            "duration_hours": 40.0,
            "treatment": "hosed with cold water, rested",
            "outcome": "recovered",
            "opinion": "a mild local reaction",
            "reported_to": "the vet, and the maker through her",
            "case_number": "AE-0417"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.some_of("/signs", &self.signs, "sign");
        check.quantity("/onset_hours", "onset_hours", self.onset_hours);
        check.quantity("/duration_hours", "duration_hours", self.duration_hours);
        severity("/severity", self.severity, check);
        check.long("/treatment", self.treatment.as_deref());
        check.long("/opinion", self.opinion.as_deref());
        check.short("/case_number", self.case_number.as_deref());
        check.short("/reported_to", self.reported_to.as_deref());
    }
}
