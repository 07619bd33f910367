//! Transfers: a horse offered by its owner to whoever has an address.

use std::fmt;
use std::str::FromStr;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, HorseId, TransferId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::transfer;

/// How far a transfer has come. An offer that nobody answers in time stays an offer, past its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Waiting for the buyer.
    Offered,
    /// The horse is the buyer's.
    Accepted,
    /// The buyer said no.
    Declined,
    /// The owner took it back.
    Withdrawn,
}

impl State {
    const ALL: [Self; 4] = [
        Self::Offered,
        Self::Accepted,
        Self::Declined,
        Self::Withdrawn,
    ];

    const fn code(self) -> &'static str {
        match self {
            Self::Offered => "offered",
            Self::Accepted => "accepted",
            Self::Declined => "declined",
            Self::Withdrawn => "withdrawn",
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

impl FromStr for State {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let known = Self::ALL.into_iter().find(|state| state.code() == text);
        known.ok_or("no state of a transfer")
    }
}

/// A decision on an offer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decision {
    /// What was decided.
    pub state: State,
    /// When, in UTC.
    pub at: NaiveDateTime,
    /// The last event that the seller may see, of a sale.
    pub at_seq: Option<i64>,
}

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
    /// How far it has come.
    #[diesel(deserialize_as = Key<State>, serialize_as = Key<State>)]
    pub state: State,
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
    diesel::insert_into(transfer::table).values(row).run(db)?;
    Ok(())
}

/// One transfer.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: TransferId) -> Result<TransferRow, StoreError> {
    Ok(transfer::table.find(Key(id)).first_row(db)?)
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
        .all(db)?)
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
        .filter(transfer::state.eq(Key(State::Offered)))
        .filter(transfer::expires_at.gt(at))
        .first_row(db)
        .optional()?)
}

/// Decides an offer; `false` if it was decided before.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn decide(db: &mut Db, id: TransferId, decision: Decision) -> Result<bool, StoreError> {
    let changed = diesel::update(
        transfer::table
            .find(Key(id))
            .filter(transfer::state.eq(Key(State::Offered))),
    )
    .set((
        transfer::state.eq(Key(decision.state)),
        transfer::decided_at.eq(Some(decision.at)),
        transfer::at_seq.eq(decision.at_seq),
    ))
    .run(db)?;
    Ok(changed == 1)
}
