//! `whorl watch`: fevers and contagious diseases in a barn, contacts, and whose temperature is to be taken.

use whorl_care::contacts::{KINDS, Reading, Watched, health_watch};
use whorl_care::unit::plain;
use whorl_contract::yard::{BarnHealth, BarnScope};

use crate::basis;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::Sheet;
use crate::yard;

/// List fevers and contagious diseases in a barn, who was in contact, and whose temperature is to be taken twice a day
///
/// Works from this device's copy of the record, with what waits in the outbox. The vet decides what is done, and local law
/// which horses may not move and what must be reported.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The barn; the only one if left out
    barn: Option<String>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such barn.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let mut conn = desk.database()?;
        let barn = herd::barn_named(&mut conn, self.barn.as_deref())?;
        let now = desk.machine().now();
        let at = barn
            .time_zone
            .parse::<chrono_tz::Tz>()
            .map_or(now, |zone| now.with_timezone(&zone).fixed_offset());
        let (members, here) = yard::neighbours(&mut conn, barn.id)?;
        let partly = yard::partly_seen(&mut conn, here.iter().copied(), &KINDS)?;
        let watch = health_watch(&members, at, &rules).of(|horse| here.contains(&horse));
        let answer = BarnHealth {
            barn_id: barn.id,
            on: at.date_naive(),
            scope: BarnScope::of(here.len(), partly),
            watch,
        };
        desk.show(&answer, || table(&barn.name, &answer))
    }
}

fn table(barn: &str, answer: &BarnHealth) -> Sheet {
    let name = |horse: Option<&String>, id: String| horse.cloned().unwrap_or(id);
    let mut sheet = Sheet::new().line(format!("{barn} on {}:", answer.on));
    let cases = answer.watch.cases.iter().map(|case| {
        let days = if case.first_on == case.last_on {
            case.first_on.to_string()
        } else {
            format!("{} to {}", case.first_on, case.last_on)
        };
        let mut say = Vec::new();
        if case.urgent {
            say.push("call the vet now");
        }
        if case.notifiable {
            say.push("must be reported in many places: ask the vet");
        }
        vec![
            name(case.horse.as_ref(), case.horse_id.to_string()),
            case.name.clone(),
            days,
            case.shown_by.clone(),
            say.join("; "),
        ]
    });
    sheet = sheet.table(
        &["horse", "ill with", "when", "shown by", "to do"],
        cases,
        "No fever and no contagious disease is on record.",
    );
    if !answer.watch.watched.is_empty() {
        sheet = sheet.table(
            &[
                "watch",
                "until",
                "today",
                "yesterday",
                "why",
                "to do",
                "travel",
            ],
            answer.watch.watched.iter().map(row),
            "",
        );
    }
    let sheet = sheet.line(answer.scope.text.clone());
    basis::under(sheet, &[], &answer.watch.cautions, &answer.watch.sources)
}

fn row(one: &Watched) -> Vec<String> {
    let reading = |reading: Option<&Reading>| {
        let one = |c: Option<f64>| c.map_or_else(|| "–".to_owned(), |c| format!("{} °C", plain(c)));
        reading.map_or_else(String::new, |reading| {
            let fever = if reading.febrile { " FEVER" } else { "" };
            format!(
                "{} / {}{fever}",
                one(reading.morning_c),
                one(reading.evening_c)
            )
        })
    };
    let why = if one.is_case {
        "ill itself".to_owned()
    } else {
        let how = one.contacts.iter().map(|contact| {
            format!(
                "{}, {} ({})",
                contact.how,
                contact.last_on,
                contact.illness.name()
            )
        });
        how.collect::<Vec<_>>().join("; ")
    };
    let travel = if one.stays {
        "stays until the vet says otherwise"
    } else {
        "ask the vet"
    };
    vec![
        one.horse
            .clone()
            .unwrap_or_else(|| one.horse_id.to_string()),
        one.until.to_string(),
        reading(one.readings.first()),
        reading(one.readings.get(1)),
        why,
        one.to_do.join("; "),
        travel.to_owned(),
    ]
}
