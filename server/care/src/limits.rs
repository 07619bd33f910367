//! What is possible for a horse: the bounds within which a recorded quantity is taken.

use serde::Deserialize;

use crate::details::metric::{MM_PER_IN, celsius};
use crate::kind::codes;
use crate::rules::{Header, Mark, Pack, Source, row, tables};
use crate::unit::{CM_PER_IN, KG_PER_LB};

codes! {
    /// The unit of a bounded quantity.
    Unit {
        /// Millimetres.
        Millimetres = "mm",
        /// Centimetres.
        Centimetres = "cm",
        /// Kilograms.
        Kilograms = "kg",
        /// Degrees Celsius.
        Celsius = "°C",
        /// Degrees of an angle.
        Degrees = "degrees",
        /// Millilitres.
        Millilitres = "ml",
        /// Milligrams.
        Milligrams = "mg",
        /// Percent.
        Percent = "percent",
        /// Times a minute.
        PerMinute = "a minute",
        /// Hours.
        Hours = "hours",
        /// Weeks.
        Weeks = "weeks",
        /// Months.
        Months = "months",
        /// Pieces.
        Count = "in number",
        /// Milligrams for each kilogram of horse.
        MilligramsPerKilogram = "mg/kg",
        /// Eggs per gram.
        EggsPerGram = "eggs per gram",
    }
}

/// The bounds of one quantity.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// The quantity: the name of its field.
    pub id: String,
    /// Its unit.
    pub unit: Unit,
    /// Below this the value is refused.
    pub low: f64,
    /// Above this the value is refused.
    pub high: f64,
    /// Below this a person is asked whether it is right.
    pub usual_low: Option<f64>,
    /// Above this a person is asked whether it is right.
    pub usual_high: Option<f64>,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Limit);

impl Limit {
    fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    fn is_usual(&self, value: f64) -> bool {
        self.holds(value)
            && self.usual_low.is_none_or(|low| value >= low)
            && self.usual_high.is_none_or(|high| value <= high)
    }

    /// The unit that was probably meant by a value that is out of bounds, and what it would be in the record's own.
    fn slip(&self, value: f64) -> Option<(&'static str, f64)> {
        let slips: Vec<(&'static str, f64)> = match self.unit {
            Unit::Millimetres => vec![("centimetres", value * 10.0), ("inches", value * MM_PER_IN)],
            Unit::Centimetres => vec![
                ("inches", value * CM_PER_IN),
                ("millimetres", value / 10.0),
                ("metres", value * 100.0),
            ],
            Unit::Kilograms => vec![("pounds", value * KG_PER_LB)],
            Unit::Celsius => vec![("°F", celsius(value))],
            Unit::Milligrams => vec![("grams", value * 1000.0)],
            _ => Vec::new(),
        };
        let usual = slips.iter().find(|(_, meant)| self.is_usual(*meant));
        usual
            .or_else(|| slips.iter().find(|(_, meant)| self.holds(*meant)))
            .copied()
    }

    fn question(&self, value: f64) -> String {
        self.slip(value).map_or_else(String::new, |(unit, meant)| {
            let meant = (meant * 10.0).round() / 10.0;
            format!("; were {unit} meant ({meant} {})?", self.unit)
        })
    }
}

/// The rule pack `limits`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    pack: Header,
    #[serde(rename = "source", default)]
    sources: Vec<Source>,
    #[serde(rename = "limit", default)]
    rows: Vec<Limit>,
}

impl Limits {
    fn of(&self, id: &str) -> Option<&Limit> {
        self.rows.iter().find(|limit| limit.id == id)
    }

    /// Whether a value is possible.
    ///
    /// # Errors
    ///
    /// What is wrong, with the unit that was probably meant.
    pub fn allow(&self, id: &str, value: f64) -> Result<(), String> {
        let Some(limit) = self.of(id) else {
            return Ok(());
        };
        if limit.holds(value) {
            return Ok(());
        }
        let Limit {
            low, high, unit, ..
        } = limit;
        let question = limit.question(value);
        Err(format!(
            "{value} is impossible: between {low} and {high} {unit} is taken{question}"
        ))
    }

    /// What to ask a person about a value that is possible but unusual; nothing for a usual one.
    #[must_use]
    pub fn doubt(&self, id: &str, value: f64) -> Option<String> {
        let limit = self
            .of(id)
            .filter(|limit| limit.holds(value) && !limit.is_usual(value))?;
        let question = limit.question(value);
        Some(format!(
            "{value} {} is unusual for a horse{question}",
            limit.unit
        ))
    }
}

impl Pack for Limits {
    const SUBJECT: &'static str = "limits";
    const BUILT_IN: &'static str = include_str!("../rules/limits.toml");

    tables!(pack, sources; rows);

    fn check(&self) -> Result<(), (String, String)> {
        for limit in &self.rows {
            let usual_low = limit.usual_low.unwrap_or(limit.low);
            let usual_high = limit.usual_high.unwrap_or(limit.high);
            if !(limit.low <= usual_low && usual_low <= usual_high && usual_high <= limit.high) {
                let reason = "low, usual_low, usual_high and high must stand in that order";
                return Err((limit.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::Rules;

    const OPERATORS: &str = r#"
[pack]
subject = "limits"
edition = "own"
[[source]]
id = "zoo"
citation = "Our own herd of miniatures"
[[limit]]
id = "weight_kg"
unit = "kg"
low = 2
high = 250
source = "zoo"
edition = "2026"
mark = "proposal"
"#;

    #[test]
    fn an_operator_narrows_a_bound() {
        let rules = Rules::with(&[("zoo.toml".to_owned(), OPERATORS.to_owned())]);
        let rules = rules.expect("an operator's pack");
        assert!(rules.limits.allow("weight_kg", 3.0).is_ok());
        let refused = rules.limits.allow("weight_kg", 330.0).unwrap_err();
        assert_eq!(
            refused,
            "330 is impossible: between 2 and 250 kg is taken; were pounds meant (149.7 kg)?"
        );
        assert!(
            rules.limits.allow("heart_girth_cm", 190.0).is_ok(),
            "the others stay"
        );
    }

    #[test]
    fn bounds_that_cross_are_refused_with_their_line() {
        let crossed = OPERATORS.replace("low = 2", "low = 300");
        let wrong = Rules::with(&[("zoo.toml".to_owned(), crossed)]).expect_err("a wrong pack");
        assert_eq!((wrong.file.as_str(), wrong.line), ("zoo.toml", 9));
        assert!(wrong.reason.contains("in that order"), "{wrong}");
    }
}
