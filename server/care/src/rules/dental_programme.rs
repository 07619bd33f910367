//! The rule pack `dental_programme`: when the teeth are due where the last visit has not said so.

use serde::Deserialize;

use super::hoof_programme::{First, Named, Profile};
use crate::calendar::Period;
use crate::rules::{Header, Mark, Pack, Source, row, tables};

/// How long between two looks, for some horses or all.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// From this age.
    pub age_from: Option<Period>,
    /// To below this age.
    pub age_until: Option<Period>,
    /// Due from so long after the last.
    pub from: Period,
    /// Due by so long after the last.
    pub by: Period,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Interval);

/// The rule pack `dental_programme`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DentalProgramme {
    pack: Header,
    #[serde(default, rename = "source")]
    sources: Vec<Source>,
    /// The ways of going about it; the first is the default.
    #[serde(default, rename = "profile")]
    pub profiles: Vec<Profile>,
    /// First looks.
    #[serde(default, rename = "first")]
    pub firsts: Vec<First>,
    /// Intervals: the first row that fits.
    #[serde(default, rename = "interval")]
    pub intervals: Vec<Interval>,
    /// Days that the last visit named: the first row.
    #[serde(default, rename = "vet")]
    pub named: Vec<Named>,
}

impl DentalProgramme {
    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

impl Pack for DentalProgramme {
    const SUBJECT: &'static str = "dental_programme";
    const BUILT_IN: &'static str = include_str!("../../rules/dental_programme.toml");

    tables!(pack, sources; profiles, firsts, intervals, named);

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.intervals {
            if row.from.rough_days() > row.by.rough_days() {
                let reason = "its first day lies behind its last";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }
}
