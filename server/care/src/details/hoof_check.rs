//! Feet picked out and looked at.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::check::Check;
use super::finding::check_all;
use super::{Finding, Typed};
use crate::fault::step;
use crate::kind::Foot;

/// One foot that was looked at.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields, default)]
pub struct CheckedFoot {
    /// What was found; empty means that it looked well.
    pub findings: Vec<Finding>,
}

/// Details of `hoof_check`: feet picked out and looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct HoofCheck {
    /// The feet that were looked at.
    pub feet: BTreeMap<Foot, CheckedFoot>,
}

impl Typed for HoofCheck {
    fn example() -> Value {
        json!({
            "feet": {
                "LF": {"findings": [
                    {"finding": "thrush", "severity": 1, "region": "central sulcus", "note": "smells"}
                ]},
                "RF": {"findings": []}
            }
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.that(
            !self.feet.is_empty(),
            "/feet",
            "say which feet were looked at: LF, RF, LH, RH",
        );
        for (foot, checked) in &self.feet {
            let at = format!("/feet{}/findings", step(foot.code()));
            check_all(&at, &checked.findings, check);
        }
    }
}
