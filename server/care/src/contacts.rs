//! Fever or a contagious disease in a yard: who was in contact, who is watched and until when, and who should stay where it is.
//!
//! The vet decides what is done, and local law which diseases must be reported and which horses may not move.

mod case;

use std::collections::BTreeSet;

use chrono::{DateTime, Days, FixedOffset, NaiveDate, Timelike};
use serde::{Deserialize, Serialize};

use crate::details::{Details, Movement};
use crate::effective::effective;
use crate::figure::Basis;
use crate::horse::CareEvent;
use crate::ids::{BarnId, EventId, HorseId};
use crate::kind::Kind;
use crate::profile::profile;
use crate::rules::herd_health::{Illness, Watch};
use crate::rules::{Rules, Source};

pub(crate) use self::case::shown;
pub use self::case::{Case, is_positive};
use self::case::{Shown, cases, last_day, limits, shows};

/// The kinds that cases and contacts are read from.
pub const KINDS: [Kind; 5] = [
    Kind::Vitals,
    Kind::Observation,
    Kind::LaboratoryTest,
    Kind::Movement,
    Kind::Identity,
];

/// Where a horse stood from a day on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay {
    /// The first day.
    pub from: NaiveDate,
    /// The barn.
    pub barn: BarnId,
}

/// A horse whose record is read.
#[derive(Clone, Debug)]
pub struct Member {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub name: Option<String>,
    /// The barns it stood in, the earliest first. The first of them also counts for the time before.
    pub stays: Vec<Stay>,
    /// Its events of [`KINDS`], and what was said about them.
    pub events: Vec<CareEvent>,
}

/// How a horse met a sick one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HealthContact))]
pub struct Contact {
    /// The sick horse.
    pub of_horse_id: HorseId,
    /// The illness.
    pub illness: Illness,
    /// The last day of contact.
    pub last_on: NaiveDate,
    /// How, in words.
    pub how: String,
}

/// A temperature that was taken, or should be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Reading {
    /// The day.
    pub on: NaiveDate,
    /// The temperature of the morning, in degrees Celsius; the highest, if there are several.
    pub morning_c: Option<f64>,
    /// That of the afternoon or evening.
    pub evening_c: Option<f64>,
    /// Whether any was a fever.
    pub febrile: bool,
}

/// A horse that is watched.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Watched {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: Option<String>,
    /// Whether it is a case itself.
    pub is_case: bool,
    /// Its contacts with sick horses.
    pub contacts: Vec<Contact>,
    /// The last day of the watch, as it stands; a fever makes it longer.
    pub until: NaiveDate,
    /// Above this it is febrile, in degrees Celsius.
    pub fever_above_c: f64,
    /// Temperatures of the last days, the latest first: twice a day is asked for.
    pub readings: Vec<Reading>,
    /// What is still to be taken today, in words.
    pub to_do: Vec<String>,
    /// Whether it should stay where it is until the vet says otherwise.
    pub stays: bool,
}

/// The answer for a yard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct HealthWatch {
    /// What is or was lately on record.
    pub cases: Vec<Case>,
    /// Who is watched: cases first, then by name.
    pub watched: Vec<Watched>,
    /// What the answer rests on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

impl HealthWatch {
    /// The same for the horses that stand in one barn: its watch list, its cases, and those elsewhere that its horses met.
    #[must_use]
    pub fn of(mut self, stands_here: impl Fn(HorseId) -> bool) -> Self {
        self.watched.retain(|one| stands_here(one.horse_id));
        let contacts = self.watched.iter().flat_map(|one| &one.contacts);
        let met: BTreeSet<HorseId> = contacts.map(|contact| contact.of_horse_id).collect();
        self.cases
            .retain(|case| stands_here(case.horse_id) || met.contains(&case.horse_id));
        self
    }
}

/// How many days of temperatures are shown.
const SHOWN_DAYS: u64 = 7;

/// What one horse's record says.
struct Record<'a> {
    member: &'a Member,
    temperatures: Vec<(DateTime<FixedOffset>, f64, EventId)>,
    movements: Vec<(NaiveDate, Movement)>,
    cases: Vec<Case>,
    limit_c: f64,
}

impl<'a> Record<'a> {
    fn of(member: &'a Member, on: NaiveDate, rules: &Rules) -> Self {
        let horse = profile(&member.events);
        let mut record = Self {
            member,
            temperatures: Vec::new(),
            movements: Vec::new(),
            cases: Vec::new(),
            limit_c: limits(horse.foaled_on, on, rules).0,
        };
        let mut found: Vec<Shown> = Vec::new();
        for one in effective(&member.events).in_force() {
            let Ok(day) = one.event.day() else { continue };
            let Some(details) =
                Details::parse_known(one.event.kind, one.details).filter(|_| day <= on)
            else {
                continue;
            };
            let limits = limits(horse.foaled_on, day, rules);
            for (illness, by, urgent, showed) in shows(&details, day, limits, rules) {
                found.push(Shown {
                    illness,
                    on: showed,
                    by,
                    event: one.event.id,
                    urgent,
                });
            }
            match details {
                Details::Vitals(vitals) => {
                    let taken = one
                        .event
                        .performed_at
                        .zip(vitals.temperature_c)
                        .zip(one.event.id);
                    record
                        .temperatures
                        .extend(taken.map(|((at, c), id)| (at, c, id)));
                }
                Details::Movement(movement) => record.movements.push((day, movement)),
                _ => {}
            }
        }
        found.sort_by_key(|one| one.on);
        record.cases = cases(member, &found, on, rules);
        record
    }

    /// The barn it stood in on a day.
    fn barn_on(&self, day: NaiveDate) -> Option<BarnId> {
        let stays = &self.member.stays;
        let began = stays.iter().rev().find(|stay| stay.from <= day);
        began.or(stays.first()).map(|stay| stay.barn)
    }

    /// Places that it went to or came from, with other horses about or nothing said of them, and the days.
    fn journeys(&self) -> impl Iterator<Item = (NaiveDate, String)> + '_ {
        self.movements
            .iter()
            .filter(|(_, one)| one.mixed_with_others != Some(false))
            .flat_map(|(day, one)| {
                let places = one.from.iter().chain([&one.to]);
                places.map(|place| (*day, place.trim().to_lowercase()))
            })
    }
}

/// The cases on record, contacts and watch list of a yard on a day. `members` are all horses whose records are open,
/// wherever they stand: one that left may be the contact. `at` is the instant up to which temperatures are read.
#[must_use]
pub fn health_watch(members: &[Member], at: DateTime<FixedOffset>, rules: &Rules) -> HealthWatch {
    let on = at.date_naive();
    let records: Vec<Record<'_>> = members
        .iter()
        .map(|one| Record::of(one, on, rules))
        .collect();
    let mut basis = Basis::default();
    let mut cases: Vec<Case> = records.iter().flat_map(|one| one.cases.clone()).collect();
    cases.sort_by(|a, b| (b.last_on, &a.horse, a.illness).cmp(&(a.last_on, &b.horse, b.illness)));
    let mut used: BTreeSet<Illness> = cases.iter().map(|case| case.illness).collect();
    used.insert(Illness::Fever);
    for watch in used.iter().filter_map(|one| rules.herd_health.watch(*one)) {
        if let Some(source) = rules
            .herd_health
            .source(watch)
            .filter(|_| !cases.is_empty())
        {
            basis.rests_on(&watch.id, source, watch.mark);
        }
    }
    let mut watched: Vec<Watched> = records
        .iter()
        .filter_map(|record| watched(record, &records, at, rules))
        .collect();
    watched.sort_by(|a, b| {
        (!a.is_case, &a.horse, a.horse_id).cmp(&(!b.is_case, &b.horse, b.horse_id))
    });
    if !cases.is_empty() {
        if let Some(row) = rules.herd_health.fever(None, on)
            && let Some(source) = rules.herd_health.source(row)
        {
            basis.rests_on(&row.id, source, row.mark);
        }
        basis.caution("Call the vet. Until the vet has spoken, keep the horse and its contacts apart from others, with their own buckets and hands.");
        basis.caution("Who may travel is for the vet and local law to decide; those listed as staying should not leave before.");
        basis.caution("Contacts that nobody wrote down aren't listed: shared fields, tack, trailers, people's hands.");
    }
    if cases.iter().any(|case| case.notifiable) {
        basis.caution("A disease that must be reported in many places is on record: the vet, or whoever keeps the horse, must tell the authority where the law says so.");
    }
    HealthWatch {
        cases,
        watched,
        sources: basis.sources,
        cautions: basis.cautions,
    }
}

fn watched(
    record: &Record<'_>,
    all: &[Record<'_>],
    at: DateTime<FixedOffset>,
    rules: &Rules,
) -> Option<Watched> {
    let on = at.date_naive();
    let mut contacts = Vec::new();
    let mut until: Option<NaiveDate> = None;
    for other in all
        .iter()
        .filter(|other| other.member.horse_id != record.member.horse_id)
    {
        for case in other.cases.iter().filter(|case| case.contagious) {
            let Some(watch) = rules.herd_health.watch(case.illness) else {
                continue;
            };
            if let Some((last_on, how)) = contact(record, other, case, watch, on) {
                until = until.max(Some(last_day(last_on, watch.watch_days)));
                contacts.push(Contact {
                    of_horse_id: other.member.horse_id,
                    illness: case.illness,
                    last_on,
                    how,
                });
            }
        }
    }
    for case in &record.cases {
        let watch = rules.herd_health.watch(case.illness)?;
        until = until.max(Some(last_day(case.last_on, watch.free_days)));
    }
    let until = until.filter(|until| on <= *until)?;
    contacts.retain(|one| {
        let watch = rules.herd_health.watch(one.illness);
        watch.is_some_and(|watch| on <= last_day(one.last_on, watch.watch_days))
    });
    let readings = readings(record, at);
    let mut to_do = Vec::new();
    if let Some(today) = readings.first() {
        if today.morning_c.is_none() {
            to_do.push("take the temperature this morning".to_owned());
        }
        if today.evening_c.is_none() {
            to_do.push("take the temperature this evening".to_owned());
        }
    }
    let contagious = record
        .cases
        .iter()
        .any(|case| case.contagious || case.notifiable);
    Some(Watched {
        horse_id: record.member.horse_id,
        horse: record.member.name.clone(),
        is_case: !record.cases.is_empty(),
        stays: contagious || !contacts.is_empty(),
        contacts,
        until,
        fever_above_c: record.limit_c,
        readings,
        to_do,
    })
}

/// Whether a horse met a sick one from the case's first day of contact on, the last day of it, and how.
///
/// Standing in one barn counts as contact for each day that both stand there; so does a journey to one place on one day.
fn contact(
    record: &Record<'_>,
    sick: &Record<'_>,
    case: &Case,
    watch: &Watch,
    on: NaiveDate,
) -> Option<(NaiveDate, String)> {
    // After its last sign a horse may still give it away for as long as it is watched.
    let ends = last_day(case.last_on, watch.free_days).min(on);
    let days = case
        .contacts_since
        .iter_days()
        .take_while(|day| *day <= ends);
    let shared = days
        .filter(|day| {
            let barn = record.barn_on(*day);
            barn.is_some() && barn == sick.barn_on(*day)
        })
        .last();
    let met = record
        .journeys()
        .filter(|(day, _)| (case.contacts_since..=ends).contains(day))
        .filter(|(day, place)| sick.journeys().any(|other| other == (*day, place.clone())))
        .max();
    match (shared, met) {
        (Some(day), Some((travelled, _))) if day >= travelled => {
            Some((day, "stood in the same barn".to_owned()))
        }
        (Some(day), None) => Some((day, "stood in the same barn".to_owned())),
        (_, Some((day, place))) => {
            Some((day, format!("both travelled to or from {place} that day")))
        }
        (None, None) => None,
    }
}

/// Temperatures of the last days by morning and evening, by the wall clock where they were taken.
fn readings(record: &Record<'_>, at: DateTime<FixedOffset>) -> Vec<Reading> {
    let today = at.date_naive();
    (0..SHOWN_DAYS)
        .filter_map(|back| today.checked_sub_days(Days::new(back)))
        .map(|day| {
            let of_half = |evening: bool| {
                record
                    .temperatures
                    .iter()
                    .filter(|(taken, ..)| {
                        taken.date_naive() == day && (taken.hour() >= 12) == evening
                    })
                    .map(|(_, c, _)| *c)
                    .reduce(f64::max)
            };
            let (morning_c, evening_c) = (of_half(false), of_half(true));
            let febrile = [morning_c, evening_c]
                .into_iter()
                .flatten()
                .any(|c| c > record.limit_c);
            Reading {
                on: day,
                morning_c,
                evening_c,
                febrile,
            }
        })
        .collect()
}
