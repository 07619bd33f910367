//! A journey.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;

/// Details of `movement`: the horse went from one place to another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Movement {
    /// Where it came from.
    pub from: Option<String>,
    /// Where it went.
    pub to: String,
    /// Why: a show, breeding, a sale, treatment …
    pub reason: Option<String>,
    /// Whether it met horses from elsewhere.
    pub mixed_with_others: Option<bool>,
}

impl Typed for Movement {
    fn example() -> Value {
        json!({
            "from": "Saltmarsh Yard",
            "to": "Headland Show Ground",
            "reason": "one-day event",
            "mixed_with_others": true
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.short("/from", self.from.as_deref());
        check.short("/to", Some(&self.to));
        check.that(
            self.from.as_deref() != Some(self.to.as_str()),
            "/to",
            "it is the place that the horse came from",
        );
        check.long("/reason", self.reason.as_deref());
    }
}
