//! A farrier's visit to one horse.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::check::Check;
use super::finding::check_all;
use super::{Finding, Measures, Typed};
use crate::fault::step;
use crate::kind::{Foot, codes};

codes! {
    /// What the farrier came to do.
    Service {
        /// Trimmed, without shoes.
        Trim = "trim",
        /// Shod with new shoes.
        Shoe = "shoe",
        /// Trimmed, and the same shoes put back.
        Reset = "reset",
        /// Shoes taken off.
        Pull = "pull",
        /// Repaired: a lost shoe, a broken wall, a patch.
        Repair = "repair",
    }
}

/// A shoe, in the farrier's own words: names and sizes differ by maker and country.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Shoe {
    /// Plain, fullered, rolled toe, egg bar, heart bar, glue-on …
    #[serde(rename = "type")]
    pub kind: Option<String>,
    /// The maker's size: 00, 0, 1, 2 …
    pub size: Option<String>,
    /// Steel, aluminium, rubber, plastic …
    pub material: Option<String>,
    /// Full, rim, wedge, frog support …
    pub pad: Option<String>,
    /// How many nails hold it; none for a glued shoe.
    pub nails: Option<u8>,
}

/// One foot at a farrier's visit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields, default)]
pub struct FootCare {
    /// Measures before the work.
    pub before: Option<Measures>,
    /// Measures after the work.
    pub after: Option<Measures>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// What was done to this foot, in the farrier's words: trim, patch, wedge, glue-on …
    pub work: Vec<String>,
    /// The shoe it now wears.
    pub shoe: Option<Shoe>,
}

/// Details of `hoof_care`: a farrier's trim or shoeing of one horse.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct HoofCare {
    /// What was done.
    pub service: Service,
    /// Foot by foot; empty means all four, with nothing more to say of any.
    #[serde(default)]
    pub feet: BTreeMap<Foot, FootCare>,
    /// The farrier wants to come back after so many weeks.
    pub next_in_weeks: Option<u32>,
    /// How to handle this horse's feet safely; shown to everyone who will pick them up.
    pub handling: Option<String>,
}

impl Typed for HoofCare {
    fn example() -> Value {
        json!({
            "service": "shoe",
            "feet": {
                "LF": {
                    "before": {
                        "toe_length_mm": 92.0, "toe_angle_deg": 50.0, "pastern_angle_deg": 53.0,
                        "method": "gauge"
                    },
                    "after": {
                        "toe_length_mm": 84.0, "toe_angle_deg": 52.5, "pastern_angle_deg": 53.0,
                        "heel_angle_deg": 49.0, "heel_length_medial_mm": 31.0,
                        "heel_length_lateral_mm": 32.0, "wall_height_medial_mm": 48.0,
                        "wall_height_lateral_mm": 49.0, "width_mm": 128.0, "length_mm": 131.0,
                        "support_length_mm": 110.0, "frog_length_mm": 88.0, "frog_width_mm": 62.0,
                        "sole_depth_mm": 16.0, "coronet_circumference_mm": 362.0, "method": "gauge"
                    },
                    "findings": [
                        {"finding": "thrush", "severity": 1, "region": "central sulcus",
                         "note": "smells, no pain"}
                    ],
                    "work": ["trim", "new shoe"],
                    "shoe": {"type": "plain", "size": "2", "material": "steel", "pad": "rim", "nails": 6}
                },
                "RF": {"after": {"toe_length_mm": 84.5, "toe_angle_deg": 52.0, "method": "gauge"}}
            },
            "next_in_weeks": 6,
            "handling": "Lean on the left hind and she will lean back; keep it low."
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        for (foot, care) in &self.feet {
            care.check(&format!("/feet{}", step(foot.code())), check);
        }
        check.quantity(
            "/next_in_weeks",
            "next_in_weeks",
            self.next_in_weeks.map(f64::from),
        );
        check.long("/handling", self.handling.as_deref());
    }
}

impl FootCare {
    fn check(&self, at: &str, check: &mut Check<'_>) {
        for (name, measures) in [("before", self.before), ("after", self.after)] {
            if let Some(measures) = measures {
                measures.check(&format!("{at}/{name}"), check);
            }
        }
        check_all(&format!("{at}/findings"), &self.findings, check);
        for (index, work) in self.work.iter().enumerate() {
            check.short(&format!("{at}/work/{index}"), Some(work));
        }
        if let Some(shoe) = &self.shoe {
            for (name, text) in [
                ("type", &shoe.kind),
                ("size", &shoe.size),
                ("material", &shoe.material),
                ("pad", &shoe.pad),
            ] {
                check.short(&format!("{at}/shoe/{name}"), text.as_deref());
            }
            check.quantity(
                &format!("{at}/shoe/nails"),
                "nails",
                shoe.nails.map(f64::from),
            );
        }
    }
}
