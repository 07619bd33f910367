//! A drug given.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::ids::EventId;
use crate::kind::codes;
use crate::when::PartialDate;

codes! {
    /// How a drug was given: the vaccine routes, and those that only drugs take.
    MedicationRoute {
        /// Into a muscle.
        Intramuscular = "intramuscular",
        /// Under the skin.
        Subcutaneous = "subcutaneous",
        /// Into a nostril.
        Intranasal = "intranasal",
        /// By mouth.
        Oral = "oral",
        /// Into a vein.
        Intravenous = "intravenous",
        /// Into a joint.
        IntraArticular = "intra_articular",
        /// Onto the skin or a wound.
        Topical = "topical",
        /// Into the eye.
        Ophthalmic = "ophthalmic",
        /// Breathed in.
        Inhaled = "inhaled",
        /// Into the rectum.
        Rectal = "rectal",
        /// Into the womb.
        Intrauterine = "intrauterine",
    }
}

/// Details of `medication`: a drug given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Medication {
    /// The drug's name.
    pub drug: String,
    /// How much was given, as prescribed: an amount with its unit (`10 ml`, `2 g twice a day`).
    pub dose: Option<String>,
    /// How it was given.
    pub route: Option<MedicationRoute>,
    /// What for.
    pub purpose: Option<String>,
    /// The lot (batch) number.
    pub lot_number: Option<String>,
    /// When it expires: a day, or a month, which counts to its end.
    pub expiration_date: Option<PartialDate>,
    /// Until when the horse may not compete or be slaughtered.
    pub withdrawal_until: Option<NaiveDate>,
    /// The care plan under which it was given.
    pub care_plan_id: Option<EventId>,
}

impl Typed for Medication {
    fn example() -> Value {
        json!({
            "drug": "phenylbutazone",
            "dose": "1 g twice a day, in feed",
            "route": "oral",
            "purpose": "bruised sole",
            "lot_number": "B20-118",
            "expiration_date": "2027-06",
            "withdrawal_until": "2026-05-18",
            "care_plan_id": "019682f0-7c00-7000-8000-000000000018"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.short("/drug", Some(&self.drug));
        check.needed("/dose", self.dose.is_some(), "the amount and its unit");
        check.short("/dose", self.dose.as_deref());
        if let Some(dose) = &self.dose {
            check_dose(dose, check);
        }
        check.long("/purpose", self.purpose.as_deref());
        check.short("/lot_number", self.lot_number.as_deref());
        check.expiry("/expiration_date", self.expiration_date);
        check.not_before(
            "/withdrawal_until",
            self.withdrawal_until,
            Some(check.context.performed_on),
            "the day it was given",
        );
    }
}

/// The first amount of the text must be more than nothing, and must have a unit.
fn check_dose(dose: &str, check: &mut Check<'_>) {
    let Some(start) = dose.find(|c: char| c.is_ascii_digit()) else {
        let wordy = dose.chars().filter(|c| c.is_alphabetic()).count() >= 3;
        check.that(
            wordy,
            "/dose",
            "give an amount with its unit, such as 10 ml",
        );
        return;
    };
    let (lead, rest) = dose.split_at(start);
    let amount: String = rest
        .chars()
        .take_while(|c| c.is_ascii_digit() || *c == '.' || *c == ',')
        .collect();
    let mut before = lead.trim_end().chars().rev();
    let minus = before.next().is_some_and(|c| matches!(c, '-' | '−' | '–'));
    let negative = minus && before.next().is_none_or(char::is_whitespace);
    check.that(
        !negative && amount.bytes().any(|digit| (b'1'..=b'9').contains(&digit)),
        "/dose",
        format!("{dose} is no dose; the amount must be more than nothing"),
    );
    check.that(
        dose.chars().any(char::is_alphabetic) || dose.contains('%'),
        "/dose",
        format!("{dose} of what? give the unit as well, such as ml, g or mg/kg"),
    );
}
