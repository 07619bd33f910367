//! Temperature, pulse and respiration.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::fault::step;
use crate::kind::Foot;

/// Details of `vitals`: vital signs at rest.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Vitals {
    /// Rectal temperature, in degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Heart beats a minute.
    pub pulse_bpm: Option<f64>,
    /// Breaths a minute.
    pub respiration_bpm: Option<f64>,
    /// The pulse felt in each foot: 0 hard to find, 1 faint and normal, 2 increased, 3 bounding.
    #[serde(default)]
    pub digital_pulses: BTreeMap<Foot, u8>,
}

impl Typed for Vitals {
    fn example() -> Value {
        json!({
            "temperature_c": 37.8,
            "pulse_bpm": 36.0,
            "respiration_bpm": 12.0,
            "digital_pulses": {"LF": 1, "RF": 1, "LH": 1, "RH": 1}
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        let quantities = [
            ("temperature_c", self.temperature_c),
            ("pulse_bpm", self.pulse_bpm),
            ("respiration_bpm", self.respiration_bpm),
        ];
        for (field, value) in quantities {
            check.quantity(&format!("/{field}"), field, value);
        }
        for (foot, grade) in &self.digital_pulses {
            check.that(
                *grade <= 3,
                &format!("/digital_pulses{}", step(foot.code())),
                format!("{grade} is no grade; 0 hard to find, 1 normal, 2 increased, 3 bounding"),
            );
        }
        let any = quantities.iter().any(|(_, value)| value.is_some());
        check.that(
            any || !self.digital_pulses.is_empty(),
            "/temperature_c",
            "it is missing: give temperature_c, pulse_bpm, respiration_bpm or digital_pulses",
        );
    }
}
