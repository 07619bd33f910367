//! Invitations: a role for whoever brings a one-time code.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId, HorseId, InvitationId};
use whorl_care::kind::Role;

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::kinds::Kinds;
use crate::schema::invitation;

/// One row of `invitation`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = invitation, treat_none_as_default_value = false)]
pub struct InvitationRow {
    /// The invitation.
    #[diesel(deserialize_as = Key<InvitationId>, serialize_as = Key<InvitationId>)]
    pub id: InvitationId,
    /// SHA-256 of the code.
    pub code_hash: Vec<u8>,
    /// The role that it gives.
    #[diesel(deserialize_as = Key<Role>, serialize_as = Key<Role>)]
    pub role: Role,
    /// One horse …
    pub horse_id: Option<Key<HorseId>>,
    /// … or all horses of a barn.
    pub barn_id: Option<Key<BarnId>>,
    /// From when the grant will be in force, in UTC.
    pub from_at: NaiveDateTime,
    /// Until when, in UTC.
    pub until_at: Option<NaiveDateTime>,
    /// The kinds that it is limited to.
    pub kinds: Option<Key<Kinds>>,
    /// Who invites.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub created_by: AccountId,
    /// When it was made, in UTC.
    pub created_at: NaiveDateTime,
    /// When the code ceases to work, in UTC.
    pub expires_at: NaiveDateTime,
    /// Who used it.
    pub accepted_by: Option<Key<AccountId>>,
    /// When, in UTC.
    pub accepted_at: Option<NaiveDateTime>,
    /// When it was withdrawn, in UTC.
    pub withdrawn_at: Option<NaiveDateTime>,
}

/// Adds an invitation.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: InvitationRow) -> Result<(), StoreError> {
    diesel::insert_into(invitation::table).values(row).run(db)?;
    Ok(())
}

/// One invitation.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: InvitationId) -> Result<InvitationRow, StoreError> {
    Ok(invitation::table.find(Key(id)).first_row(db)?)
}

/// The invitation with this code.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn by_code(db: &mut Db, code_hash: &[u8]) -> Result<InvitationRow, StoreError> {
    Ok(invitation::table
        .filter(invitation::code_hash.eq(code_hash.to_vec()))
        .first_row(db)?)
}

/// The invitations that somebody made, in the order of their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn made_by(db: &mut Db, account: AccountId) -> Result<Vec<InvitationRow>, StoreError> {
    Ok(invitation::table
        .filter(invitation::created_by.eq(Key(account)))
        .order(invitation::id)
        .all(db)?)
}

/// Uses an invitation up; `false` if it was used or withdrawn before.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn accept(
    db: &mut Db,
    id: InvitationId,
    by: AccountId,
    at: NaiveDateTime,
) -> Result<bool, StoreError> {
    let open = invitation::accepted_by
        .is_null()
        .and(invitation::withdrawn_at.is_null());
    let changed = diesel::update(invitation::table.find(Key(id)).filter(open))
        .set((
            invitation::accepted_by.eq(Some(Key(by))),
            invitation::accepted_at.eq(Some(at)),
        ))
        .run(db)?;
    Ok(changed == 1)
}

/// Withdraws an invitation; `false` if it was used or withdrawn before.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn withdraw(db: &mut Db, id: InvitationId, at: NaiveDateTime) -> Result<bool, StoreError> {
    let open = invitation::accepted_by
        .is_null()
        .and(invitation::withdrawn_at.is_null());
    let changed = diesel::update(invitation::table.find(Key(id)).filter(open))
        .set(invitation::withdrawn_at.eq(Some(at)))
        .run(db)?;
    Ok(changed == 1)
}

/// Withdraws every open invitation to one horse, as when it is sold.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn withdraw_on_horse(db: &mut Db, horse: HorseId, at: NaiveDateTime) -> Result<(), StoreError> {
    let open = invitation::accepted_by
        .is_null()
        .and(invitation::withdrawn_at.is_null());
    diesel::update(
        invitation::table
            .filter(invitation::horse_id.eq(Some(Key(horse))))
            .filter(open),
    )
    .set(invitation::withdrawn_at.eq(Some(at)))
    .run(db)?;
    Ok(())
}
