//! What is a case: a fever or a contagious disease, by temperatures, signs and tests on record.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::Member;
use crate::code::Sign;
use crate::details::Details;
use crate::ids::{EventId, HorseId};
use crate::rules::Rules;
use crate::rules::herd_health::Illness;
use crate::unit::plain;
use crate::when::PartialDate;

/// A fever or a disease on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HealthCase))]
pub struct Case {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: Option<String>,
    /// The illness.
    pub illness: Illness,
    /// Its name.
    pub name: String,
    /// The first day it showed.
    pub first_on: NaiveDate,
    /// The last day it showed.
    pub last_on: NaiveDate,
    /// What shows it, in words: the latest.
    pub shown_by: String,
    /// The events that show it.
    pub rests_on: Vec<EventId>,
    /// Whether a horse may catch it from another.
    pub contagious: bool,
    /// Whether it must be reported to the authority in many places.
    pub notifiable: bool,
    /// Whether the vet must be called without delay.
    pub urgent: bool,
    /// Contacts from this day on count.
    pub contacts_since: NaiveDate,
}

/// What shows an illness.
pub(super) struct Shown {
    pub(super) illness: Illness,
    pub(super) on: NaiveDate,
    pub(super) by: String,
    pub(super) event: Option<EventId>,
    pub(super) urgent: bool,
}

/// The illnesses that the details of one entry show, with what shows each. `limits` are the fever limit and the urgent one.
pub(super) fn shows(
    details: &Details,
    on: NaiveDate,
    limits: (f64, f64),
    rules: &Rules,
) -> Vec<(Illness, String, bool, NaiveDate)> {
    match details {
        Details::Vitals(vitals) => vitals
            .temperature_c
            .filter(|c| *c > limits.0)
            .map(|c| {
                let text = format!("{} °C, above {} °C", plain(c), plain(limits.0));
                (Illness::Fever, text, c >= limits.1, on)
            })
            .into_iter()
            .collect(),
        Details::Observation(seen) => {
            let fever = seen.signs.contains(&Sign::Fever);
            let fever = fever.then(|| {
                (
                    Illness::Fever,
                    "a fever was seen, without a figure".to_owned(),
                    false,
                    on,
                )
            });
            let named = seen.diseases.iter().map(|illness| {
                (
                    *illness,
                    format!("{} was suspected or found", illness.name()),
                    true,
                    on,
                )
            });
            fever.into_iter().chain(named).collect()
        }
        Details::LaboratoryTest(test) => rules
            .herd_health
            .shown_by(test.test)
            .filter(|_| test.result.as_deref().is_some_and(is_positive))
            .map(|watch| {
                let says = format!("a positive test ({})", test.test);
                (watch.illness, says, true, test.drawn_on.unwrap_or(on))
            })
            .into_iter()
            .collect(),
        _ => Vec::new(),
    }
}

/// The illnesses that one entry shows by itself, what shows each, and whether the vet must be called without delay.
pub(crate) fn shown(
    details: &Details,
    on: NaiveDate,
    foaled_on: Option<PartialDate>,
    rules: &Rules,
) -> Vec<(Illness, String, bool)> {
    shows(details, on, limits(foaled_on, on, rules), rules)
        .into_iter()
        .map(|(illness, by, urgent, _)| (illness, by, urgent))
        .collect()
}

/// Whether a laboratory's words say that something was found. What can't be told counts as found: the vet will look.
#[must_use]
pub fn is_positive(result: &str) -> bool {
    let text = result.trim().to_lowercase();
    let nothing_found = [
        "not detected",
        "none detected",
        "not isolated",
        "no growth",
        "not found",
        "pending",
    ];
    let negative = text
        .split(|one: char| !one.is_alphabetic())
        .any(|word| word.starts_with("neg"));
    !text.is_empty() && !negative && !nothing_found.iter().any(|words| text.contains(words))
}

/// Febrile above the first, urgent from the second, in degrees Celsius.
pub(super) fn limits(foaled_on: Option<PartialDate>, on: NaiveDate, rules: &Rules) -> (f64, f64) {
    rules
        .herd_health
        .fever(foaled_on, on)
        .map_or((f64::INFINITY, f64::INFINITY), |row| {
            (row.above_c, row.urgent_from_c)
        })
}

/// Puts what shows an illness together: what lies closer than its watch is one case. Cases that are over are left out.
pub(super) fn cases(member: &Member, found: &[Shown], on: NaiveDate, rules: &Rules) -> Vec<Case> {
    let mut open: BTreeMap<Illness, Case> = BTreeMap::new();
    for one in found {
        let Some(watch) = rules.herd_health.watch(one.illness) else {
            continue;
        };
        let since = one
            .on
            .checked_sub_days(Days::new(watch.contact_days.into()));
        let case = open
            .get_mut(&one.illness)
            .filter(|case| (one.on - case.last_on).num_days() <= i64::from(watch.free_days));
        if let Some(case) = case {
            case.last_on = one.on;
            case.shown_by.clone_from(&one.by);
            case.urgent |= one.urgent;
            case.rests_on.extend(one.event);
            continue;
        }
        let case = Case {
            horse_id: member.horse_id,
            horse: member.name.clone(),
            illness: one.illness,
            name: one.illness.name().to_owned(),
            first_on: one.on,
            last_on: one.on,
            shown_by: one.by.clone(),
            rests_on: one.event.into_iter().collect(),
            contagious: watch.contagious,
            notifiable: watch.notifiable,
            urgent: one.urgent,
            contacts_since: since.unwrap_or(one.on),
        };
        open.insert(one.illness, case);
    }
    let still = |case: &Case| {
        let watch = rules.herd_health.watch(case.illness);
        watch.is_some_and(|watch| {
            on <= last_day(case.last_on, watch.watch_days.max(watch.free_days))
        })
    };
    open.into_values().filter(still).collect()
}

pub(super) fn last_day(from: NaiveDate, days: u32) -> NaiveDate {
    from.checked_add_days(Days::new(days.into()))
        .unwrap_or(from)
}
