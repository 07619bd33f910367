//! Numbers and days as people say them.

use std::fmt::Display;

use chrono::{DateTime, FixedOffset, NaiveDate};

/// A number and what is counted, in the grammar that it asks for: "1 horse", "2 horses", "0.5 years".
pub fn counted(number: impl Display, one: &str, many: &str) -> String {
    let number = number.to_string();
    let what = if number == "1" { one } else { many };
    format!("{number} {what}")
}

/// A day as people write it: 4 March 2027.
#[must_use]
pub fn day(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}

/// An instant by the wall clock where it was, and which clock that is: 4 March 2027, 21:00 UTC−5.
#[must_use]
pub fn instant(at: DateTime<FixedOffset>) -> String {
    format!("{} {}", at.format("%-d %B %Y, %H:%M"), clock(*at.offset()))
}

/// A wall clock by its distance from UTC: "UTC", "UTC−5", "UTC+5:30".
#[must_use]
pub fn clock(offset: FixedOffset) -> String {
    let minutes = offset.local_minus_utc() / 60;
    let sign = if minutes < 0 { '−' } else { '+' };
    match (minutes.abs() / 60, minutes.abs() % 60) {
        (0, 0) => "UTC".to_owned(),
        (hours, 0) => format!("UTC{sign}{hours}"),
        (hours, minutes) => format!("UTC{sign}{hours}:{minutes:02}"),
    }
}

/// A text of ours with each day in it as people write it: `2027-03-04` is 4 March 2027. What is no day stays.
#[must_use]
pub fn with_days(text: &str) -> String {
    const LENGTH: usize = "2027-03-04".len();
    let part_of_more = |letter: char| letter.is_ascii_alphanumeric() || letter == '-';
    let (mut told, mut rest, mut before) = (String::with_capacity(text.len()), text, None);
    while let Some(letter) = rest.chars().next() {
        let after = rest.get(LENGTH..).and_then(|after| after.chars().next());
        let stands_alone = !before.is_some_and(part_of_more) && !after.is_some_and(part_of_more);
        let found = rest.get(..LENGTH).filter(|_| stands_alone);
        if let Some(found) = found.and_then(|text| text.parse().ok()) {
            told.push_str(&day(found));
            rest = &rest[LENGTH..];
            before = Some('0');
        } else {
            told.push(letter);
            rest = &rest[letter.len_utf8()..];
            before = Some(letter);
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_one_and_all_else_is_many() {
        for (told, wanted) in [
            (counted(1, "horse", "horses"), "1 horse"),
            (counted(0_usize, "horse", "horses"), "0 horses"),
            (counted(21_i64, "entry", "entries"), "21 entries"),
            (counted(1.0_f64, "egg", "eggs"), "1 egg"),
            (counted(1.5_f64, "year", "years"), "1.5 years"),
        ] {
            assert_eq!(told, wanted);
        }
    }

    #[test]
    fn an_instant_names_its_clock() {
        for (text, wanted) in [
            ("2026-11-20T21:00:00-05:00", "20 November 2026, 21:00 UTC−5"),
            ("2026-11-20T21:00:00Z", "20 November 2026, 21:00 UTC"),
            (
                "2026-11-20T09:05:00+05:30",
                "20 November 2026, 09:05 UTC+5:30",
            ),
        ] {
            assert_eq!(instant(text.parse().expect("an instant")), wanted);
        }
    }

    #[test]
    fn days_in_a_text_are_told_as_people_write_them() {
        for (text, wanted) in [
            (
                "the dose of 2026-09-30, from 2026-10-07.",
                "the dose of 30 September 2026, from 7 October 2026.",
            ),
            ("2027-03-04", "4 March 2027"),
            ("lot 2027-03-041", "lot 2027-03-041"),
            ("lot A2027-03-04", "lot A2027-03-04"),
            (
                "2027-13-04 and 小2027-03-04小",
                "2027-13-04 and 小4 March 2027小",
            ),
            ("", ""),
        ] {
            assert_eq!(with_days(text), wanted);
        }
    }
}
