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
    let mut logs: HashMap<HorseId, (Vec<i64>, Vec<CareEvent>)> = HashMap::new();
    for row in events::of_kinds(db, &ids, &TELLING)? {
        if let Some(event) = ledger::care_event(&row) {
            let (places, log) = logs.entry(row.horse_id).or_default();
            places.push(row.seq);
            log.push(event);
        }
    }
    let views = horses.into_iter().map(|(row, access)| {
        let (places, log) = logs.remove(&row.id).unwrap_or_default();
        view(&row, &access, &places, &log)
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

/// One horse with what its log says of it, up to the last place that concerns the caller. `places` are those of `log`, in their order.
pub(crate) fn view(row: &HorseRow, access: &Access, places: &[i64], log: &[CareEvent]) -> Horse {
    let until = access.until_seq(row.head_seq);
    let told = places.partition_point(|seq| *seq <= until);
    let (places, log) = (&places[..told], &log[..told]);
    // A caution about handling is for everyone who may pick up a foot, whatever else they may see.
    let handling = profile::handling(log).map(|caution| Handling {
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
        profile: seen_profile(access, places, log),
        created_at: row.created_at.and_utc(),
    }
}

/// The profile from the events that the caller may see. Whoever may not see identity events is told by what to know
/// the horse in its box, and nothing else of it.
fn seen_profile(access: &Access, places: &[i64], log: &[CareEvent]) -> Profile {
    let told = profile::profile(log);
    if !access.is_limited() {
        return told;
    }
    // What amends or withdraws an event that is left out has no effect.
    let seen: Vec<CareEvent> = places
        .iter()
        .zip(log)
        .filter(|(seq, event)| event.target_id.is_some() || access.may_see(event.kind, **seq))
        .map(|(_, event)| event.clone())
        .collect();
    let mut profile = profile::profile(&seen);
    profile.name = told.name;
    profile.sex = told.sex;
    profile.foaled_on = told.foaled_on;
    profile.breed_type = told.breed_type;
    profile.colour = told.colour;
    profile.markings = told.markings;
    profile
}
