//! Reading single settings: each notes what is wrong at its flag.

use std::fmt;

use whorl_care::fault::Faults;

use super::Registration;
use crate::delivery::settings::{Mail, Relay};
use crate::traces::{Destination, Share};

pub(super) fn registration(faults: &mut Faults, text: &str) -> Registration {
    match text {
        "open" => Registration::Open,
        "invited" => Registration::Invited,
        _ => {
            faults.add("--registration", "must be `open` or `invited`");
            Registration::Open
        }
    }
}

/// Whether a text has the form of an ISO 3166 code, of a country or of a part of one.
pub(super) fn is_jurisdiction(code: &str) -> bool {
    let parts: Vec<&str> = code.split('-').collect();
    let part = |part: &&str| {
        (1..=3).contains(&part.len())
            && part
                .chars()
                .all(|one| one.is_ascii_lowercase() || one.is_ascii_digit())
    };
    parts.len() <= 2 && parts.iter().all(part)
}

pub(super) fn parsed<T: std::str::FromStr>(
    faults: &mut Faults,
    flag: &str,
    text: &str,
    wanted: &str,
) -> Option<T> {
    let read = text.trim().parse().ok();
    if read.is_none() {
        faults.add(flag, format!("`{text}` is not {wanted}"));
    }
    read
}

pub(super) fn counted<T>(faults: &mut Faults, flag: &str, text: &str, least: T, most: T) -> T
where
    T: std::str::FromStr + PartialOrd + fmt::Display + Copy,
{
    let wanted = format!("a number from {least} to {most}");
    match parsed::<T>(faults, flag, text, &wanted) {
        Some(number) if number < least || number > most => {
            faults.add(flag, format!("`{text}` is not {wanted}"));
            least
        }
        Some(number) => number,
        None => least,
    }
}

/// The mail relay and who letters are from: both or neither.
pub(super) fn mail(
    faults: &mut Faults,
    relay: Option<String>,
    from: Option<String>,
) -> Option<Mail> {
    let given = |text: &Option<String>| text.as_deref().is_some_and(|text| !text.trim().is_empty());
    match (given(&relay), given(&from)) {
        (false, false) => return None,
        (true, false) => faults.add("--mail-from", "say who letters are from"),
        (false, true) => faults.add("--smtp-url", "say which mail relay takes letters"),
        (true, true) => {}
    }
    let relay = relay
        .filter(|text| !text.trim().is_empty())
        .and_then(|text| {
            // The text may hold a password: it isn't repeated.
            let read: Result<Relay, _> = text.trim().parse();
            read.map_err(|wanted| faults.add("--smtp-url", format!("it is not {wanted}")))
                .ok()
        });
    let from = from
        .filter(|text| !text.trim().is_empty())
        .and_then(|text| {
            let wanted = "a mail address like Saltmarsh Yard <whorl@horses.example>";
            parsed(faults, "--mail-from", &text, wanted)
        });
    Some(Mail {
        relay: relay?,
        from: from?,
    })
}

/// Where traces go, and how many of them.
pub(super) fn traces(
    faults: &mut Faults,
    collector: Option<String>,
    share: &str,
) -> Option<Destination> {
    let wanted = "a share of requests, from 0 to 1";
    let share = parsed(faults, "--traces-share", share, wanted);
    let collector = collector.filter(|text| !text.trim().is_empty())?;
    // The text may hold a password: it isn't repeated.
    let wanted =
        "it is not a collector's address like http://127.0.0.1:4318/v1/traces, without a password";
    let collector = collector.trim().parse();
    let collector = collector
        .map_err(|_| faults.add("--traces-to", wanted))
        .ok()?;
    Some(Destination {
        collector,
        share: share.unwrap_or(Share::ALL),
    })
}

/// The parts of a text with commas between.
pub(super) fn list<T: std::str::FromStr>(
    faults: &mut Faults,
    flag: &str,
    text: &str,
    wanted: &str,
) -> Vec<T> {
    let parts = text.split(',').map(str::trim).filter(|one| !one.is_empty());
    parts
        .filter_map(|one| parsed(faults, flag, one, wanted))
        .collect()
}
