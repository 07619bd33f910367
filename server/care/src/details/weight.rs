//! A weight.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::code::WeightMethod;

/// Details of `weight`: a horse weighed, taped or estimated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Weight {
    /// The weight, in kilograms.
    pub weight_kg: f64,
    /// How it was come by.
    pub method: Option<WeightMethod>,
    /// Round the chest behind the elbow and over the withers, in centimetres.
    pub heart_girth_cm: Option<f64>,
    /// Point of the shoulder to point of the buttock, in centimetres.
    pub body_length_cm: Option<f64>,
    /// Height at the withers, in centimetres.
    pub height_cm: Option<f64>,
    /// Round the neck midway between poll and withers, in centimetres.
    pub neck_cm: Option<f64>,
}

impl Typed for Weight {
    fn example() -> Value {
        json!({
            "weight_kg": 498.0,
            "method": "formula",
            "heart_girth_cm": 188.0,
            "body_length_cm": 168.0,
            "height_cm": 158.0,
            "neck_cm": 98.0
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.needed(
            "/method",
            self.method.is_some(),
            "scale, tape, formula or visual; doses depend on it",
        );
        for (field, value) in [
            ("weight_kg", Some(self.weight_kg)),
            ("heart_girth_cm", self.heart_girth_cm),
            ("body_length_cm", self.body_length_cm),
            ("height_cm", self.height_cm),
            ("neck_cm", self.neck_cm),
        ] {
            check.quantity(&format!("/{field}"), field, value);
        }
        if let Some(estimate) = self.estimate_kg() {
            let ratio = self.weight_kg / estimate;
            if !(0.6..=1.6).contains(&ratio) {
                check.ask(
                    "/weight_kg",
                    format!(
                        "{} kg is far from the {estimate:.0} kg that girth and length make; is the unit right?",
                        self.weight_kg
                    ),
                );
            }
        }
    }
}

impl Weight {
    /// A rough weight from girth and length, to hold the weight against: far too rough to dose by.
    ///
    /// # Source
    ///
    /// Girth squared times length over 11 880, centimetres to kilograms: the pack `weight`, `girth_length_adult`.
    fn estimate_kg(&self) -> Option<f64> {
        let (girth, length) = self.heart_girth_cm.zip(self.body_length_cm)?;
        Some(girth * girth * length / 11_880.0)
    }
}
