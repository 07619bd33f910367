//! The rule pack `egg_counts`: shedder bands, methods, and thresholds of reduction tests.

use serde::Deserialize;

use crate::code::{Active, Parasite, Shedder};
use crate::rules::{Header, Mark, Pack, Row, Source, row, tables};

/// From which count on a grown horse is of a class.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// The rule's name.
    pub id: String,
    /// The class.
    pub shedder: Shedder,
    /// It holds above this many strongyle eggs per gram; below 0 for the lowest class.
    pub above_epg: f64,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// A way of counting.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Method {
    /// The method's name.
    pub id: String,
    /// The multiplication factors that it is known with.
    #[serde(default)]
    pub usual_factors: Vec<f64>,
    /// What to know about it.
    pub note: Option<String>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// What a dewormer that works is expected to do, and below what it doesn't.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Threshold {
    /// The rule's name.
    pub id: String,
    /// The parasites.
    pub parasites: Vec<Parasite>,
    /// The dewormers.
    pub actives: Vec<Active>,
    /// The reduction expected of a susceptible population, in percent.
    pub expected_percent: f64,
    /// The lower threshold in practice, in percent.
    pub lower_percent: f64,
    /// The lower threshold in research, in percent.
    pub lower_research_percent: f64,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How much must be counted before a class is named without reserve.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Size {
    /// The rule's name.
    pub id: String,
    /// At least so many horses.
    pub horses: usize,
    /// At least so many eggs seen before treatment, in all.
    pub eggs_before: f64,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Band, Method, Threshold, Size);

/// The rule pack `egg_counts`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EggCounts {
    /// The head of the file.
    pub pack: Header,
    /// What the rows rest on.
    #[serde(rename = "source", default)]
    pub sources: Vec<Source>,
    /// The classes of shedders.
    #[serde(rename = "band", default)]
    pub bands: Vec<Band>,
    /// Ways of counting.
    #[serde(rename = "method", default)]
    pub methods: Vec<Method>,
    /// Thresholds of reduction tests.
    #[serde(rename = "threshold", default)]
    pub thresholds: Vec<Threshold>,
    /// The size of a test.
    #[serde(rename = "size", default)]
    pub sizes: Vec<Size>,
}

impl EggCounts {
    /// The class of a grown horse with this strongyle count (eggs per gram), and the band that says so.
    ///
    /// # Panics
    ///
    /// Never: the pack is refused unless one band lies below every count.
    #[must_use]
    pub fn shedder(&self, epg: f64) -> (Shedder, &Band) {
        let below = self.bands.iter().filter(|band| epg > band.above_epg);
        let band = below
            .max_by(|a, b| a.above_epg.total_cmp(&b.above_epg))
            .unwrap_or(&self.bands[0]);
        (band.shedder, band)
    }

    /// The threshold for a dewormer and a parasite.
    #[must_use]
    pub fn threshold(&self, active: Active, parasite: Parasite) -> Option<&Threshold> {
        self.thresholds
            .iter()
            .rev()
            .find(|row| row.actives.contains(&active) && row.parasites.contains(&parasite))
    }

    /// The source of a row of this pack.
    ///
    /// # Panics
    ///
    /// Never: parsing holds that every row's source is listed.
    #[must_use]
    pub fn source(&self, row: &dyn Row) -> &Source {
        self.sources
            .iter()
            .find(|source| source.id == row.source())
            .unwrap_or(&self.sources[0])
    }
}

impl Pack for EggCounts {
    const SUBJECT: &'static str = "egg_counts";
    const BUILT_IN: &'static str = include_str!("../../rules/egg_counts.toml");

    tables!(pack, sources; bands, methods, thresholds, sizes);

    fn check_whole(&self) -> Result<(), (String, String)> {
        if self.bands.iter().any(|band| band.above_epg < 0.0) {
            return Ok(());
        }
        let id = self
            .bands
            .first()
            .map_or_else(String::new, |band| band.id.clone());
        let reason = "no band lies below every count: one needs an above_epg under 0";
        Err((id, reason.to_owned()))
    }

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.thresholds {
            let in_order = 0.0 < row.lower_percent
                && row.lower_percent <= row.lower_research_percent
                && row.lower_research_percent < row.expected_percent
                && row.expected_percent <= 100.0;
            if !in_order {
                let reason = "expected 0 < lower_percent <= lower_research_percent < expected_percent <= 100";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        for row in &self.methods {
            if row
                .usual_factors
                .iter()
                .any(|factor| !(factor.is_finite() && *factor > 0.0))
            {
                return Err((row.id.clone(), "a factor must be above 0".to_owned()));
            }
        }
        Ok(())
    }
}
