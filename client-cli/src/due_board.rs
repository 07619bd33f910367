//! What is due, from this device's copy of the record with what waits in the outbox: what the server would tell.
//!
//! Where a grant is limited to some kinds, the server leaves out what an order or a pregnancy that may not be seen makes
//! read otherwise; a device doesn't know of those, and shows it with the word that part of the record is withheld.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use diesel::sqlite::SqliteConnection;
use whorl_care::figure::due::board::Choice;
use whorl_care::figure::due::{BarnContext, Input, Programme};
use whorl_care::ids::BarnId;
use whorl_care::profile::handling;
use whorl_care::rules::Rules;
use whorl_care::when::today_in;
use whorl_contract::barn::Barn;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::horse::{Handling, Horse};

use crate::care_log::{self, Withheld};
use crate::chart::Chart;
use crate::failure::Failure;
use crate::herd::{self, Known};
use crate::recording;

/// Which things a list shows.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The day; each barn's own today if missing.
    pub on: Option<NaiveDate>,
    /// Of these.
    pub choice: Choice,
    /// Only what this account may do and record in one of its roles.
    pub mine: bool,
    /// The ways of going about it.
    pub programme: Programme,
}

/// Where and by which rules it is told.
pub struct Place<'a> {
    /// The barns on this device.
    pub barns: &'a [Barn],
    /// The rules in force.
    pub rules: &'a Rules,
    /// The clock.
    pub now: DateTime<Utc>,
}

impl Place<'_> {
    fn barn(&self, id: BarnId) -> Option<&Barn> {
        self.barns.iter().find(|barn| barn.id == id)
    }

    /// Today where a horse stands.
    #[must_use]
    pub fn today(&self, horse: &Horse) -> NaiveDate {
        let barn = self.barn(horse.barn_id);
        barn.map_or_else(
            || self.now.date_naive(),
            |barn| today_in(&barn.time_zone, self.now),
        )
    }

    /// Where a horse lives, as far as dates depend on it.
    #[must_use]
    pub fn context(&self, horse: &Horse) -> BarnContext {
        let barn = self.barn(horse.barn_id);
        BarnContext {
            time_zone: barn.map(|barn| barn.time_zone.clone()),
            region: barn.and_then(|barn| barn.region.clone()),
        }
    }
}

/// A horse of this account's herd as the server described it, with the caution about handling that is known here.
///
/// # Errors
///
/// [`Failure::Input`] if only its past is this account's to know; [`Failure::Device`] if the database can't be read.
pub fn described(conn: &mut SqliteConnection, known: &Known) -> Result<Horse, Failure> {
    let described = known.horse.as_ref().filter(|horse| !horse.roles.is_empty());
    let mut horse = described.cloned().ok_or_else(|| {
        Failure::input(format!(
            "you see the record of {} up to the day it was handed over; how it stands now is for its owner to say",
            known.label()
        ))
    })?;
    if let Some(caution) = handling(&care_log::events(conn, known.id)?) {
        horse.handling = Some(Handling {
            text: caution.text,
            on: caution.on,
        });
    }
    Ok(horse)
}

/// What is due for one horse.
///
/// # Errors
///
/// [`Failure::Input`] if there is no such programme, or if only the horse's past is this account's to know.
pub fn of_horse(
    conn: &mut SqliteConnection,
    known: &Known,
    wanted: &Wanted,
    place: &Place<'_>,
) -> Result<HorseDue, Failure> {
    let horse = described(conn, known)?;
    let on = wanted.on.unwrap_or_else(|| place.today(&horse));
    let chart = Chart::of(conn, known, on)?;
    let input = Input {
        horse: chart.profile,
        events: chart.events,
        on,
        programme: wanted.programme.clone(),
        barn: place.context(&horse),
    };
    let mut due = match HorseDue::of(&horse, &input, place.rules) {
        Err(faults)
            if faults
                .0
                .iter()
                .any(|one| one.pointer.starts_with("/programme")) =>
        {
            return Err(recording::spoken(&faults, |_| "parasite".to_owned()));
        }
        Err(_) => HorseDue::or_warning(&horse, &input, place.rules),
        Ok(due) => due,
    };
    due.withheld |= !Withheld::of(conn, horse.id)?.is_nothing();
    if wanted.mine {
        let doable = due.doable(&horse, &input, place.rules, |_, kind| horse.shows(kind));
        due.items.retain(|item| doable.contains(&item.code));
    }
    Ok(due)
}

/// What is due for the horses of a barn, or for all that this account has to do with now.
///
/// # Errors
///
/// As for [`of_horse`].
pub fn list(
    conn: &mut SqliteConnection,
    barn: Option<BarnId>,
    wanted: &Wanted,
    place: &Place<'_>,
) -> Result<DueBoard, Failure> {
    let mut all = Vec::new();
    for known in herd(conn, barn)? {
        all.push(of_horse(conn, &known, wanted, place)?);
    }
    let names: HashMap<BarnId, &str> = place
        .barns
        .iter()
        .map(|barn| (barn.id, barn.name.as_str()))
        .collect();
    let name = |id: BarnId| names.get(&id).copied().unwrap_or_default().to_owned();
    Ok(DueBoard::of(
        all,
        name,
        wanted.on,
        wanted.choice,
        place.rules,
    ))
}

/// The horses that this account has to do with now, of one barn or of all.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn herd(conn: &mut SqliteConnection, barn: Option<BarnId>) -> Result<Vec<Known>, Failure> {
    let mut horses = herd::horses(conn)?;
    horses.retain(|known| {
        known.horse.as_ref().is_some_and(|horse| {
            !horse.roles.is_empty() && barn.is_none_or(|barn| barn == horse.barn_id)
        })
    });
    Ok(horses)
}
