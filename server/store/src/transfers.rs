//! Transfers: a horse offered by its owner to whoever has an address.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, HorseId, TransferId};

use crate::connection::Db;
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::transfer;

/// One row of `transfer`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = transfer, treat_none_as_default_value = false)]
pub struct TransferRow {
    /// The transfer.
    #[diesel(deserialize_as = Key<TransferId>, serialize_as = Key<TransferId>)]
    pub id: TransferId,
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// The seller.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub from_account: AccountId,
    /// The buyer's address, in lower case. Whether an account has it is not told to the seller.
    pub to_email: String,
    /// How far it has come: `offered`, `accepted`, `declined` or `withdrawn`.
    pub state: String,
    /// When it was offered, in UTC.
    pub offered_at: NaiveDateTime,
    /// When the offer lapses, in UTC.
    pub expires_at: NaiveDateTime,
    /// When it was decided, in UTC.
    pub decided_at: Option<NaiveDateTime>,
    /// The last event that the seller may see.
    pub at_seq: Option<i64>,
}

/// Adds a transfer.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: TransferRow) -> Result<(), StoreError> {
    diesel::insert_into(transfer::table)
        .values(row)
        .execute(db)?;
    Ok(())
}

/// One transfer.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: TransferId) -> Result<TransferRow, StoreError> {
    Ok(transfer::table.find(Key(id)).first(db)?)
}

/// The transfers that somebody offered or that were offered to their address, in the order of their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of(db: &mut Db, account: AccountId, email: &str) -> Result<Vec<TransferRow>, StoreError> {
    Ok(transfer::table
        .filter(
            transfer::from_account
                .eq(Key(account))
                .or(transfer::to_email.eq(email)),
        )
        .order(transfer::id)
        .load(db)?)
}

/// The offer that is open on a horse, if there is one.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn open_on(
    db: &mut Db,
    horse: HorseId,
    at: NaiveDateTime,
) -> Result<Option<TransferRow>, StoreError> {
    Ok(transfer::table
        .filter(transfer::horse_id.eq(Key(horse)))
        .filter(transfer::state.eq("offered"))
        .filter(transfer::expires_at.gt(at))
        .first(db)
        .optional()?)
}

/// Decides an offer; `false` if it was decided before.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn decide(
    db: &mut Db,
    id: TransferId,
    state: &str,
    at: NaiveDateTime,
    at_seq: Option<i64>,
) -> Result<bool, StoreError> {
    let changed = diesel::update(
        transfer::table
            .find(Key(id))
            .filter(transfer::state.eq("offered")),
    )
    .set((
        transfer::state.eq(state),
        transfer::decided_at.eq(Some(at)),
        transfer::at_seq.eq(at_seq),
    ))
    .execute(db)?;
    Ok(changed == 1)
}
