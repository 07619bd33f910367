//! Moments as people type them.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime};

use crate::failure::Failure;

/// Reads `2027-03-04`, `2027-03-04 09:20`, `09:20` (today) or a full RFC 3339 instant. Without an offset it is the wall
/// clock here, at `now`'s offset; a day alone is its noon, so that it is the same day in every time zone near.
///
/// # Errors
///
/// [`Failure::Input`] if it is none of these.
pub fn moment(text: &str, now: DateTime<FixedOffset>) -> Result<DateTime<FixedOffset>, Failure> {
    let text = text.trim();
    if let Ok(at) = DateTime::parse_from_rfc3339(text) {
        return Ok(at);
    }
    let noon = NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default();
    let day = |text: &str| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
    let hour = |text: &str| {
        NaiveTime::parse_from_str(text, "%H:%M")
            .or_else(|_| NaiveTime::parse_from_str(text, "%H:%M:%S"))
            .ok()
    };
    let local: Option<NaiveDateTime> = match text.split_once([' ', 'T']) {
        Some((date, time)) => day(date)
            .zip(hour(time))
            .map(|(day, hour)| day.and_time(hour)),
        None => day(text)
            .map(|day| day.and_time(noon))
            .or_else(|| hour(text).map(|hour| now.date_naive().and_time(hour))),
    };
    local
        .and_then(|local| local.and_local_timezone(*now.offset()).single())
        .ok_or_else(|| {
            Failure::input(format!(
                "`{text}` is no moment; write 2027-03-04, 2027-03-04 09:20, or 09:20 for today"
            ))
        })
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
}
