//! What the care engine says of horses, from those of their events that a visitor may see.

use chrono::{DateTime, NaiveDate, Utc};
use whorl_care::figure::due::{self, BarnContext, Item, Programme};
use whorl_care::horse::CareEvent;
use whorl_care::ids::AccountId;
use whorl_care::kind::Kind;
use whorl_care::rules::Rules;
use whorl_contract::horse::Horse;
use whorl_store::barns::BarnRow;
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::{access, herd, sight};

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
        sight::sees_all(&self.access, kinds)
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
    let views = herd::views(db, horses.clone())?;
    let seen = sight::of_kinds(db, horses, Kind::ALL)?;
    Ok(views
        .into_iter()
        .zip(seen)
        .map(|(horse, seen)| Known {
            horse,
            log: seen.care_events(),
            access: seen.access,
        })
        .collect())
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
