//! Moments as people type them.

use chrono::{
    DateTime, FixedOffset, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone,
};
use chrono_tz::Tz;

use crate::failure::Failure;

/// Reads `2027-03-04`, `2027-03-04 09:20`, `09:20` (today) or a full RFC 3339 instant. Without an offset it is the wall
/// clock here, at `now`'s offset; a day alone is its noon, so that it is the same day in every time zone near.
///
/// # Errors
///
/// [`Failure::Input`] if it is none of these.
pub fn moment(text: &str, now: DateTime<FixedOffset>) -> Result<DateTime<FixedOffset>, Failure> {
    read(text, now.date_naive(), now.offset())
}

/// The same by the wall clock of a place, with its summer time as it was on that day.
///
/// # Errors
///
/// [`Failure::Input`] if it is no moment, or one that the clocks there jumped over or passed twice.
pub fn moment_at(
    text: &str,
    now: DateTime<FixedOffset>,
    zone: Tz,
) -> Result<DateTime<FixedOffset>, Failure> {
    read(text, now.with_timezone(&zone).date_naive(), &zone)
}

fn read<Z: TimeZone>(
    text: &str,
    today: NaiveDate,
    zone: &Z,
) -> Result<DateTime<FixedOffset>, Failure> {
    let text = text.trim();
    if let Ok(at) = DateTime::parse_from_rfc3339(text) {
        return Ok(at);
    }
    let local = wall_clock(text, today).ok_or_else(|| {
        Failure::input(format!(
            "`{text}` is no moment; write 2027-03-04, 2027-03-04 09:20, or 09:20 for today"
        ))
    })?;
    let fixed = |at: DateTime<Z>| at.with_timezone(&at.offset().fix());
    match zone.from_local_datetime(&local) {
        MappedLocalTime::Single(at) => Ok(fixed(at)),
        MappedLocalTime::Ambiguous(first, second) => Err(Failure::input(format!(
            "the clocks showed {text} twice that night; write {} or {}",
            fixed(first).to_rfc3339(),
            fixed(second).to_rfc3339()
        ))),
        MappedLocalTime::None => Err(Failure::input(format!(
            "the clocks jumped over {text} there; which hour was it?"
        ))),
    }
}

fn wall_clock(text: &str, today: NaiveDate) -> Option<NaiveDateTime> {
    let noon = NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default();
    let day = |text: &str| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
    let hour = |text: &str| {
        NaiveTime::parse_from_str(text, "%H:%M")
            .or_else(|_| NaiveTime::parse_from_str(text, "%H:%M:%S"))
            .ok()
    };
    match text.split_once([' ', 'T']) {
        Some((date, time)) => day(date)
            .zip(hour(time.trim()))
            .map(|(day, hour)| day.and_time(hour)),
        None => day(text)
            .map(|day| day.and_time(noon))
            .or_else(|| hour(text).map(|hour| today.and_time(hour))),
    }
}

/// The first moment of a day, here.
///
/// # Errors
///
/// [`Failure::Input`] if it is no day.
pub fn start_of_day(
    text: &str,
    now: DateTime<FixedOffset>,
) -> Result<DateTime<FixedOffset>, Failure> {
    let at = moment(text, now)?;
    if text.trim().len() > 10 {
        return Ok(at);
    }
    at.with_time(NaiveTime::MIN)
        .single()
        .ok_or_else(|| Failure::input(format!("`{text}` has no beginning here")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_by_the_wall_clock_here() {
        let now = DateTime::parse_from_rfc3339("2027-03-05T18:00:00-05:00").expect("a time");
        let read = |text| moment(text, now).map(|at| at.to_rfc3339());
        assert_eq!(
            read("2027-03-04").expect("a day"),
            "2027-03-04T12:00:00-05:00"
        );
        assert_eq!(
            read("2027-03-04 09:20").expect("both"),
            "2027-03-04T09:20:00-05:00"
        );
        assert_eq!(read("09:20").expect("today"), "2027-03-05T09:20:00-05:00");
        assert_eq!(
            read("2027-03-04T09:20:00+01:00").expect("exact"),
            "2027-03-04T09:20:00+01:00"
        );
        let start = start_of_day("2027-03-04", now).expect("a day");
        assert_eq!(start.to_rfc3339(), "2027-03-04T00:00:00-05:00");
        for wrong in ["", "soon", "2027-02-30", "25:00", "4/3/2027"] {
            assert_eq!(moment(wrong, now).expect_err(wrong).status(), 2);
        }
    }
    /// Summer time in Great Britain began on 28 March 2027 at 01:00 UTC and ended on 31 October 2027 at 01:00 UTC: the
    /// last Sundays of both months (Summer Time Order 2002).
    #[test]
    fn a_place_has_its_own_summer_time() {
        let now = DateTime::parse_from_rfc3339("2027-07-01T23:30:00+00:00").expect("a time");
        let read = |text| moment_at(text, now, chrono_tz::Europe::London);
        let wanted = |text| read(text).map(|at| at.to_rfc3339()).expect(text);
        assert_eq!(wanted("2027-03-04 09:20"), "2027-03-04T09:20:00+00:00");
        assert_eq!(wanted("2027-07-01"), "2027-07-01T12:00:00+01:00");
        assert_eq!(
            wanted("00:10"),
            "2027-07-02T00:10:00+01:00",
            "it is tomorrow there"
        );
        let jumped = read("2027-03-28 01:30").expect_err("no such hour");
        assert!(jumped.to_string().contains("jumped over"), "{jumped}");
        let twice = read("2027-10-31 01:30").expect_err("twice").to_string();
        assert!(
            twice.contains("2027-10-31T01:30:00+01:00 or 2027-10-31T01:30:00+00:00"),
            "{twice}"
        );
    }
}
