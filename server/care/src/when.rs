//! Days as people state them: a full date, a month, or a year.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Datelike, Months, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// A day known as exactly as it is known: `2024-05-03`, `2024-05` or `2024`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum PartialDate {
    /// The day itself.
    Day(NaiveDate),
    /// Some day of this month; holds the month's first day.
    Month(NaiveDate),
    /// Some day of this year; holds 1 January.
    Year(NaiveDate),
}

impl PartialDate {
    /// The earliest day it can be.
    #[must_use]
    pub fn earliest(self) -> NaiveDate {
        match self {
            Self::Day(day) | Self::Month(day) | Self::Year(day) => day,
        }
    }

    /// The latest day it can be.
    #[must_use]
    pub fn latest(self) -> NaiveDate {
        match self {
            Self::Day(day) => day,
            Self::Month(first) => last_of(first, 1),
            Self::Year(first) => last_of(first, 12),
        }
    }

    /// The day, if it is known to the day.
    #[must_use]
    pub fn exact(self) -> Option<NaiveDate> {
        match self {
            Self::Day(day) => Some(day),
            _ => None,
        }
    }
}

fn last_of(first: NaiveDate, months: u32) -> NaiveDate {
    first
        .checked_add_months(Months::new(months))
        .and_then(|day| day.pred_opt())
        .unwrap_or(first)
}

/// The day at an instant by the clock on the wall of a place, whose time zone is given by its IANA name.
#[must_use]
pub fn today_in(time_zone: &str, now: DateTime<Utc>) -> NaiveDate {
    match time_zone.parse::<chrono_tz::Tz>() {
        Ok(zone) => now.with_timezone(&zone).date_naive(),
        // Every zone was checked when it came; one that this build doesn't know any more is off by a day at most.
        Err(_) => now.date_naive(),
    }
}

/// A text that is no date, month or year.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a date like 2024-05-03, a month like 2024-05 or a year like 2024")]
pub struct NotADate(String);

impl FromStr for PartialDate {
    type Err = NotADate;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || NotADate(text.to_owned());
        let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        let parts: Vec<&str> = text.split('-').collect();
        if !parts.iter().all(|part| digits(part)) {
            return Err(wrong());
        }
        let number = |part: &str| part.parse::<u32>().map_err(|_| wrong());
        let year = |part: &str| part.parse::<i32>().map_err(|_| wrong());
        let made = match parts.as_slice() {
            [y] if y.len() == 4 => NaiveDate::from_ymd_opt(year(y)?, 1, 1).map(Self::Year),
            [y, m] if y.len() == 4 && m.len() == 2 => {
                NaiveDate::from_ymd_opt(year(y)?, number(m)?, 1).map(Self::Month)
            }
            [y, m, d] if y.len() == 4 && m.len() == 2 && d.len() == 2 => {
                NaiveDate::from_ymd_opt(year(y)?, number(m)?, number(d)?).map(Self::Day)
            }
            _ => None,
        };
        made.ok_or_else(wrong)
    }
}

impl fmt::Display for PartialDate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Day(day) => write!(f, "{day}"),
            Self::Month(day) => write!(f, "{:04}-{:02}", day.year(), day.month()),
            Self::Year(day) => write!(f, "{:04}", day.year()),
        }
    }
}

impl TryFrom<String> for PartialDate {
    type Error = NotADate;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<PartialDate> for String {
    fn from(date: PartialDate) -> Self {
        date.to_string()
    }
}

#[cfg(feature = "schema")]
mod schema {
    use utoipa::openapi::{ObjectBuilder, RefOr, Schema, schema::Type};

    impl utoipa::PartialSchema for super::PartialDate {
        fn schema() -> RefOr<Schema> {
            ObjectBuilder::new()
                .schema_type(Type::String)
                .description(Some("A date, a month or a year: as exact as it is known."))
                .pattern(Some("^[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?$"))
                .examples(["2024-05-03", "2024-05", "2024"])
                .into()
        }
    }

    impl utoipa::ToSchema for super::PartialDate {}
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_month_spans_its_days() {
        let month: PartialDate = "2024-02".parse().expect("a month");
        assert_eq!(month.earliest().to_string(), "2024-02-01");
        assert_eq!(month.latest().to_string(), "2024-02-29");
        assert_eq!(month.to_string(), "2024-02");
        for wrong in ["2024-2", "24", "2024-13", "2024-02-30", "+024", ""] {
            assert!(wrong.parse::<PartialDate>().is_err(), "{wrong}");
        }
    }
}
