//! What the care engine says of horses, from those of their events that a visitor may see.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use whorl_care::figure::due::{self, BarnContext, Item, Programme};
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, HorseId};
use whorl_care::kind::Kind;
use whorl_care::rules::Rules;
use whorl_contract::horse::Horse;
use whorl_store::barns::BarnRow;
use whorl_store::events::{self, EventRow};
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::{access, herd, ledger};

/// What every part of the care engine goes by: who the horse is, and what its vet and farrier ordered.
const ALWAYS: [Kind; 3] = [Kind::Identity, Kind::Breeding, Kind::CarePlan];

/// The kinds that what is due rests on, by the first word of its code.
const DUE: [(&str, &[Kind]); 5] = [
    ("vaccination", &[Kind::Vaccination, Kind::AdverseReaction]),
    ("parasite", &[Kind::Deworming, Kind::EggCount]),
    ("hoof", &[Kind::HoofCare, Kind::HoofCheck]),
    ("dental", &[Kind::Dental]),
    ("weight", &[Kind::Weight]),
];

/// The kinds that a check for entry rests on.
pub(super) const ENTRY: [Kind; 4] = [
    Kind::Vaccination,
    Kind::LaboratoryTest,
    Kind::HealthCertificate,
    Kind::Identity,
];

/// A horse and what a visitor may see of its log.
#[derive(Debug)]
pub(super) struct Known {
    /// The horse, as the interface shows it.
    pub(super) horse: Horse,
    /// Its events as the care engine reads them, in the order of the log.
    pub(super) log: Vec<CareEvent>,
    access: Access,
}

impl Known {
    /// Whether every one of these kinds is open to the visitor.
    pub(super) fn sees(&self, kinds: &[Kind]) -> bool {
        let open = self.access.kinds();
        kinds.iter().all(|kind| open.contains(kind))
    }

    /// What is due, the most pressing first; of a horse that is no more the visitor's, nothing. What rests on kinds that
    /// are closed to them is left out: without these it would say that nothing was ever done.
    pub(super) fn due(&self, barn: Option<&BarnRow>, on: NaiveDate, rules: &Rules) -> Vec<Item> {
        if !self.access.is_in_force() || !self.sees(&ALWAYS) {
            return Vec::new();
        }
        let place = BarnContext {
            time_zone: barn.map(|barn| barn.time_zone.clone()),
            region: barn.and_then(|barn| barn.region.clone()),
        };
        let profile = &self.horse.profile;
        let programme = Programme::default();
        let mut items = due::items(profile, &self.log, on, &programme, &place, rules);
        items.retain(|item| {
            let domain = item.code.split('.').next().unwrap_or_default();
            let rests_on = DUE.iter().find(|(name, _)| *name == domain);
            // What isn't in the table rests on who knows what.
            rests_on.map_or(!self.access.is_limited(), |(_, kinds)| self.sees(kinds))
        });
        items
    }
}

/// Horses with their logs: two questions to the database, however many there are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(super) fn known(
    db: &mut Db,
    horses: Vec<(HorseRow, Access)>,
) -> Result<Vec<Known>, StoreError> {
    let ids: Vec<HorseId> = horses.iter().map(|(row, _)| row.id).collect();
    let views = herd::views(db, horses.clone())?;
    let mut logs: HashMap<HorseId, Vec<EventRow>> = HashMap::new();
    for row in events::of_kinds(db, &ids, Kind::ALL)? {
        logs.entry(row.horse_id).or_default().push(row);
    }
    let known = views.into_iter().zip(horses).map(|(horse, (row, access))| {
        let mut rows = logs.remove(&row.id).unwrap_or_default();
        let until = access.until_seq(row.head_seq);
        // What is said about an entry belongs to it: without the entry, it has no effect.
        rows.retain(|row| {
            row.seq <= until && (row.target_id.is_some() || access.may_see(row.kind, row.seq))
        });
        Known {
            horse,
            log: ledger::care_events(&rows),
            access,
        }
    });
    Ok(known.collect())
}

/// The day in a barn; by the world's clock where none is known.
pub(super) fn today(barn: Option<&BarnRow>, now: DateTime<Utc>) -> NaiveDate {
    let zone = barn.and_then(|barn| barn.time_zone.parse::<chrono_tz::Tz>().ok());
    zone.map_or_else(
        || now.date_naive(),
        |zone| now.with_timezone(&zone).date_naive(),
    )
}

/// The barn of a horse, if the visitor may know where it stands.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(super) fn barn_of(
    db: &mut Db,
    account: AccountId,
    known: &Known,
    now: DateTime<Utc>,
) -> Result<Option<BarnRow>, StoreError> {
    if !known.access.is_in_force() {
        return Ok(None);
    }
    match access::barn(db, account, known.horse.barn_id, now) {
        Err(StoreError::NotFound) => Ok(None),
        found => found.map(Some),
    }
}
