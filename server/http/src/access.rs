//! What somebody may see and record of a horse. Read from the grants at each request: a token says who, never what.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_store::barns::{self, BarnRow};
use whorl_store::grants::{self, GrantRow};
use whorl_store::horses::{self, HorseRow};
use whorl_store::{Db, StoreError};

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

    /// Whether the caller acts as its owner, without a limit to some kinds.
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

    /// Whether the event at this place, which is of this kind or about an event of this kind, may be seen. A seller sees
    /// everything up to the sale.
    pub(crate) fn may_see(&self, kind: Kind, seq: i64) -> bool {
        self.sight_until.is_some_and(|until| seq <= until)
            || self
                .standings
                .iter()
                .any(|one| covers(one.kinds.as_deref(), kind))
    }

    /// Whether some kinds may not be seen.
    pub(crate) fn is_limited(&self) -> bool {
        Kind::ALL.iter().any(|kind| !self.may_see(*kind, 1))
            || Kind::ALL.iter().any(|kind| !self.may_see(*kind, i64::MAX))
                && !self.standings.is_empty()
    }

    /// The kinds that may be seen wherever they stand in the log.
    pub(crate) fn kinds(&self) -> Vec<Kind> {
        let place = if self.standings.is_empty() {
            1
        } else {
            i64::MAX
        };
        Kind::ALL
            .iter()
            .copied()
            .filter(|kind| self.may_see(*kind, place))
            .collect()
    }

    /// Whether a grant in force lets the caller act in this role for this kind; what the policy then says is another matter.
    pub(crate) fn may_record(&self, role: Role, kind: Kind) -> bool {
        self.standings
            .iter()
            .any(|one| one.role == role && covers(one.kinds.as_deref(), kind))
    }

    /// The last event that may be seen, of a log with `head_seq` events.
    pub(crate) fn until_seq(&self, head_seq: i64) -> i64 {
        match self.sight_until {
            Some(until) if self.standings.is_empty() => until.min(head_seq),
            _ => head_seq,
        }
    }
}

/// Whether a limit to some kinds takes in this one.
fn covers(kinds: Option<&[Kind]>, kind: Kind) -> bool {
    kinds.is_none_or(|kinds| kinds.contains(&kind))
}

/// Whether a grant is in force at that instant.
fn in_force(grant: &GrantRow, at: NaiveDateTime) -> bool {
    grant.from_at <= at
        && grant.until_at.is_none_or(|until| at < until)
        && grant.revoked_at.is_none_or(|revoked| at < revoked)
}

fn standing(grant: &GrantRow) -> Standing {
    // A code that this build doesn't know limits to nothing it knows: less is seen, never more.
    let kinds = grant.kinds.as_ref().map(|list| {
        list.split(',')
            .filter_map(|code| code.parse().ok())
            .collect()
    });
    Standing {
        role: grant.role,
        kinds,
    }
}

/// The kinds of a grant as they are stored.
pub(crate) fn kinds_text(kinds: Option<&[Kind]>) -> Option<String> {
    kinds.map(|kinds| {
        kinds
            .iter()
            .map(|kind| kind.code())
            .collect::<Vec<_>>()
            .join(",")
    })
}

/// The kinds of a grant as they were stored.
pub(crate) fn kinds_of(text: Option<&str>) -> Option<Vec<Kind>> {
    text.map(|list| {
        list.split(',')
            .filter_map(|code| code.parse().ok())
            .collect()
    })
}

/// Puts together what follows from ownership, the barn, grants and a sale. Pure.
fn weigh(
    account: AccountId,
    horse: &HorseRow,
    barn_owner: Option<AccountId>,
    grants: &[GrantRow],
    sight_until: Option<i64>,
    at: NaiveDateTime,
) -> Access {
    let mut standings = Vec::new();
    if horse.owner_id == account {
        standings.push(Standing {
            role: Role::Owner,
            kinds: None,
        });
    } else if barn_owner == Some(account) {
        // Whoever runs the barn looks after the horses that board there; they are still somebody else's.
        standings.push(Standing {
            role: Role::BarnStaff,
            kinds: None,
        });
    }
    let (horse_id, barn_id) = (horse.id.to_string(), horse.barn_id.to_string());
    standings.extend(
        grants
            .iter()
            .filter(|grant| in_force(grant, at))
            .filter(|grant| {
                grant.horse_id.as_deref() == Some(&horse_id)
                    || grant.barn_id.as_deref() == Some(&barn_id)
            })
            .map(standing),
    );
    Access {
        standings,
        sight_until,
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
    ask(db, account, horse, at, false)
}

/// The same within a write: what it rests on can't be revoked before the write ends.
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
    ask(db, account, horse, at, true)
}

fn ask(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    at: DateTime<Utc>,
    held: bool,
) -> Result<Access, StoreError> {
    let barn = barns::get(db, horse.barn_id)?;
    let grants = grants::on_horse(db, account, horse.id, horse.barn_id, held)?;
    let sight = grants::sights(db, account)?
        .into_iter()
        .find(|(id, _)| *id == horse.id)
        .map(|(_, seq)| seq);
    Ok(weigh(
        account,
        horse,
        Some(barn.owner_id),
        &grants,
        sight,
        at.naive_utc(),
    ))
}

/// Whether a grant for this role and kind was in force at that instant, though it may have ended since.
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
    let grants = grants::on_horse(db, account, horse.id, horse.barn_id, false)?;
    Ok(weigh(account, horse, None, &grants, None, at.naive_utc()).may_record(role, kind))
}

/// Every horse that somebody may see, with what they may do, by the horse's id. Five questions to the database, however
/// many horses there are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn horses_visible(
    db: &mut Db,
    account: AccountId,
    at: DateTime<Utc>,
) -> Result<Vec<(HorseRow, Access)>, StoreError> {
    let now = at.naive_utc();
    let mut grants = grants::of_account(db, account)?;
    grants.retain(|grant| in_force(grant, now));
    let sights: HashMap<HorseId, i64> = grants::sights(db, account)?.into_iter().collect();
    let named: Vec<HorseId> = grants
        .iter()
        .filter_map(|grant| grant.horse_id.as_deref()?.parse().ok())
        .chain(sights.keys().copied())
        .collect();
    let own_barns = barns::owned_or_named(db, account, &[])?;
    let barns: Vec<BarnId> = grants
        .iter()
        .filter_map(|grant| grant.barn_id.as_deref()?.parse().ok())
        .chain(own_barns.iter().map(|barn| barn.id))
        .collect();
    let visible = horses::owned_named_or_in(db, account, &named, &barns)?;
    Ok(visible
        .into_iter()
        .map(|horse| {
            let barn_owner = own_barns
                .iter()
                .find(|barn| barn.id == horse.barn_id)
                .map(|barn| barn.owner_id);
            let access = weigh(
                account,
                &horse,
                barn_owner,
                &grants,
                sights.get(&horse.id).copied(),
                now,
            );
            (horse, access)
        })
        .filter(|(_, access)| access.is_anything())
        .collect())
}

/// The barns that somebody owns, holds a grant for, or has a horse in, by the barn's id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn barns_visible(
    db: &mut Db,
    account: AccountId,
    at: DateTime<Utc>,
) -> Result<Vec<BarnRow>, StoreError> {
    let now = at.naive_utc();
    let granted = grants::of_account(db, account)?;
    let mut named: Vec<BarnId> = granted
        .iter()
        .filter(|grant| in_force(grant, now))
        .filter_map(|grant| grant.barn_id.as_deref()?.parse().ok())
        .collect();
    // Where a horse stands is part of what its owner and its farrier must know.
    let horses = horses_visible(db, account, at)?;
    named.extend(
        horses
            .iter()
            .filter(|(_, access)| !access.roles().is_empty())
            .map(|(horse, _)| horse.barn_id),
    );
    barns::owned_or_named(db, account, &named)
}
