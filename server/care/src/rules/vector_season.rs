//! The rule pack `vector_season`: when mosquitoes that carry disease fly, by region.

use chrono::{Datelike, NaiveDate};
use serde::Deserialize;

use crate::rules::{Header, Mark, Pack, Source, row, tables};

/// A day of the year, written `05-01`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct DayOfYear {
    month: u32,
    day: u32,
}

impl TryFrom<String> for DayOfYear {
    type Error = String;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        let parsed = text.split_once('-').and_then(|(month, day)| {
            let (month, day) = (month.parse().ok()?, day.parse().ok()?);
            // A common year: 29 February begins no season.
            NaiveDate::from_ymd_opt(2023, month, day).map(|_| Self { month, day })
        });
        parsed.ok_or_else(|| format!("`{text}` is not a day of the year like 05-01"))
    }
}

impl DayOfYear {
    /// That day of a year.
    #[must_use]
    pub fn of(self, year: i32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, self.month, self.day)
    }
}

/// The season of a region.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Season {
    /// The rule's name.
    pub id: String,
    /// The regions, as ISO 3166-2 writes them, or what they begin with before a dash.
    #[serde(default)]
    pub regions: Vec<String>,
    /// What the time zone's name begins with.
    #[serde(default)]
    pub zones: Vec<String>,
    /// Its first day.
    pub starts: DayOfYear,
    /// Its last day.
    pub ends: DayOfYear,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(Season);

impl Season {
    /// The season during which a day lies: its first day.
    #[must_use]
    pub fn start_of(&self, day: NaiveDate) -> Option<NaiveDate> {
        let year = day.year();
        [year, year - 1].into_iter().find_map(|year| {
            let start = self.starts.of(year)?;
            let end = self.ends.of(year).filter(|end| *end >= start);
            let end = end.or_else(|| self.ends.of(year + 1))?;
            (start..=end).contains(&day).then_some(start)
        })
    }
}

/// The rule pack `vector_season`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VectorSeason {
    pack: Header,
    #[serde(default, rename = "source")]
    sources: Vec<Source>,
    /// The seasons.
    #[serde(default, rename = "season")]
    pub seasons: Vec<Season>,
}

impl VectorSeason {
    /// The season of a barn: by the longest matching region, else by the longest matching beginning of its zone.
    #[must_use]
    pub fn at(&self, region: Option<&str>, zone: Option<&str>) -> Option<&Season> {
        let by_region = region.and_then(|region| {
            longest(&self.seasons, |season| {
                let fits = |prefix: &&String| {
                    region
                        .strip_prefix(prefix.as_str())
                        .is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
                };
                season.regions.iter().filter(fits).map(String::len).max()
            })
        });
        by_region.or_else(|| {
            let zone = zone?;
            longest(&self.seasons, |season| {
                let fits = |prefix: &&String| zone.starts_with(prefix.as_str());
                season.zones.iter().filter(fits).map(String::len).max()
            })
        })
    }

    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

fn longest(seasons: &[Season], length: impl Fn(&Season) -> Option<usize>) -> Option<&Season> {
    seasons
        .iter()
        .filter_map(|season| length(season).map(|length| (length, season)))
        .max_by_key(|(length, _)| *length)
        .map(|(_, season)| season)
}

impl Pack for VectorSeason {
    const SUBJECT: &'static str = "vector_season";
    const BUILT_IN: &'static str = include_str!("../../rules/vector_season.toml");

    tables!(pack, sources; seasons);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::parse;

    #[test]
    fn the_nearest_region_counts_and_then_the_zone() {
        let pack: VectorSeason = parse("vector_season", VectorSeason::BUILT_IN).expect("built in");
        let at = |region: Option<&str>, zone: Option<&str>| {
            pack.at(region, zone).map(|season| season.id.as_str())
        };
        assert_eq!(
            at(Some("US-FL"), Some("America/New_York")),
            Some("gulf_coast")
        );
        assert_eq!(at(Some("US-VA"), None), Some("north_america"));
        assert_eq!(at(None, Some("America/New_York")), Some("north_america"));
        assert_eq!(at(None, Some("America/Argentina/Salta")), Some("southern"));
        assert_eq!(at(Some("GB"), None), Some("europe"));
        assert_eq!(at(Some("IS"), None), None);
        assert_eq!(at(None, None), None);
    }

    #[test]
    fn a_season_across_new_year_is_one() {
        let pack: VectorSeason = parse("vector_season", VectorSeason::BUILT_IN).expect("built in");
        let south = pack.at(Some("AU"), None).expect("a season");
        let start = |day: &str| {
            south
                .start_of(day.parse().expect("a day"))
                .map(|day| day.to_string())
        };
        assert_eq!(start("2027-02-01").as_deref(), Some("2026-11-01"));
        assert_eq!(start("2026-12-01").as_deref(), Some("2026-11-01"));
        assert_eq!(start("2026-07-01"), None);
    }
}
