//! The rule pack `growth`.

use serde::Deserialize;

use crate::band::{Band, Graded, check_graded};
use crate::fault::Faults;
use crate::horse::BreedType;
use crate::kind::codes;
use crate::rules::{Header, Mark, Pack, Row, Source, row, tables};

use super::age::AgeClass;
use super::curve::Curve;

/// How far weights of a breed lay from a curve.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fit {
    /// The rule's name.
    pub id: String,
    /// The curve it is about.
    pub curve: String,
    /// The ages it is about, in months.
    pub months: Band,
    /// By how many kilograms the curve reads too low at most.
    pub under_kg: f64,
    /// By how many kilograms it reads too high at most.
    pub over_kg: f64,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

codes! {
    /// What may differ from the curve.
    ToleranceName {
        /// A weight further off is questioned; in percent of the curve, to either side.
        Off = "weight-off-the-curve",
        /// A weight of less is refused; in percent of the curve.
        Least = "least-weight",
        /// A weight of more is refused; in percent of the curve.
        Most = "most-weight",
        /// How far the weights expected may lie apart where the day of birth isn't known; in percent of their middle.
        OpenAge = "open-age",
    }
}

/// How far something may lie from the curve.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerance {
    /// The rule's name.
    pub id: String,
    /// In percent; of what, its name says.
    pub percent: f64,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// A way of counting official ages.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Counting {
    /// The rule's name.
    pub id: String,
    /// On the first day of this month all turn a year older.
    pub month: u32,
    /// What to know about counting so.
    pub note: Option<String>,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long mares carry: days from the last covering.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GestationRule {
    /// The rule's name.
    pub id: String,
    /// A foal before this day rarely lives.
    pub viable_day: u32,
    /// Watch her from this day on; a foal before it is early.
    pub watch_day: u32,
    /// The day she is due.
    pub due_day: u32,
    /// Ask the vet after this day.
    pub long_day: u32,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// What a study found for a build of mares.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BreedGestation {
    /// The rule's name.
    pub id: String,
    /// The build.
    pub breed_type: BreedType,
    /// Days from the last covering, on average.
    pub days: u32,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(
    Fit,
    Tolerance,
    Counting,
    GestationRule,
    BreedGestation,
    Curve
);

/// The rule pack `growth`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Growth {
    #[serde(rename = "pack")]
    head: Header,
    #[serde(rename = "source", default)]
    sources: Vec<Source>,
    /// The curves; the first is the one in use unless another is asked for.
    #[serde(rename = "curve", default)]
    pub curves: Vec<Curve>,
    /// How well the curves fit.
    #[serde(rename = "fit", default)]
    pub fits: Vec<Fit>,
    /// How far a weight may lie from the curve.
    #[serde(rename = "tolerance", default)]
    pub tolerances: Vec<Tolerance>,
    /// What a horse is called, by whole months of actual age.
    #[serde(rename = "age", default)]
    pub ages: Vec<Graded<AgeClass>>,
    /// Ways of counting official ages.
    #[serde(rename = "counting", default)]
    pub countings: Vec<Counting>,
    /// How long mares carry; the first holds.
    #[serde(rename = "gestation", default)]
    pub gestations: Vec<GestationRule>,
    /// What was found for builds of mares.
    #[serde(rename = "breed", default)]
    pub breeds: Vec<BreedGestation>,
}

impl Growth {
    /// The tolerance of this name.
    ///
    /// # Errors
    ///
    /// A fault of the whole document if the rules lack it; the rules are checked for it when they are read.
    pub fn tolerance(&self, name: ToleranceName) -> Result<&Tolerance, Faults> {
        let found = self.tolerances.iter().find(|row| row.id == name.code());
        found.ok_or_else(|| Faults::one("", format!("the rules lack the tolerance {name}")))
    }

    /// The source of this name.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

/// Holds a condition of a row.
fn hold(fine: bool, row: &dyn Row, reason: &str) -> Result<(), (String, String)> {
    if fine {
        Ok(())
    } else {
        Err((row.id().to_owned(), reason.to_owned()))
    }
}

impl Pack for Growth {
    const SUBJECT: &'static str = "growth";
    const BUILT_IN: &'static str = include_str!("../../../rules/growth.toml");

    tables!(head, sources; curves, fits, tolerances, ages, countings, gestations, breeds);

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.curves {
            row.check().map_err(|reason| (row.id.clone(), reason))?;
        }
        for row in &self.fits {
            row.months
                .check()
                .map_err(|reason| (row.id.clone(), reason))?;
            let fine = row.under_kg >= 0.0 && row.over_kg >= 0.0;
            hold(fine, row, "under_kg and over_kg are 0 or more")?;
        }
        for row in &self.tolerances {
            let known = row.id.parse::<ToleranceName>().is_ok();
            hold(known, row, "nothing goes by a tolerance of this name")?;
            let fine = row.percent > 0.0 && row.percent <= 1000.0;
            hold(fine, row, "percent is above 0, and no more than 1000")?;
        }
        for row in &self.countings {
            let fine = (1..=12).contains(&row.month);
            hold(fine, row, "month is 1 to 12")?;
        }
        for row in &self.gestations {
            let fine = 0 < row.viable_day
                && row.viable_day < row.watch_day
                && row.watch_day < row.due_day
                && row.due_day < row.long_day
                && row.long_day <= 500;
            let reason =
                "viable_day, watch_day, due_day and long_day stand in that order, up to 500";
            hold(fine, row, reason)?;
        }
        for row in &self.breeds {
            let fine = (300..=400).contains(&row.days);
            hold(fine, row, "days is 300 to 400")?;
        }
        Ok(())
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        check_graded(&self.ages)?;
        for name in ToleranceName::ALL {
            if self.tolerance(*name).is_err() {
                let reason = "this tolerance is missing";
                return Err((name.code().to_owned(), reason.to_owned()));
            }
        }
        for row in &self.fits {
            let fine = self.curves.iter().any(|curve| curve.id == row.curve);
            hold(fine, row, "there is no curve of that name")?;
        }
        Ok(())
    }
}
