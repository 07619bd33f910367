//! Whether an ownership lasted: what was done by it ends with it for good, though the same person may own the horse again.

use chrono::{DateTime, NaiveDateTime, Utc};
use whorl_care::ids::AccountId;
use whorl_care::kind::Role;
use whorl_store::grants::{self, GrantRow};
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

/// When somebody first ceased to own a horse, from an instant on until now; none if they owned it all the while.
///
/// A sale is not looked for: it ends by itself what was done by an ownership.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn lapsed(
    db: &mut Db,
    account: AccountId,
    horse: &HorseRow,
    since: NaiveDateTime,
    now: DateTime<Utc>,
) -> Result<Option<NaiveDateTime>, StoreError> {
    let grants = grants::on_horse(db, account, horse.id, horse.barn_id, false)?;
    let mut ends: Vec<NaiveDateTime> = grants
        .iter()
        .filter(|grant| grant.role == Role::Owner && grant.horse_id.is_some())
        .filter_map(end)
        .filter(|end| since <= *end && *end <= now.naive_utc())
        .collect();
    ends.sort_unstable();
    for end in ends {
        if !super::then(db, account, horse, end.and_utc())?.is_owner() {
            return Ok(Some(end));
        }
    }
    Ok(None)
}

/// When a grant ended or ends.
fn end(grant: &GrantRow) -> Option<NaiveDateTime> {
    grant.until_at.into_iter().chain(grant.revoked_at).min()
}
