//! A calendar of what is due, as calendar programs read it (RFC 5545): an all-day event for each item.
//!
//! An item is told by the horse and its code, so that it moves when its day moves and goes when it is done. When the record
//! it rests on changed last is when the event changed; what is pressing stands on today, and so changes every day.

use chrono::{DateTime, Days, NaiveDate, Utc};
use icalendar::{Calendar, Class, Component, Event, EventLike, Property};
use whorl_care::figure::due::{Item, Status, board};
use whorl_care::sentence::words;
use whorl_contract::due::{DueEntry, DueHorse};

use crate::due_board::Listed;

/// The second from which the numbers of an event's versions are counted: the first of 2020.
const FIRST: i64 = 1_577_836_800;

/// Said in every event, whatever else it says.
const ADVICE: &str = "Guidance, not an order: follow your vet, the product's label and local law.";

/// The calendar. `name` is what programs call it; it is told as of `now`.
pub(crate) fn render(
    name: &str,
    listed: &Listed,
    now: DateTime<Utc>,
) -> Result<String, std::fmt::Error> {
    let mut calendar = Calendar::empty();
    for (key, value) in [
        ("VERSION", "2.0"),
        ("PRODID", "-//Whorl//due//EN"),
        ("CALSCALE", "GREGORIAN"),
    ] {
        calendar.append_property(Property::new(key, value));
    }
    for key in ["NAME", "X-WR-CALNAME"] {
        // The library escapes what it knows to be text.
        let property = Property::new(key, plain(name))
            .add_parameter("VALUE", "TEXT")
            .done();
        calendar.append_property(property);
    }
    for entry in &listed.board.items {
        let horse = listed
            .board
            .horses
            .iter()
            .find(|horse| horse.horse_id == entry.horse_id);
        if let Some(horse) = horse {
            calendar.push(event(entry, horse, listed, now));
        }
    }
    let mut text = String::new();
    std::fmt::Write::write_fmt(&mut text, format_args!("{calendar}"))?;
    Ok(text)
}

fn event(entry: &DueEntry, horse: &DueHorse, listed: &Listed, now: DateTime<Utc>) -> Event {
    let seen = listed.seen.get(&entry.horse_id);
    let today = seen.map_or_else(|| now.date_naive(), |seen| seen.on);
    let (day, pressing) = day(&entry.item, today);
    let changed = seen.map_or(now, |seen| seen.changed_at);
    let changed = if pressing {
        changed.max(midnight(today).min(now))
    } else {
        changed
    };
    let version = u32::try_from(changed.timestamp().saturating_sub(FIRST)).unwrap_or(0);
    Event::with_uid(&format!("{}.{}@whorl", entry.horse_id, entry.item.code))
        .summary(&plain(&summary(entry)))
        .description(&plain(&description(entry, horse)))
        .location(&plain(&horse.barn))
        .starts(day)
        .timestamp(changed)
        .last_modified(changed)
        .sequence(version)
        .class(Class::Private)
        .add_property("TRANSP", "TRANSPARENT")
        .done()
}

/// The day on which an item stands: its last day, or today if it is past that or has none. Also whether that is today for
/// being pressing.
fn day(item: &Item, today: NaiveDate) -> (NaiveDate, bool) {
    let by = match item.status {
        Status::Upcoming | Status::UpToDate => item.due_by.or(item.due_from),
        Status::Overdue | Status::AskVet | Status::Due => item.due_by,
    };
    match by.filter(|day| *day > today) {
        Some(day) => (day, false),
        None => (today, true),
    }
}

fn midnight(day: NaiveDate) -> DateTime<Utc> {
    day.and_time(chrono::NaiveTime::MIN).and_utc()
}

fn summary(entry: &DueEntry) -> String {
    let what = board::name(&entry.item.code);
    match entry.item.status {
        Status::Overdue => format!("{}: {what}, overdue", entry.horse),
        Status::AskVet => format!("{}: ask the vet about {what}", entry.horse),
        Status::Due | Status::Upcoming | Status::UpToDate => format!("{}: {what}", entry.horse),
    }
}

fn description(entry: &DueEntry, horse: &DueHorse) -> String {
    let item = &entry.item;
    let mut lines = Vec::new();
    if let Some(caution) = &horse.handling {
        lines.push(format!(
            "Handle with care: {} ({})",
            caution.text, caution.on
        ));
    }
    lines.push(match (item.due_from, item.due_by) {
        (Some(from), Some(by)) => format!("From {from} to {by}."),
        (Some(from), None) => format!("From {from}."),
        (None, Some(by)) => format!("By {by}."),
        (None, None) => "No day is set.".to_owned(),
    });
    if let Some(last) = item.last_on {
        lines.push(format!("Last done on {last}."));
    }
    lines.push(format!("Why: {}.", item.reason));
    lines.extend(item.mark.caution().map(str::to_owned));
    let who: Vec<String> = item.who.iter().map(|role| words(role.code())).collect();
    lines.push(format!("By: {}.", who.join(", ")));
    if horse.withheld {
        lines.push("Part of this horse's record is withheld from you; more may be due.".to_owned());
    }
    lines.push(ADVICE.to_owned());
    lines.join("\n")
}

/// The text without control characters, which a calendar's lines can't hold; a line's end stays.
fn plain(text: &str) -> String {
    let text = text.replace("\r\n", "\n");
    text.chars()
        .filter(|one| *one == '\n' || !one.is_control())
        .collect()
}

/// Until when a calendar looks ahead.
pub(crate) fn horizon(now: DateTime<Utc>) -> Option<NaiveDate> {
    now.date_naive().checked_add_days(Days::new(366))
}
