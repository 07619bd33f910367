//! The scenario of Saltmarsh Yard as data: who, which horses, and two years of entries.

use chrono::{DateTime, Datelike, Days, FixedOffset, NaiveDate, NaiveTime, TimeZone};
use serde::Deserialize;
use serde_json::{Map, Value};
use whorl_care::kind::{Kind, Role};
use whorl_contract::event::PerformedBy;

use super::feet;

/// The text of the scenario.
const TEXT: &str = include_str!("../../demo/saltmarsh.toml");

/// Everything that happens in the scenario.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// The yard.
    pub barn: Barn,
    /// The people.
    #[serde(rename = "person")]
    pub people: Vec<Person>,
    /// The horses.
    #[serde(rename = "horse")]
    pub horses: Vec<Horse>,
    #[serde(rename = "entry")]
    entries: Vec<Entry>,
    series: Vec<Series>,
}

/// The yard.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Barn {
    /// Its name.
    pub name: String,
    /// Its time zone.
    pub time_zone: String,
    /// Where it lies.
    pub region: String,
}

/// A person of the scenario.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// What entries call them.
    pub key: String,
    /// Their name.
    pub name: String,
    /// Their address.
    pub email: String,
    /// Their password; the demo's are no secret.
    pub password: String,
    /// Their role in the yard.
    pub role: Role,
    /// Their device.
    pub device: String,
    /// Their licence.
    pub licence: Option<String>,
    /// A barn of their own, for a buyer.
    pub barn: Option<String>,
}

/// A horse of the scenario.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Horse {
    /// What entries call it.
    pub key: String,
    /// Its identity.
    pub identity: Map<String, Value>,
    /// Who buys it.
    pub sold_to: Option<String>,
}

/// Something that somebody records once.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    key: Option<String>,
    horse: String,
    by: String,
    kind: Kind,
    on: i64,
    #[serde(default)]
    transcribed: bool,
    performed_by: Option<PerformedBy>,
    note: Option<String>,
    target: Option<String>,
    details: Map<String, Value>,
}

/// Something that somebody records again and again.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Series {
    horses: Vec<String>,
    by: String,
    kind: Kind,
    first: i64,
    every: i64,
    last: i64,
    details: Map<String, Value>,
}

/// An entry on its day, ready to be signed.
#[derive(Clone, Debug)]
pub struct Dated {
    /// What later entries call it.
    pub key: Option<String>,
    /// The horse's key.
    pub horse: String,
    /// The author's key.
    pub by: String,
    /// What it records.
    pub kind: Kind,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Whether it is copied from paper.
    pub transcribed: bool,
    /// Who did the work, where that is not the author.
    pub performed_by: Option<PerformedBy>,
    /// Free text.
    pub note: Option<String>,
    /// The entry that it is about.
    pub target: Option<String>,
    /// The details.
    pub details: Value,
}

impl Scenario {
    /// Reads the scenario.
    ///
    /// # Panics
    ///
    /// If its file is at fault, which a test finds first.
    #[must_use]
    pub fn read() -> Self {
        toml::from_str(TEXT).unwrap_or_else(|error| panic!("saltmarsh.toml: {error}"))
    }

    /// The horse's identity with its dates counted from `day`.
    #[must_use]
    pub fn identity(horse: &Horse, day: NaiveDate) -> Value {
        on_days(Value::Object(horse.identity.clone()), day)
    }

    /// The day on which a horse was foaled, counted from the demo's day, if the scenario knows it to the day.
    fn born(&self, key: &str) -> i64 {
        let horse = self.horses.iter().find(|horse| horse.key == key);
        let foaled = horse.and_then(|horse| {
            horse
                .identity
                .get("foaled_on")?
                .as_str()?
                .strip_prefix("day:")
        });
        foaled
            .and_then(|days| days.parse().ok())
            .unwrap_or(i64::MIN)
    }

    /// Every entry in the order of time, counted from `day`; identities are not among them.
    #[must_use]
    pub fn entries(&self, day: NaiveDate) -> Vec<Dated> {
        let repeated = self.series.iter().flat_map(|series| {
            let step = usize::try_from(series.every).unwrap_or(1).max(1);
            (series.first..=series.last)
                .step_by(step)
                .enumerate()
                .flat_map(move |(visit, on)| {
                    let mut details = series.details.clone();
                    if series.kind == Kind::HoofCare {
                        feet::measured(&mut details, visit);
                    }
                    series.horses.iter().map(move |horse| Entry {
                        key: None,
                        horse: horse.clone(),
                        by: series.by.clone(),
                        kind: series.kind,
                        on,
                        transcribed: false,
                        performed_by: None,
                        note: None,
                        target: None,
                        details: details.clone(),
                    })
                })
        });
        // A series for several horses says nothing of one that was not born yet.
        let repeated = repeated.filter(|entry| entry.on > self.born(&entry.horse));
        let mut entries: Vec<Entry> = repeated.chain(self.entries.iter().cloned()).collect();
        // What is about another entry comes after it on the same day.
        entries.sort_by_key(|entry| (entry.on, entry.target.is_some()));
        let mut minute = 0;
        let mut dated = Vec::with_capacity(entries.len());
        for (n, entry) in entries.iter().enumerate() {
            minute = if n > 0 && entries[n - 1].on == entry.on {
                minute + 1
            } else {
                0
            };
            dated.push(Dated {
                key: entry.key.clone(),
                horse: entry.horse.clone(),
                by: entry.by.clone(),
                kind: entry.kind,
                at: at(shifted(day, entry.on), minute),
                transcribed: entry.transcribed,
                performed_by: entry.performed_by.clone(),
                note: entry.note.clone(),
                target: entry.target.clone(),
                details: on_days(Value::Object(entry.details.clone()), day),
            });
        }
        dated
    }
}

/// A morning hour of that day in the yard, in its winter time all year: the yard's people don't mind.
fn at(day: NaiveDate, minute: u32) -> DateTime<FixedOffset> {
    let time = NaiveTime::from_hms_opt(8 + (minute / 60) % 12, minute % 60, 0).unwrap_or_default();
    let winter = FixedOffset::west_opt(5 * 3600).unwrap_or_else(|| unreachable!("it is an offset"));
    let at = day.and_time(time);
    at.and_local_timezone(winter)
        .single()
        .unwrap_or_else(|| winter.from_utc_datetime(&at))
}

fn shifted(day: NaiveDate, by: i64) -> NaiveDate {
    let days = Days::new(by.unsigned_abs());
    let moved = if by < 0 {
        day.checked_sub_days(days)
    } else {
        day.checked_add_days(days)
    };
    moved.unwrap_or(day)
}

/// Puts dates in place of `day:N`, and years in place of `years:N`.
fn on_days(value: Value, day: NaiveDate) -> Value {
    match value {
        Value::String(text) => {
            let number = |prefix: &str| {
                text.strip_prefix(prefix)
                    .and_then(|rest| rest.parse::<i64>().ok())
            };
            if let Some(days) = number("day:") {
                Value::String(shifted(day, days).to_string())
            } else if let Some(years) = number("years:") {
                Value::String((i64::from(day.year()) - years).to_string())
            } else {
                Value::String(text)
            }
        }
        Value::Array(items) => items.into_iter().map(|item| on_days(item, day)).collect(),
        Value::Object(fields) => fields
            .into_iter()
            .map(|(name, field)| (name, on_days(field, day)))
            .collect(),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use whorl_care::details::{Context, Details, check_day};
    use whorl_care::kind::Provenance;
    use whorl_care::rules::Rules;

    use super::*;

    #[test]
    fn every_entry_is_one_that_whorl_takes() {
        let scenario = Scenario::read();
        let rules = Rules::built_in().expect("the packs");
        let day = NaiveDate::from_ymd_opt(2026, 11, 20).expect("a day");
        let entries = scenario.entries(day);
        assert!(entries.len() > 200, "two years of a yard");
        for entry in &entries {
            let details = Details::parse(entry.kind, &entry.details);
            let details = details
                .unwrap_or_else(|faults| panic!("{} on {}: {faults}", entry.kind, entry.horse));
            let horse = scenario
                .horses
                .iter()
                .find(|horse| horse.key == entry.horse)
                .expect("a horse");
            let foaled_on = Scenario::identity(horse, day)["foaled_on"].clone();
            let context = Context {
                rules: &rules,
                performed_on: entry.at.date_naive(),
                received_on: entry.at.date_naive(),
                foaled_on: foaled_on.as_str().and_then(|text| text.parse().ok()),
                provenance: if entry.transcribed {
                    Provenance::Transcribed
                } else {
                    Provenance::Attested
                },
            };
            let checked = details.check(&context).and(check_day(entry.kind, &context));
            assert!(
                checked.is_ok(),
                "{} on {} at {}: {checked:?}",
                entry.kind,
                entry.horse,
                entry.at
            );
        }
        for horse in &scenario.horses {
            let identity = Scenario::identity(horse, day);
            assert!(
                Details::parse(Kind::Identity, &identity).is_ok(),
                "{identity}"
            );
        }
    }
}
