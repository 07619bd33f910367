//! The rule pack `herd_health`: fever, contagious diseases, contacts, and what reports and tests look back on.

use chrono::NaiveDate;
use serde::Deserialize;

use crate::calendar::Period;
use crate::code::Active;
use crate::details::Test;
use crate::figure::hoof::findings::Urgency;
use crate::kind::codes;
use crate::rules::{Header, Mark, Pack, Row, Source, row, tables};
use crate::when::PartialDate;

codes! {
    /// An illness for whose sake contacts are traced, or that the law may want to know of.
    Illness {
        /// A fever whose cause nobody knows yet.
        Fever = "fever",
        /// Strangles.
        Strangles = "strangles",
        /// Equine influenza.
        Influenza = "influenza",
        /// Equine herpesvirus 1 or 4.
        Herpes = "ehv_1_4",
        /// Equine viral arteritis.
        ViralArteritis = "eva",
        /// Equine infectious anaemia.
        InfectiousAnaemia = "eia",
        /// Contagious equine metritis.
        Metritis = "cem",
        /// Rotavirus.
        Rotavirus = "rotavirus",
        /// Ringworm.
        Ringworm = "ringworm",
        /// Salmonellosis.
        Salmonellosis = "salmonellosis",
        /// Rabies.
        Rabies = "rabies",
        /// Anthrax.
        Anthrax = "anthrax",
        /// West Nile virus.
        WestNile = "west_nile",
        /// Eastern, western or Venezuelan encephalomyelitis.
        Encephalitis = "encephalitis",
        /// Piroplasmosis.
        Piroplasmosis = "piroplasmosis",
    }
}

impl Illness {
    /// Its name in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fever => "a fever",
            Self::Strangles => "strangles",
            Self::Influenza => "influenza",
            Self::Herpes => "herpes (EHV-1/4)",
            Self::ViralArteritis => "viral arteritis",
            Self::InfectiousAnaemia => "infectious anaemia",
            Self::Metritis => "contagious metritis",
            Self::Rotavirus => "rotavirus",
            Self::Ringworm => "ringworm",
            Self::Salmonellosis => "salmonellosis",
            Self::Rabies => "rabies",
            Self::Anthrax => "anthrax",
            Self::WestNile => "West Nile virus",
            Self::Encephalitis => "encephalitis carried by mosquitoes",
            Self::Piroplasmosis => "piroplasmosis",
        }
    }
}

/// From which temperature on a horse is febrile.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fever {
    /// The rule's name.
    pub id: String,
    /// It holds for horses younger than this; for all if missing.
    pub under_months: Option<u32>,
    /// Febrile above this, in degrees Celsius.
    pub above_c: f64,
    /// The vet must be called without delay from here on, in degrees Celsius.
    pub urgent_from_c: f64,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

codes! {
    /// A vital sign with a limit of its own, at rest.
    Quantity {
        /// Heart beats a minute.
        Pulse = "pulse_bpm",
        /// Breaths a minute.
        Respiration = "respiration_bpm",
        /// The pulse felt in a foot, 0 to 3.
        DigitalPulse = "digital_pulse",
    }
}

impl Quantity {
    /// What its numbers count.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Pulse => "beats a minute",
            Self::Respiration => "breaths a minute",
            Self::DigitalPulse => "of 3",
        }
    }
}

/// Above which value at rest a vital sign calls for a vet.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Resting {
    /// The rule's name.
    pub id: String,
    /// What was counted.
    pub quantity: Quantity,
    /// It holds for horses of this age on, and for those whose age isn't known; for all if missing.
    pub from_months: Option<u32>,
    /// Above this.
    pub above: f64,
    /// How soon.
    pub urgency: Urgency,
    /// What it is, in words.
    pub says: String,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long contacts of an illness are traced and watched.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Watch {
    /// The rule's name.
    pub id: String,
    /// The illness.
    pub illness: Illness,
    /// Who was with the horse so many days before it showed may have caught it.
    pub contact_days: u32,
    /// For so many days after the last contact a horse is watched.
    pub watch_days: u32,
    /// A horse that was febrile is watched until it has had none for so many days.
    pub free_days: u32,
    /// Whether a horse catches it from another.
    pub contagious: bool,
    /// Whether it must be reported to the authority in many places.
    #[serde(default)]
    pub notifiable: bool,
    /// Laboratory tests whose positive result records it.
    #[serde(default)]
    pub tests: Vec<Test>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How far a report of an adverse reaction looks back.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LookBack {
    /// The rule's name.
    pub id: String,
    /// So many days before the reaction.
    pub days: u32,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// When the two counts of a reduction test are taken.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CountWindow {
    /// The rule's name.
    pub id: String,
    /// The dewormers it holds for.
    pub actives: Vec<Active>,
    /// The first count is at most so many days old on the day of treatment.
    pub before_days: i64,
    /// The second is taken from this day after treatment …
    pub after_from_days: i64,
    /// … until this one.
    pub after_until_days: i64,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Fever, Resting, Watch, LookBack, CountWindow);

/// The rule pack `herd_health`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HerdHealth {
    pack: Header,
    #[serde(rename = "source", default)]
    sources: Vec<Source>,
    /// From when on a horse is febrile.
    #[serde(rename = "fever", default)]
    pub fevers: Vec<Fever>,
    /// From when on other vital signs call for a vet.
    #[serde(rename = "resting", default)]
    pub restings: Vec<Resting>,
    /// How long contacts are watched.
    #[serde(rename = "watch", default)]
    pub watches: Vec<Watch>,
    /// How far reports look back.
    #[serde(rename = "look_back", default)]
    pub look_backs: Vec<LookBack>,
    /// When counts are taken.
    #[serde(rename = "count_window", default)]
    pub count_windows: Vec<CountWindow>,
}

impl HerdHealth {
    /// The limit of a horse on a day: the youngest age that fits; a horse of unknown age is taken as grown, whose limit is
    /// the lower one.
    #[must_use]
    pub fn fever(&self, foaled_on: Option<PartialDate>, on: NaiveDate) -> Option<&Fever> {
        let fits = |row: &&Fever| {
            row.under_months.is_none_or(|months| {
                foaled_on.is_some_and(|foaled| Period::months(months).after(foaled.earliest()) > on)
            })
        };
        self.fevers
            .iter()
            .filter(fits)
            .min_by_key(|row| row.under_months.unwrap_or(u32::MAX))
    }

    /// The limit of a vital sign for a horse on a day.
    #[must_use]
    pub fn resting(
        &self,
        quantity: Quantity,
        foaled_on: Option<PartialDate>,
        on: NaiveDate,
    ) -> Option<&Resting> {
        let old_enough = |months: u32| {
            foaled_on.is_none_or(|foaled| Period::months(months).after(foaled.latest()) <= on)
        };
        self.restings
            .iter()
            .rev()
            .find(|row| row.quantity == quantity && row.from_months.is_none_or(old_enough))
    }

    /// The row of an illness.
    #[must_use]
    pub fn watch(&self, illness: Illness) -> Option<&Watch> {
        self.watches.iter().rev().find(|row| row.illness == illness)
    }

    /// The illness that a positive test shows.
    #[must_use]
    pub fn shown_by(&self, test: Test) -> Option<&Watch> {
        self.watches
            .iter()
            .rev()
            .find(|row| row.tests.contains(&test))
    }

    /// The days around a treatment in which an active's counts are taken.
    #[must_use]
    pub fn window(&self, active: Active) -> Option<&CountWindow> {
        self.count_windows
            .iter()
            .rev()
            .find(|row| row.actives.contains(&active))
    }

    /// The source of a row of this pack; parsing holds that there is one.
    #[must_use]
    pub fn source(&self, row: &dyn Row) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == row.source())
    }
}

impl Pack for HerdHealth {
    const SUBJECT: &'static str = "herd_health";
    const BUILT_IN: &'static str = include_str!("../../rules/herd_health.toml");

    tables!(pack, sources; fevers, restings, watches, look_backs, count_windows);

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.fevers {
            if !(37.0..=row.urgent_from_c).contains(&row.above_c) || row.urgent_from_c > 42.0 {
                let reason = "expected 37 <= above_c <= urgent_from_c <= 42, in degrees Celsius";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        for row in &self.count_windows {
            let days = 0 < row.before_days
                && 0 < row.after_from_days
                && row.after_from_days <= row.after_until_days;
            if !days {
                let reason =
                    "expected before_days above 0, and 0 < after_from_days <= after_until_days";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        if self.fevers.iter().any(|row| row.under_months.is_none()) {
            return Ok(());
        }
        Err((
            String::new(),
            "no row of [[fever]] holds for grown horses".to_owned(),
        ))
    }
}
