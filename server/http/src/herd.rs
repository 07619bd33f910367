//! Horses for people: what their logs say of them, as far as each caller may know it.

use std::collections::HashMap;

use whorl_care::horse::{CareEvent, Horse as Profile};
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_care::profile;
use whorl_contract::horse::{Handling, Horse};
use whorl_store::events;
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::ledger;

/// The kinds that a profile and the handling caution are computed from.
const TELLING: [Kind; 6] = [
    Kind::Identity,
    Kind::HoofCare,
    Kind::Weight,
    Kind::Breeding,
    Kind::Amendment,
    Kind::Retraction,
];

/// Horses with what their logs say of them: one question to the database for all.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn views(
    db: &mut Db,
    horses: Vec<(HorseRow, Access)>,
) -> Result<Vec<Horse>, StoreError> {
    let ids: Vec<HorseId> = horses.iter().map(|(row, _)| row.id).collect();
    let mut logs: HashMap<HorseId, Vec<(i64, CareEvent)>> = HashMap::new();
    for row in events::of_kinds(db, &ids, &TELLING)? {
        if let Some(event) = ledger::care_event(&row) {
            logs.entry(row.horse_id).or_default().push((row.seq, event));
        }
    }
    let views = horses.into_iter().map(|(row, access)| {
        let log = logs.remove(&row.id).unwrap_or_default();
        view(&row, &access, log)
    });
    Ok(views.collect())
}

/// One horse with what its log says of it.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn one(db: &mut Db, row: HorseRow, access: Access) -> Result<Horse, StoreError> {
    views(db, vec![(row, access)])?
        .pop()
        .ok_or(StoreError::NotFound)
}

/// One horse with what its log says of it, up to the last place that concerns the caller.
pub(crate) fn view(row: &HorseRow, access: &Access, log: Vec<(i64, CareEvent)>) -> Horse {
    let until = access.until_seq(row.head_seq);
    let log: Vec<(i64, CareEvent)> = log.into_iter().filter(|(seq, _)| *seq <= until).collect();
    let whole: Vec<CareEvent> = log.iter().map(|(_, event)| event.clone()).collect();
    // A caution about handling is for everyone who may pick up a foot, whatever else they may see.
    let handling = profile::handling(&whole).map(|caution| Handling {
        text: caution.text,
        on: caution.on,
    });
    Horse {
        id: row.id,
        barn_id: row.barn_id,
        owner_id: row.owner_id,
        roles: access.roles(),
        kinds: access.kinds(),
        seq: until,
        handling,
        profile: seen_profile(access, log, &whole),
        created_at: row.created_at.and_utc(),
    }
}

/// The profile from the events that the caller may see. Whoever may not see identity events is told by what to know
/// the horse in its box, and nothing else of it.
fn seen_profile(access: &Access, log: Vec<(i64, CareEvent)>, whole: &[CareEvent]) -> Profile {
    if !access.is_limited() {
        return profile::profile(whole);
    }
    // What amends or withdraws an event that is left out has no effect.
    let seen: Vec<CareEvent> = log
        .into_iter()
        .filter(|(seq, event)| event.target_id.is_some() || access.may_see(event.kind, *seq))
        .map(|(_, event)| event)
        .collect();
    let told = profile::profile(whole);
    let mut profile = profile::profile(&seen);
    profile.name = told.name;
    profile.sex = told.sex;
    profile.foaled_on = told.foaled_on;
    profile.breed_type = told.breed_type;
    profile.colour = told.colour;
    profile.markings = told.markings;
    profile
}
