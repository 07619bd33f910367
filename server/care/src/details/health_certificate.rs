//! A health certificate.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;

/// Details of `health_certificate`: a certificate of inspection for a journey.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct HealthCertificate {
    /// Its number.
    pub number: Option<String>,
    /// The day it was issued.
    pub issued_on: NaiveDate,
    /// Its last day.
    pub valid_until: Option<NaiveDate>,
    /// Where the horse comes from.
    pub origin: Option<String>,
    /// Where it goes.
    pub destination: Option<String>,
}

impl Typed for HealthCertificate {
    fn example() -> Value {
        json!({
            "number": "SM-2026-0147",
            "issued_on": "2026-05-04",
            "valid_until": "2026-06-03",
            "origin": "Saltmarsh Yard",
            "destination": "Headland Show Ground"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.needed(
            "/number",
            self.number.is_some(),
            "the number on the certificate",
        );
        check.short("/number", self.number.as_deref());
        check.past("/issued_on", Some(self.issued_on));
        check.not_before(
            "/valid_until",
            self.valid_until,
            Some(self.issued_on),
            "the day of issue",
        );
        check.short("/origin", self.origin.as_deref());
        check.short("/destination", self.destination.as_deref());
    }
}
