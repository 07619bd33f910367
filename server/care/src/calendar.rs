//! Arithmetic of calendar days as competition rules and vaccine schedules state it: months first, then days.

use std::fmt;
use std::str::FromStr;

use chrono::{Days, Months, NaiveDate};
use serde::{Deserialize, Serialize};

/// A stretch of calendar time: so many months, then so many days. Written `6m+21d`, `12m`, `60d` or `6w`.
///
/// A month on is the same day of the next month, or that month's last day where there is no such day
/// (31 January + 1 month = 28 or 29 February). Days are added after that. The order matters: 6 months and
/// 21 days from a dose is not the day from which 21 days and 6 months lead back to the dose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Period {
    /// Calendar months, added first.
    pub months: u32,
    /// Days, added after the months.
    pub days: u32,
}

impl Period {
    /// So many days.
    #[must_use]
    pub const fn days(days: u32) -> Self {
        Self { months: 0, days }
    }

    /// So many calendar months.
    #[must_use]
    pub const fn months(months: u32) -> Self {
        Self { months, days: 0 }
    }

    /// The day that lies this period after `day`; the calendar's last day if it would lie beyond it.
    #[must_use]
    pub fn after(self, day: NaiveDate) -> NaiveDate {
        day.checked_add_months(Months::new(self.months))
            .and_then(|day| day.checked_add_days(Days::new(u64::from(self.days))))
            .unwrap_or(NaiveDate::MAX)
    }

    /// The first day from which this period, counted forward, reaches `day` or goes past it.
    ///
    /// Found by counting forward from candidates, since counting backward from `day` gives another answer at
    /// the ends of months.
    #[must_use]
    pub fn first_reaching(self, day: NaiveDate) -> NaiveDate {
        let near = day
            .checked_sub_months(Months::new(self.months))
            .and_then(|day| day.checked_sub_days(Days::new(u64::from(self.days) + 4)))
            .unwrap_or(NaiveDate::MIN);
        near.iter_days()
            .take(12)
            .find(|candidate| self.after(*candidate) >= day)
            .unwrap_or(day)
    }

    /// About how many days it is, for comparing two periods.
    #[must_use]
    pub fn rough_days(self) -> u32 {
        self.months
            .saturating_mul(61)
            .saturating_div(2)
            .saturating_add(self.days)
    }
}

/// `day` and so many days more; the calendar's last day if it would lie beyond it.
#[must_use]
pub fn days_after(day: NaiveDate, days: u32) -> NaiveDate {
    Period::days(days).after(day)
}

/// `day` less so many days; the calendar's first day if it would lie before it.
#[must_use]
pub fn days_before(day: NaiveDate, days: u32) -> NaiveDate {
    day.checked_sub_days(Days::new(u64::from(days)))
        .unwrap_or(NaiveDate::MIN)
}

/// Days from `start` to `end`: the day of a dose is day 0. Negative if `end` lies before `start`.
#[must_use]
pub fn days_between(start: NaiveDate, end: NaiveDate) -> i64 {
    end.signed_duration_since(start).num_days()
}

/// A text that is no period.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a period like 21d, 6w, 12m or 6m+21d")]
pub struct NotAPeriod(String);

impl FromStr for Period {
    type Err = NotAPeriod;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || NotAPeriod(text.to_owned());
        let mut period = Self::default();
        for part in text.split('+') {
            let unit = part.chars().last().ok_or_else(wrong)?;
            let digits = part.strip_suffix(unit).ok_or_else(wrong)?;
            if digits.is_empty() || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
                return Err(wrong());
            }
            let count: u32 = digits.parse().map_err(|_| wrong())?;
            match unit {
                'm' if count <= 1200 => period.months += count,
                'w' if count <= 5000 => period.days += count * 7,
                'd' if count <= 36_500 => period.days += count,
                _ => return Err(wrong()),
            }
        }
        Ok(period)
    }
}

impl TryFrom<String> for Period {
    type Error = NotAPeriod;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Period> for String {
    fn from(period: Period) -> Self {
        match (period.months, period.days) {
            (months, 0) if months > 0 => format!("{months}m"),
            (0, days) => format!("{days}d"),
            (months, days) => format!("{months}m+{days}d"),
        }
    }
}

/// In words: `6 months and 21 days`.
impl fmt::Display for Period {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = |count: u32, one: &str| {
            if count == 1 {
                format!("1 {one}")
            } else {
                format!("{count} {one}s")
            }
        };
        let text = match (self.months, self.days) {
            (months, 0) if months > 0 => unit(months, "month"),
            (0, days) => unit(days, "day"),
            (months, days) => format!("{} and {}", unit(months, "month"), unit(days, "day")),
        };
        f.pad(&text)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    fn period(text: &str) -> Period {
        text.parse().expect("a period")
    }

    /// Worked examples that sport bodies publish; the copy that was read is named beside each.
    #[test]
    fn counts_as_the_published_examples_do() {
        // British racing, 2019: nine calendar months are 1 January to 1 October.
        assert_eq!(period("9m").after(day("2019-01-01")), day("2019-10-01"));
        // FEI guidance since 2005: 18 March, six months 18 September, and 21 days 9 October.
        assert_eq!(period("6m").after(day("2005-03-18")), day("2005-09-18"));
        assert_eq!(period("6m+21d").after(day("2005-03-18")), day("2005-10-09"));
        // German Icelandic association, state of November 2025: 1 April to 22 October; not before 8 April.
        assert_eq!(period("6m+21d").after(day("2026-04-01")), day("2026-10-22"));
        assert_eq!(period("7d").after(day("2026-04-01")), day("2026-04-08"));
    }

    /// The clamp to the month's end is our policy: no rule text that states it was found.
    #[test]
    fn ends_of_months_are_clamped_before_days_are_added() {
        assert_eq!(period("12m").after(day("2024-02-29")), day("2025-02-28"));
        assert_eq!(period("6m").after(day("2025-08-31")), day("2026-02-28"));
        assert_eq!(period("6m+21d").after(day("2025-08-31")), day("2026-03-21"));
        assert_eq!(period("6m+21d").after(day("2025-08-29")), day("2026-03-21"));
    }

    /// The golden file is made by `tests/oracles/calendar_check.py` with dateutil.
    #[test]
    fn agrees_with_another_calendar_library() {
        let golden: serde_json::Value =
            serde_json::from_str(include_str!("../tests/golden/calendar.json")).expect("the file");
        let number = |value: &serde_json::Value| value.as_i64().expect("a number");
        let sums = golden["sums"].as_array().expect("sums");
        for sum in sums {
            let period = Period {
                months: u32::try_from(number(&sum[1])).expect("months"),
                days: u32::try_from(number(&sum[2])).expect("days"),
            };
            let start = day(sum[0].as_str().expect("a day"));
            assert_eq!(period.after(start).to_string(), sum[3], "{sum}");
        }
        let spans = golden["spans"].as_array().expect("spans");
        for span in spans {
            let (start, end) = (&span[0], &span[1]);
            let (start, end) = (start.as_str().expect("a day"), end.as_str().expect("a day"));
            assert_eq!(
                days_between(day(start), day(end)),
                number(&span[2]),
                "{span}"
            );
        }
        assert!(sums.len() > 2000 && spans.len() > 200);
    }

    #[test]
    fn reads_and_writes_periods() {
        assert_eq!(
            period("6m+21d"),
            Period {
                months: 6,
                days: 21
            }
        );
        assert_eq!(period("6w"), Period::days(42));
        assert_eq!(String::from(period("6m+21d")), "6m+21d");
        assert_eq!(period("1m+1d").to_string(), "1 month and 1 day");
        for wrong in ["", "m", "6", "6 m", "-6m", "6y", "6m+", "99999m", "+6m"] {
            assert!(wrong.parse::<Period>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn far_days_end_at_the_calendars_end() {
        assert_eq!(period("12m").after(NaiveDate::MAX), NaiveDate::MAX);
        assert_eq!(days_before(NaiveDate::MIN, 1), NaiveDate::MIN);
    }

    proptest! {
        #[test]
        fn the_first_day_that_reaches_is_the_first(
            offset in 0u32..20_000, months in 0u32..30, days in 0u32..100,
        ) {
            let target = days_after(day("2000-01-01"), offset);
            let period = Period { months, days };
            let first = period.first_reaching(target);
            prop_assert!(period.after(first) >= target);
            prop_assert!(period.after(days_before(first, 1)) < target);
        }
    }
}
