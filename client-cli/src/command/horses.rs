//! `whorl horses`: the horses, with what to read before picking up a foot first.

use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use whorl_care::horse::CareEvent;
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_care::profile::handling;
use whorl_care::sentence::counted;
use whorl_care::sentence::words;
use whorl_care::when::PartialDate;
use whorl_contract::barn::Barn;

use super::due::pressing;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::due_board::Place;
use crate::failure::Failure;
use crate::herd::{self, Known};
use crate::render::Sheet;

/// List the horses: handling cautions first, then age, where they stand, who saw them last, and what is due
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Only those that stand in this barn
    #[arg(long)]
    barn: Option<String>,
    /// As it stood on this day; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
}

#[derive(Debug, Serialize)]
struct Listed {
    id: HorseId,
    name: String,
    handling: Option<String>,
    sex: Option<String>,
    age: Option<String>,
    barn: Option<String>,
    last_visit: Option<Visit>,
    due: Option<String>,
    roles: Vec<Role>,
}

#[derive(Debug, Serialize)]
struct Visit {
    on: NaiveDate,
    by: Role,
    what: String,
}

impl Args {
    /// Reads what is on this device.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such barn.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let on = self.on.unwrap_or_else(|| desk.machine().now().date_naive());
        let mut conn = desk.database()?;
        let barn = self
            .barn
            .as_deref()
            .map(|text| herd::barn_named(&mut conn, Some(text)))
            .transpose()?;
        let rules = desk.rules()?;
        let barns = herd::barns(&mut conn)?;
        let place = Place {
            barns: &barns,
            rules: &rules,
            now: desk.machine().utc(),
        };
        let mut horses = Vec::new();
        for known in herd::horses(&mut conn)? {
            let Some(horse) = &known.horse else { continue };
            if barn.as_ref().is_none_or(|barn| barn.id == horse.barn_id) {
                let chart = Chart::of(&mut conn, &known, on)?;
                let due = pressing(&known, &chart, on, &place);
                horses.push(listed(&known, &chart, on, &barns, due));
            }
        }
        // Who has to be handled with care is met first.
        horses.sort_by_key(|horse| {
            (
                horse.handling.is_none(),
                horse.name.to_lowercase(),
                horse.id,
            )
        });
        desk.show(&horses, || table(&horses))
    }
}

fn listed(
    known: &Known,
    chart: &Chart,
    on: NaiveDate,
    barns: &[Barn],
    due: Option<String>,
) -> Listed {
    let horse = known.horse.as_ref();
    let told = horse.and_then(|horse| horse.handling.as_ref());
    Listed {
        id: known.id,
        name: chart.profile.name.clone().unwrap_or_else(|| known.label()),
        handling: handling(&chart.events)
            .map(|one| one.text)
            .or_else(|| told.map(|one| one.text.clone())),
        sex: chart.profile.sex.map(|sex| sex.to_string()),
        age: chart.profile.foaled_on.and_then(|foaled| age(foaled, on)),
        barn: horse.and_then(|horse| {
            let barn = barns.iter().find(|barn| barn.id == horse.barn_id);
            barn.map(|barn| barn.name.clone())
        }),
        last_visit: last_visit(&chart.events),
        due,
        roles: horse.map(|horse| horse.roles.clone()).unwrap_or_default(),
    }
}

/// The last time that a farrier or a vet recorded something done to the horse.
fn last_visit(events: &[CareEvent]) -> Option<Visit> {
    let log = whorl_care::effective::effective(events);
    let visits = log.in_force().filter_map(|one| {
        let by = one
            .event
            .role
            .filter(|role| [Role::Farrier, Role::Vet].contains(role))?;
        Some(Visit {
            on: one.event.day().ok()?,
            by,
            what: words(one.event.kind.code()),
        })
    });
    visits.max_by_key(|visit| visit.on)
}

/// An age in the words that people use: months under two years, years after that.
fn age(foaled: PartialDate, on: NaiveDate) -> Option<String> {
    let months = |from: NaiveDate| {
        let whole = (on.year() - from.year()) * 12 + i32::try_from(on.month0()).ok()?
            - i32::try_from(from.month0()).ok()?
            - i32::from(on.day() < from.day());
        (whole >= 0).then_some(whole)
    };
    let about = if foaled.exact().is_some() {
        ""
    } else {
        "about "
    };
    let count = match foaled {
        // Within its year nobody knows better than the year.
        PartialDate::Year(first) => (on.year() - first.year()) * 12,
        PartialDate::Day(day) | PartialDate::Month(day) => months(day)?,
    };
    Some(match count {
        ..0 => return None,
        0..24 => format!("{about}{}", counted(count, "month", "months")),
        _ => format!("{about}{}", counted(count / 12, "year", "years")),
    })
}

fn table(horses: &[Listed]) -> Sheet {
    let shown = |value: &Option<String>| value.clone().unwrap_or_else(|| "–".to_owned());
    let rows = horses.iter().map(|horse| {
        vec![
            horse.handling.clone().unwrap_or_default(),
            horse.name.clone(),
            shown(&horse.sex),
            shown(&horse.age),
            shown(&horse.barn),
            horse.last_visit.as_ref().map_or_else(
                || "–".to_owned(),
                |visit| format!("{} {} ({})", visit.on, visit.what, visit.by),
            ),
            shown(&horse.due),
        ]
    });
    Sheet::new().table(
        &["CAUTION", "horse", "sex", "age", "where", "last visit", "due"],
        rows,
        "There are no horses on this device yet; run `whorl sync`, or bring one in with `whorl horse add`.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_is_told_as_people_tell_it() {
        let on = "2027-03-04".parse().expect("a day");
        for (foaled, told) in [
            ("2027-03-05", None),
            ("2027-03-04", Some("0 months")),
            ("2027-02-04", Some("1 month")),
            ("2025-03-05", Some("23 months")),
            ("2025-03-04", Some("2 years")),
            ("2016-04-19", Some("10 years")),
            ("2026-05", Some("about 10 months")),
            ("2012", Some("about 15 years")),
        ] {
            let age = age(foaled.parse().expect("a date"), on);
            assert_eq!(age.as_deref(), told, "{foaled}");
        }
    }
}
