//! A growth curve: a young horse's weight by its age.

use serde::Deserialize;

use crate::rules::Mark;

/// A growth curve, in percent of the grown weight or in kilograms.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Curve {
    /// The rule's name.
    pub id: String,
    percent: Option<Percent>,
    /// Coefficients of a polynomial of the months, the constant first.
    kg: Option<Vec<f64>>,
    /// The age in months until which it holds.
    pub until_months: f64,
    /// What to know about it.
    pub note: Option<String>,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// Percent of the grown weight: birth + rest × (1 − e^(−rate × months)).
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Percent {
    birth: f64,
    rest: f64,
    rate_per_month: f64,
}

impl Percent {
    fn at(self, months: f64) -> f64 {
        self.birth + self.rest * (1.0 - (-self.rate_per_month * months).exp())
    }
}

impl Curve {
    /// Percent of the grown weight at an age in months.
    #[must_use]
    pub fn percent_of_mature(&self, months: f64, mature_kg: f64) -> f64 {
        match (&self.percent, &self.kg) {
            (Some(percent), _) => percent.at(months),
            (None, kg) => {
                let coefficients = kg.as_deref().unwrap_or_default();
                let kg = coefficients
                    .iter()
                    .rev()
                    .fold(0.0, |sum, coefficient| sum * months + coefficient);
                100.0 * kg / mature_kg
            }
        }
    }

    /// Kilograms at an age in months.
    #[must_use]
    pub fn kg(&self, months: f64, mature_kg: f64) -> f64 {
        self.percent_of_mature(months, mature_kg) / 100.0 * mature_kg
    }

    /// Refuses a curve that shrinks, or passes the grown weight.
    pub(super) fn check(&self) -> Result<(), String> {
        if self.percent.is_some() == self.kg.is_some() {
            return Err("give percent or kg, one of them".to_owned());
        }
        if !(self.until_months > 0.0 && self.until_months <= 120.0) {
            return Err("until_months is above 0, and no more than 120".to_owned());
        }
        let mut last = 0.0;
        for tenth in 0..=10 {
            let kg = self.kg(self.until_months * f64::from(tenth) / 10.0, 500.0);
            if !(kg.is_finite() && kg > last) {
                return Err("it must rise from above 0, over all its ages".to_owned());
            }
            last = kg;
        }
        let most = self.percent.map_or(0.0, |one| one.birth + one.rest);
        if most > 100.5 {
            return Err("it ends above the grown weight".to_owned());
        }
        Ok(())
    }
}
