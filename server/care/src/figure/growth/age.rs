//! How old a horse is, by its own birthday and by the registries' common one, and what it is called.

use chrono::{Datelike, Days, NaiveDate};

use crate::band::grade;
use crate::kind::codes;
use crate::when::PartialDate;

use super::pack::{Counting, Growth};

codes! {
    /// What a horse is called by its age.
    AgeClass {
        /// Not yet weaned.
        Foal = "foal",
        /// Weaned, in its first year.
        Weanling = "weanling",
        /// In its second year.
        Yearling = "yearling",
        /// Two years old.
        TwoYearOld = "two_year_old",
        /// Three years old.
        ThreeYearOld = "three_year_old",
        /// Grown.
        Adult = "adult",
        /// Old.
        Senior = "senior",
    }
}

/// A horse older than this was foaled in another year, from memory: the oldest on record reached 62.
pub const OLDEST_YEARS: u32 = 65;

/// Whole months since birth. One born on the 31st is a month older on the first of the month after one without a 31st;
/// one born on 29 February turns a year older on 1 March in common years. 0 before birth.
#[must_use]
pub fn whole_months(born: NaiveDate, on: NaiveDate) -> u32 {
    let count = |day: NaiveDate| i64::from(day.year()) * 12 + i64::from(day.month());
    let months = count(on) - count(born) - i64::from(on.day() < born.day());
    u32::try_from(months).unwrap_or(0)
}

/// Whole years since birth: see [`whole_months`].
#[must_use]
pub fn whole_years(born: NaiveDate, on: NaiveDate) -> u32 {
    whole_months(born, on) / 12
}

/// Months since birth, with the part of the month that has begun.
#[must_use]
pub fn months(born: NaiveDate, on: NaiveDate) -> f64 {
    let whole = whole_months(born, on);
    let (from, until) = (birthday(born, whole), birthday(born, whole + 1));
    let days = |from: NaiveDate, until: NaiveDate| {
        u32::try_from((until - from).num_days()).map_or(0.0, f64::from)
    };
    f64::from(whole) + days(from, on) / days(from, until).max(1.0)
}

/// The day on which it is so many whole months old.
fn birthday(born: NaiveDate, months: u32) -> NaiveDate {
    let count = i64::from(born.year()) * 12 + i64::from(born.month0()) + i64::from(months);
    let year = i32::try_from(count.div_euclid(12)).unwrap_or(i32::MAX);
    let month = u32::try_from(count.rem_euclid(12)).unwrap_or(0) + 1;
    let first = NaiveDate::from_ymd_opt(year, month, 1).unwrap_or(NaiveDate::MAX);
    first
        .with_day(born.day())
        .or_else(|| {
            // The month is too short: the first of the next one.
            let next = first.checked_add_days(Days::new(31))?;
            next.with_day(1)
        })
        .unwrap_or(NaiveDate::MAX)
}

/// The official age in years: how many common birthdays have passed since birth. Negative before birth.
#[must_use]
pub fn official_years(born: NaiveDate, on: NaiveDate, counting: &Counting) -> i32 {
    let season = |day: NaiveDate| day.year() - i32::from(day.month() < counting.month);
    season(on) - season(born)
}

/// What a horse is called by its actual age; `None` where its date of birth is not known closely enough, or lies after
/// `on`.
///
/// The day of weaning, where it is known, decides between foal and weanling; else the pack's usual age does.
#[must_use]
pub fn class(
    foaled_on: PartialDate,
    weaned_on: Option<NaiveDate>,
    on: NaiveDate,
    growth: &Growth,
) -> Option<AgeClass> {
    if foaled_on.earliest() > on {
        return None;
    }
    let of = |born: NaiveDate| {
        let months = f64::from(whole_months(born.min(on), on));
        let class = grade(&growth.ages, months)?.grade;
        Some(match (class, weaned_on) {
            (AgeClass::Foal | AgeClass::Weanling, Some(day)) if day <= on => AgeClass::Weanling,
            (AgeClass::Foal | AgeClass::Weanling, Some(_)) => AgeClass::Foal,
            (class, _) => class,
        })
    };
    let oldest = of(foaled_on.earliest())?;
    (of(foaled_on.latest())? == oldest).then_some(oldest)
}

/// What a horse is called by its official age; in its first year as by its actual age.
#[must_use]
pub fn official_class(years: i32, actual: Option<AgeClass>, growth: &Growth) -> Option<AgeClass> {
    if years < 1 {
        return actual.filter(|class| *class <= AgeClass::Weanling);
    }
    grade(&growth.ages, f64::from(years) * 12.0).map(|row| row.grade)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    fn counting(month: u32) -> Counting {
        Counting {
            id: String::new(),
            month,
            note: None,
            source: String::new(),
            edition: String::new(),
            mark: crate::rules::Mark::Read,
        }
    }

    /// Our policy: 29 February counts as 1 March in common years; no rule text that states it was found.
    #[test]
    fn a_short_month_makes_it_wait_for_the_next() {
        let leap = day("2024-02-29");
        assert_eq!(whole_years(leap, day("2025-02-28")), 0);
        assert_eq!(whole_years(leap, day("2025-03-01")), 1);
        assert_eq!(whole_years(leap, day("2028-02-28")), 3);
        assert_eq!(whole_years(leap, day("2028-02-29")), 4);
        let end = day("2026-08-31");
        assert_eq!(whole_months(end, day("2026-09-30")), 0);
        assert_eq!(whole_months(end, day("2026-10-01")), 1);
        assert_eq!(whole_months(end, day("2027-02-28")), 5);
        assert_eq!(whole_months(day("2026-05-03"), day("2026-05-02")), 0);
    }

    /// Registries count from 1 January north and 1 August south of the equator, from 1 July in South America (pages
    /// that agree). Born on 20 December 2025, it is 16 days old on 5 January 2026, and officially one.
    #[test]
    fn official_ages_turn_on_a_common_day() {
        let (born, on) = (day("2025-12-20"), day("2026-01-05"));
        assert_eq!(whole_years(born, on), 0);
        assert_eq!((on - born).num_days(), 16);
        let years = |on, month| official_years(born, on, &counting(month));
        assert_eq!((years(on, 1), years(on, 8), years(on, 7)), (1, 0, 0));
        assert_eq!(years(day("2026-06-30"), 7), 0);
        assert_eq!(years(day("2026-07-01"), 7), 1);
        assert_eq!(years(day("2026-07-31"), 8), 0);
        assert_eq!(years(day("2026-08-01"), 8), 1);
        assert_eq!(years(day("2027-01-01"), 1), 2);
    }

    proptest! {
        #[test]
        fn months_run_on_and_agree_with_whole_months(born in 0u64..20_000, age in 0u64..12_000) {
            let born = day("1990-01-01") + Days::new(born);
            let on = born + Days::new(age);
            let (now, tomorrow) = (months(born, on), months(born, on + Days::new(1)));
            prop_assert!(now < tomorrow && tomorrow - now < 0.04, "{now} {tomorrow}");
            prop_assert!((now.floor() - f64::from(whole_months(born, on))).abs() < 1e-9);
            // A mean month of 30.4369 days, and the longest wait at a month's end.
            #[expect(clippy::cast_precision_loss, reason = "thousands of days")]
            let mean = age as f64 / 30.436_875;
            prop_assert!((now - mean).abs() < 0.12, "{now} {mean}");
        }

        #[test]
        fn the_birthday_is_the_first_day_of_the_month_of_age(born in 0u64..20_000, months in 0u32..400) {
            let born = day("1990-01-01") + Days::new(born);
            let day = birthday(born, months);
            prop_assert_eq!(whole_months(born, day), months);
            if months > 0 {
                prop_assert_eq!(whole_months(born, day - Days::new(1)), months - 1);
            }
        }
    }
}
