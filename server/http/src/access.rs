//! What somebody may see and record of a horse. Read from the grants at each request: a token says who, never what.

mod lapse;
#[cfg(test)]
mod tests;
mod weigh;

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_store::barns::{self, BarnRow};
use whorl_store::grants::{self, GrantRow};
use whorl_store::horses::{self, HorseRow};
use whorl_store::{Db, StoreError};

use crate::problem::Problem;
pub(crate) use lapse::lapsed;
pub(crate) use weigh::in_force;
use weigh::{Bearing, Ties, weigh};

/// A role in force, for all kinds or for some.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Standing {
    role: Role,
    kinds: Option<Vec<Kind>>,
}

/// What one account may do with one horse at one instant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Access {
    standings: Vec<Standing>,
    sight_until: Option<i64>,
}

impl Access {
    /// Whether there is anything at all; else the horse is not there for this caller.
    pub(crate) fn is_anything(&self) -> bool {
        !self.standings.is_empty() || self.sight_until.is_some()
    }

    /// Whether the caller has a say now, and not only the sight of a horse that was theirs.
    pub(crate) fn is_in_force(&self) -> bool {
        !self.standings.is_empty()
    }

    /// Whether the caller acts as an owner, without a limit to some kinds.
    pub(crate) fn is_owner(&self) -> bool {
        self.standings
            .iter()
            .any(|one| one.role == Role::Owner && one.kinds.is_none())
    }

    /// The roles in force, each once.
    pub(crate) fn roles(&self) -> Vec<Role> {
        let mut roles: Vec<Role> = self.standings.iter().map(|one| one.role).collect();
        roles.sort_unstable();
        roles.dedup();
        roles
    }

    /// Whether the event at this place, which is of this kind or about an event of this kind, may be seen. A seller
    /// sees everything up to the sale.
    pub(crate) fn may_see(&self, kind: Kind, seq: i64) -> bool {
        self.sight_until.is_some_and(|until| seq <= until)
            || self.standings.iter().any(|one| one.covers(kind))
    }

    /// Whether some events up to [`Access::until_seq`] may not be seen.
    pub(crate) fn is_limited(&self) -> bool {
        self.is_in_force() && self.standings.iter().all(|one| one.kinds.is_some())
    }

    /// The kinds that may be seen wherever they stand in the log, up to [`Access::until_seq`].
    pub(crate) fn kinds(&self) -> Vec<Kind> {
        let all = Kind::ALL.iter().copied();
        all.filter(|kind| !self.is_limited() || self.may_see(*kind, i64::MAX))
            .collect()
    }

    /// Whether a grant in force lets the caller act in this role for this kind; what the policy then says is another
    /// matter.
    pub(crate) fn may_record(&self, role: Role, kind: Kind) -> bool {
        self.standings
            .iter()
            .any(|one| one.role == role && one.covers(kind))
    }

    /// The last event that may be seen, of a log with `head_seq` events.
    pub(crate) fn until_seq(&self, head_seq: i64) -> i64 {
        match self.sight_until {
            Some(until) if !self.is_in_force() => until.min(head_seq),
            _ => head_seq,
        }
    }
}

impl Standing {
    fn covers(&self, kind: Kind) -> bool {
        self.kinds
            .as_ref()
            .is_none_or(|kinds| kinds.contains(&kind))
    }
}

/// What somebody may do with a horse now.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn of_horse(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    at: DateTime<Utc>,
) -> Result<Access, StoreError> {
    ask(db, account, horse, at, Sight::Now)
}

/// The same within a write that holds the horse's lock: what it rests on can't be revoked before the write ends.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn of_horse_for_write(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    at: DateTime<Utc>,
) -> Result<Access, StoreError> {
    ask(db, account, horse, at, Sight::NowAndHeld)
}

/// How the grants are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sight {
    /// As they stand.
    Now,
    /// As they stand, and nobody can end one before the write ends.
    NowAndHeld,
    /// As they stood at some instant.
    Then,
}

fn ask(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    at: DateTime<Utc>,
    sight: Sight,
) -> Result<Access, StoreError> {
    let held = sight == Sight::NowAndHeld;
    let mut grants = grants::on_horse(db, account, horse.id, horse.barn_id, held)?;
    let mut exemptions = grants::exemptions_of(db, horse.id)?;
    let at = at.naive_utc();
    if sight != Sight::Then {
        // A request that waited for a lock carries an instant from before a revocation that is committed by now.
        grants.retain(|grant| grant.revoked_at.is_none());
        for exemption in &mut exemptions {
            exemption.from_at = exemption.from_at.min(at);
        }
    }
    let bearing = Bearing {
        account,
        grants: &grants,
        exemptions: &exemptions,
        at,
    };
    let ties = Ties {
        horse: horse.id,
        owner: horse.owner_id,
        barn: horse.barn_id,
        barn_owner: barn_owner(db, account, horse.owner_id, horse.barn_id)?,
    };
    Ok(Access {
        standings: weigh(&bearing, &ties),
        sight_until: grants::sight_of(db, account, horse.id)?,
    })
}

/// Who runs the barn, where that matters: an owner has more than it would give.
fn barn_owner(
    db: &mut Db,
    account: AccountId,
    owner: AccountId,
    barn: BarnId,
) -> Result<Option<AccountId>, StoreError> {
    if owner == account {
        return Ok(None);
    }
    Ok(Some(barns::get(db, barn)?.owner_id))
}

/// Whether somebody might have recorded this kind in this role at that instant, though what allowed it may have ended
/// since: by whose the horse was then, where it stood then, and the grants in force then.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn covered_at(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    role: Role,
    kind: Kind,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    Ok(then(db, account, horse, at)?.may_record(role, kind))
}

/// What somebody might do with a horse at an instant, by whose it was then, where it stood then, and the grants in force
/// then; nothing before its log was opened.
fn then(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    at: DateTime<Utc>,
) -> Result<Access, StoreError> {
    let Some(then) = horses::tenure_at(db, horse.id, at.naive_utc())? else {
        return Ok(Access::default());
    };
    let horse = HorseRow {
        owner_id: then.owner_id,
        barn_id: then.barn_id,
        ..horse.clone()
    };
    ask(db, account, &horse, at, Sight::Then)
}

/// Whoever owns these horses or holds a grant that covers them, with what they may do now, by horse. A few questions to the
/// database, however many horses and people there are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn answerable(
    db: &mut Db,
    horses: &[HorseRow],
    at: DateTime<Utc>,
) -> Result<HashMap<HorseId, Vec<(AccountId, Access)>>, StoreError> {
    let at = at.naive_utc();
    let ids: Vec<HorseId> = horses.iter().map(|horse| horse.id).collect();
    let barns: Vec<BarnId> = horses.iter().map(|horse| horse.barn_id).collect();
    let mut grants: Vec<GrantRow> = grants::covering(db, &ids, &barns)?
        .into_iter()
        .map(|(grant, _)| grant)
        .collect();
    // As in `ask`: what is revoked by now is over, whenever the request came.
    grants.retain(|grant| grant.revoked_at.is_none() && in_force(grant, at));
    let exemptions = grants::exemptions_among(db, &ids)?;
    let people: BTreeSet<AccountId> = horses
        .iter()
        .map(|horse| horse.owner_id)
        .chain(grants.iter().map(|grant| grant.account_id))
        .collect();
    let of_horse = |horse: &HorseRow| {
        let each = people.iter().map(|account| {
            let bearing = Bearing {
                account: *account,
                grants: &grants,
                exemptions: &exemptions,
                at,
            };
            let ties = Ties {
                horse: horse.id,
                owner: horse.owner_id,
                barn: horse.barn_id,
                barn_owner: None,
            };
            let access = Access {
                standings: weigh(&bearing, &ties),
                sight_until: None,
            };
            (*account, access)
        });
        (
            horse.id,
            each.filter(|(_, access)| access.is_in_force()).collect(),
        )
    };
    Ok(horses.iter().map(of_horse).collect())
}

/// Every horse that somebody may see, with what they may do, by the horse's id. A handful of questions to the database,
/// however many horses there are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn horses_visible(
    db: &mut Db,
    account: AccountId,
    at: DateTime<Utc>,
) -> Result<Vec<(HorseRow, Access)>, StoreError> {
    let at = at.naive_utc();
    let mut grants = grants::of_account(db, account)?;
    // As in `ask`: what is revoked by now is over, whenever the request came.
    grants.retain(|grant| grant.revoked_at.is_none() && in_force(grant, at));
    let sights: HashMap<HorseId, i64> = grants::sights(db, account)?.into_iter().collect();
    let own_barns: Vec<BarnId> = barns::owned_or_named(db, account, &[])?
        .into_iter()
        .map(|barn| barn.id)
        .collect();
    let named: Vec<HorseId> = grants
        .iter()
        .filter_map(|grant| grant.horse_id.as_ref().map(|id| id.0))
        .chain(sights.keys().copied())
        .collect();
    let barns: Vec<BarnId> = grants
        .iter()
        .filter_map(|grant| grant.barn_id.as_ref().map(|id| id.0))
        .chain(own_barns.iter().copied())
        .collect();
    let of_barns: Vec<GrantId> = grants
        .iter()
        .filter(|grant| grant.barn_id.is_some())
        .map(|grant| grant.id)
        .collect();
    let bearing = Bearing {
        account,
        grants: &grants,
        exemptions: &grants::exemptions_from(db, &of_barns)?,
        at,
    };
    let visible = horses::owned_named_or_in(db, account, &named, &barns)?;
    Ok(visible
        .into_iter()
        .map(|horse| {
            let ties = Ties {
                horse: horse.id,
                owner: horse.owner_id,
                barn: horse.barn_id,
                barn_owner: own_barns.contains(&horse.barn_id).then_some(account),
            };
            let access = Access {
                standings: weigh(&bearing, &ties),
                sight_until: sights.get(&horse.id).copied(),
            };
            (horse, access)
        })
        .filter(|(_, access)| access.is_anything())
        .collect())
}

/// The barns that somebody owns, holds a grant for, or has to do with a horse of, by the barn's id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn barns_visible(
    db: &mut Db,
    account: AccountId,
    at: DateTime<Utc>,
) -> Result<Vec<BarnRow>, StoreError> {
    let horses = horses_visible(db, account, at)?;
    // Where a horse stands is part of what its owner and its farrier must know; a former owner need not.
    let mut named: Vec<BarnId> = horses
        .iter()
        .filter(|(_, access)| access.is_in_force())
        .map(|(horse, _)| horse.barn_id)
        .collect();
    named.extend(barns_granted(db, account, at)?);
    barns::owned_or_named(db, account, &named)
}

/// One barn, if somebody has to do with it.
///
/// # Errors
///
/// [`StoreError::NotFound`] if it is not there, or not for them to know of.
pub(crate) fn barn(
    db: &mut Db,
    account: AccountId,
    id: BarnId,
    at: DateTime<Utc>,
) -> Result<BarnRow, StoreError> {
    let row = barns::get(db, id)?;
    if row.owner_id == account || barns_granted(db, account, at)?.contains(&id) {
        return Ok(row);
    }
    let horses = horses_visible(db, account, at)?;
    horses
        .iter()
        .any(|(horse, access)| access.is_in_force() && horse.barn_id == id)
        .then_some(row)
        .ok_or(StoreError::NotFound)
}

/// One horse and what somebody may do with it, if there is anything.
///
/// # Errors
///
/// [`StoreError::NotFound`] if it is not there, or not for them to know of.
pub(crate) fn horse(
    db: &mut Db,
    account: AccountId,
    id: HorseId,
    at: DateTime<Utc>,
) -> Result<(HorseRow, Access), StoreError> {
    let row = horses::get(db, id)?;
    let access = of_horse(db, account, &row, at)?;
    access
        .is_anything()
        .then_some((row, access))
        .ok_or(StoreError::NotFound)
}

/// The same within a write, under the horse's lock.
///
/// # Errors
///
/// [`StoreError::NotFound`] if it is not there, or not for them to know of.
pub(crate) fn horse_for_write(
    db: &mut Db,
    account: AccountId,
    id: HorseId,
    at: DateTime<Utc>,
) -> Result<(HorseRow, Access), StoreError> {
    let row = horses::lock(db, &[id])?.pop().ok_or(StoreError::NotFound)?;
    let access = of_horse_for_write(db, account, &row, at)?;
    access
        .is_anything()
        .then_some((row, access))
        .ok_or(StoreError::NotFound)
}

/// Checks that somebody may let a horse of theirs stand in a barn: it is their own, or they hold a grant for all of it.
///
/// # Errors
///
/// A problem that points to `barn_id`; it is the same whether the barn is not there or not for them.
pub(crate) fn check_may_keep_in(
    db: &mut Db,
    account: AccountId,
    barn: BarnId,
    at: DateTime<Utc>,
) -> Result<(), Problem> {
    let own = match barns::get(db, barn) {
        Ok(row) => row.owner_id == account,
        Err(StoreError::NotFound) => false,
        Err(error) => return Err(error.into()),
    };
    if own || barns_granted(db, account, at)?.contains(&barn) {
        return Ok(());
    }
    Err(Problem::invalid(
        "/barn_id",
        "no barn of yours, and none that you hold a grant for, has this id",
    ))
}

/// The barns for all of which somebody holds a grant in force.
fn barns_granted(
    db: &mut Db,
    account: AccountId,
    at: DateTime<Utc>,
) -> Result<Vec<BarnId>, StoreError> {
    Ok(grants::of_account(db, account)?
        .into_iter()
        .filter(|grant| in_force(grant, at.naive_utc()))
        .filter_map(|grant| grant.barn_id.map(|id| id.0))
        .collect())
}
