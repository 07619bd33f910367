//! A horse changes hands: all that follows, at once and under the horse's lock.

use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, BarnId, TransferId};
use whorl_care::kind::Role;
use whorl_store::horses::{self, TenureRow};
use whorl_store::transfers::{self, Decision, State, TransferRow};
use whorl_store::{Db, StoreError, grants, invitations, shares};

use crate::access;
use crate::problem::{Kind, Problem};

/// Who gets the horse, and where it will stand.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Buyer {
    /// The buyer.
    pub(crate) account: AccountId,
    /// A barn of theirs, or one that they hold a grant for.
    pub(crate) barn: BarnId,
}

/// Completes an open offer. To be run in one write of the store.
///
/// The lock gives the sale an exact place in the log: what was appended before it the seller may still read, what comes
/// after it needs a grant of the new owner's.
///
/// # Errors
///
/// A problem if the offer was answered or the horse sold meanwhile, or if the barn isn't one for the buyer.
pub(crate) fn complete(
    db: &mut Db,
    offer: &TransferRow,
    buyer: Buyer,
    now: DateTime<Utc>,
) -> Result<(), Problem> {
    access::check_may_keep_in(db, buyer.account, buyer.barn, now)?;
    let horse = horses::lock(db, &[offer.horse_id])?
        .pop()
        .ok_or(StoreError::NotFound)?;
    if horse.owner_id != offer.from_account {
        return Err(Problem::new(
            Kind::Gone,
            "whoever offered the horse owns it no more",
        ));
    }
    let at = now.naive_utc();
    let decision = Decision {
        state: State::Accepted,
        at,
        at_seq: Some(horse.head_seq),
    };
    decide(db, offer.id, decision)?;
    // Co-owners sell too, and keep what they could see.
    let mut sellers = vec![horse.owner_id];
    for (grant, _) in grants::covering(db, &[horse.id], &[])? {
        if grant.role == Role::Owner && access::in_force(&grant, at) {
            sellers.push(grant.account_id);
        }
    }
    for seller in sellers {
        if seller != buyer.account {
            grants::leave_sight(db, seller, horse.id, horse.head_seq)?;
        }
    }
    grants::revoke_on_horse(db, horse.id, buyer.account, at)?;
    grants::lift_exemptions(db, horse.id)?;
    invitations::withdraw_on_horse(db, horse.id, at)?;
    shares::revoke_on_horse(db, horse.id, at)?;
    let tenure = TenureRow {
        horse_id: horse.id,
        from_at: at,
        owner_id: buyer.account,
        barn_id: buyer.barn,
    };
    Ok(horses::settle(db, tenure)?)
}

/// Decides an open offer.
///
/// # Errors
///
/// A conflict if somebody was faster.
pub(crate) fn decide(db: &mut Db, id: TransferId, decision: Decision) -> Result<(), Problem> {
    if transfers::decide(db, id, decision)? {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Conflict,
        "the offer was answered or withdrawn meanwhile",
    ))
}
