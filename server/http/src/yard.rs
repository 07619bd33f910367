//! What the records of all horses of a barn say together, for one caller.

use std::collections::HashMap;

use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use whorl_care::contacts::{self, Stay, health_watch};
use whorl_care::efficacy::{self, efficacy, since};
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::kind::Kind;
use whorl_care::rules::Rules;
use whorl_contract::yard::{BarnEfficacy, BarnHealth, BarnScope};
use whorl_store::barns::BarnRow;
use whorl_store::horses::{self, HorseRow, TenureRow};
use whorl_store::{Db, StoreError};

use crate::access::{self, Access};
use crate::herd;
use crate::sight::{self, Gaps, Seen};

/// When it is in a barn, by the wall clock there.
fn local(barn: &BarnRow, now: DateTime<Utc>) -> DateTime<FixedOffset> {
    barn.time_zone.parse::<chrono_tz::Tz>().map_or_else(
        |_| now.fixed_offset(),
        |zone| now.with_timezone(&zone).fixed_offset(),
    )
}

/// Horses with their events, names and stays.
struct Herd {
    seen: Vec<Seen>,
    names: HashMap<HorseId, Option<String>>,
    tenures: HashMap<HorseId, Vec<TenureRow>>,
}

impl Herd {
    fn of(
        db: &mut Db,
        horses: Vec<(HorseRow, Access)>,
        kinds: &[Kind],
    ) -> Result<Self, StoreError> {
        let ids: Vec<HorseId> = horses.iter().map(|(horse, _)| horse.id).collect();
        let mut tenures: HashMap<HorseId, Vec<TenureRow>> = HashMap::new();
        for row in horses::tenures(db, &ids)? {
            tenures.entry(row.horse_id).or_default().push(row);
        }
        let names = herd::views(db, horses.clone())?
            .into_iter()
            .map(|horse| (horse.id, horse.profile.name))
            .collect();
        Ok(Self {
            seen: sight::of_kinds(db, horses, kinds)?,
            names,
            tenures,
        })
    }

    fn name(&self, horse: HorseId) -> Option<String> {
        self.names.get(&horse).cloned().flatten()
    }

    fn tenures(&self, horse: HorseId) -> &[TenureRow] {
        self.tenures.get(&horse).map_or(&[], Vec::as_slice)
    }
}

/// Of how much of a barn an answer can speak.
fn scope(
    db: &mut Db,
    horses: &[(HorseRow, Access)],
    barn: BarnId,
    kinds: &[Kind],
) -> Result<BarnScope, StoreError> {
    let gaps = Gaps::find(db, kinds)?;
    let here = horses.iter().filter(|(horse, _)| horse.barn_id == barn);
    let partly = here.clone().filter(|one| gaps.concern(one));
    Ok(BarnScope::of(here.count(), partly.count()))
}

/// Horses that a caller has a say on now.
fn in_force(
    db: &mut Db,
    account: AccountId,
    now: DateTime<Utc>,
) -> Result<Vec<(HorseRow, Access)>, StoreError> {
    let mut horses = access::horses_visible(db, account, now)?;
    horses.retain(|(_, access)| access.is_in_force());
    Ok(horses)
}

/// Whether dewormers still work in a barn.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the barn is not there, or not for the caller to know of.
pub(crate) fn of_worms(
    db: &mut Db,
    account: AccountId,
    barn: BarnId,
    (now, rules): (DateTime<Utc>, &Rules),
) -> Result<BarnEfficacy, StoreError> {
    let row = access::barn(db, account, barn, now)?;
    let on = local(&row, now).date_naive();
    let mut horses = in_force(db, account, now)?;
    horses.retain(|(horse, _)| horse.barn_id == barn);
    let scope = scope(db, &horses, barn, &efficacy::KINDS)?;
    let herd = Herd::of(db, horses, &efficacy::KINDS)?;
    let members: Vec<efficacy::Member> = herd
        .seen
        .iter()
        .map(|seen| {
            let moves: Vec<(NaiveDate, bool)> = herd
                .tenures(seen.horse.id)
                .iter()
                .map(|row| (row.from_at.date(), row.barn_id == barn))
                .collect();
            efficacy::Member {
                horse_id: seen.horse.id,
                name: herd.name(seen.horse.id),
                since: since(&moves),
                events: seen.care_events(),
            }
        })
        .collect();
    Ok(BarnEfficacy {
        barn_id: barn,
        on,
        scope,
        efficacy: efficacy(&members, on, rules),
    })
}

/// Fevers and contagious diseases in a barn, contacts, and who is watched.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the barn is not there, or not for the caller to know of.
pub(crate) fn of_health(
    db: &mut Db,
    account: AccountId,
    barn: BarnId,
    (now, rules): (DateTime<Utc>, &Rules),
) -> Result<BarnHealth, StoreError> {
    let row = access::barn(db, account, barn, now)?;
    let at = local(&row, now);
    // A horse that has left may have brought it: all that the caller may see are read, those of the barn are shown.
    let horses = in_force(db, account, now)?;
    let scope = scope(db, &horses, barn, &contacts::KINDS)?;
    let herd = Herd::of(db, horses, &contacts::KINDS)?;
    let members: Vec<contacts::Member> = herd
        .seen
        .iter()
        .map(|seen| contacts::Member {
            horse_id: seen.horse.id,
            name: herd.name(seen.horse.id),
            stays: herd
                .tenures(seen.horse.id)
                .iter()
                .map(|row| Stay {
                    from: row.from_at.date(),
                    barn: row.barn_id,
                })
                .collect(),
            events: seen.care_events(),
        })
        .collect();
    let stands_here = |horse: HorseId| {
        let mut stays = herd.seen.iter().map(|seen| &seen.horse);
        stays.any(|row| row.id == horse && row.barn_id == barn)
    };
    let watch = health_watch(&members, at, rules).of(stands_here);
    Ok(BarnHealth {
        barn_id: barn,
        on: at.date_naive(),
        scope,
        watch,
    })
}
