//! Events about other events: amending, retracting, countersigning and erasing them.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use super::check::Check;
use super::{Details, Typed};
use crate::fault::Faults;
use crate::kind::Kind;

/// Details of `amendment`: replaces the details of the event that the envelope's `target_id` names.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Amendment {
    /// Why.
    pub reason: String,
    /// The whole new details, of the target's kind; they are read and checked by that kind.
    #[cfg_attr(feature = "schema", schema(value_type = Object))]
    pub details: Map<String, Value>,
}

impl Typed for Amendment {
    fn example() -> Value {
        json!({
            "reason": "Read the tape wrongly.",
            "details": {"weight_kg": 512.0, "method": "tape"}
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.long("/reason", Some(&self.reason));
        check.that(
            !self.details.is_empty(),
            "/details",
            "give the whole new details; to withdraw the entry, retract it",
        );
    }
}

impl Amendment {
    /// The new details, read as those of the amended event's kind.
    ///
    /// # Errors
    ///
    /// Their faults, under `/details`; also if that kind can't be amended.
    pub fn new_details(&self, target: Kind) -> Result<Details, Faults> {
        if target.is_about_another() {
            let detail = format!("a {target} can't be amended; retract it and record it anew");
            return Err(Faults::one("/details", detail));
        }
        Details::parse(target, &Value::Object(self.details.clone()))
            .map_err(|faults| faults.under("/details"))
    }
}

/// Details of `retraction`: withdraws the event that the envelope's `target_id` names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Retraction {
    /// Why.
    pub reason: String,
}

impl Typed for Retraction {
    fn example() -> Value {
        json!({"reason": "Entered for the wrong horse."})
    }

    fn check(&self, check: &mut Check<'_>) {
        check.long("/reason", Some(&self.reason));
    }
}

/// Details of `countersign`: a professional vouches for the transcribed event that `target_id` names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Countersign {
    /// What is vouched for, and on what grounds.
    pub statement: String,
}

impl Typed for Countersign {
    fn example() -> Value {
        json!({"statement": "I gave this dose myself and have compared the entry with my own day book."})
    }

    fn check(&self, check: &mut Check<'_>) {
        check.long("/statement", Some(&self.statement));
    }
}

/// Details of `erasure`: the content of the event that `target_id` names, and of what was said about it, is taken away
/// for good from the server and from every device that syncs. The envelopes stay, so that signatures and the chain
/// still verify.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Erasure {
    /// Why. It stays in the record, so it must not repeat what is to go.
    pub reason: String,
}

impl Typed for Erasure {
    fn example() -> Value {
        json!({"reason": "It told of a person who asked for that to be taken out."})
    }

    fn check(&self, check: &mut Check<'_>) {
        check.long("/reason", Some(&self.reason));
    }
}
