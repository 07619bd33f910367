//! The rule pack `hoof_programme`: when the feet are due where the farrier has not said so.

use serde::Deserialize;

use crate::calendar::Period;
use crate::rules::{Header, Mark, Pack, Source, row, tables};

/// A way of going about it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Its name, as a request gives it.
    pub id: String,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// The first visit of a foal.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct First {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// From this age.
    pub age_from: Period,
    /// By this age.
    pub age_until: Period,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long between two visits, for some horses or all.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// For horses below this age.
    pub age_until: Option<Period>,
    /// For horses with, or without, shoes.
    pub shod: Option<bool>,
    /// For visits in winter.
    #[serde(default)]
    pub winter: bool,
    /// Due from so many weeks after the last.
    pub from_weeks: u32,
    /// Due by so many weeks after the last.
    pub by_weeks: u32,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long ahead of the day that was named a visit is shown as due.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// The rule's name.
    pub id: String,
    /// How long ahead.
    pub ahead: Period,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Profile, First, Interval, Named);

/// The rule pack `hoof_programme`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HoofProgramme {
    pack: Header,
    #[serde(default, rename = "source")]
    sources: Vec<Source>,
    /// The ways of going about it; the first is the default.
    #[serde(default, rename = "profile")]
    pub profiles: Vec<Profile>,
    /// First visits.
    #[serde(default, rename = "first")]
    pub firsts: Vec<First>,
    /// Intervals: the first row that fits.
    #[serde(default, rename = "interval")]
    pub intervals: Vec<Interval>,
    /// Days that the farrier named: the first row.
    #[serde(default, rename = "farrier")]
    pub named: Vec<Named>,
}

impl HoofProgramme {
    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

impl Pack for HoofProgramme {
    const SUBJECT: &'static str = "hoof_programme";
    const BUILT_IN: &'static str = include_str!("../../rules/hoof_programme.toml");

    tables!(pack, sources; profiles, firsts, intervals, named);

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.intervals {
            if row.from_weeks > row.by_weeks || row.by_weeks > 52 {
                let reason = "its weeks are not in order, or more than a year";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }
}
