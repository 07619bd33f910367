//! Sessions: one sign-in on one device or in one browser, and how far its refresh tokens have turned.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, DeviceId, SessionId};

use crate::accounts::AccountRow;
use crate::connection::{Db, Statement};
use crate::devices::DeviceRow;
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, device, session};

/// One row of `session`.
#[derive(Clone, PartialEq, Queryable, Selectable, Insertable)]
#[diesel(table_name = session, treat_none_as_default_value = false)]
pub struct SessionRow {
    /// Identifies the session.
    #[diesel(deserialize_as = Key<SessionId>, serialize_as = Key<SessionId>)]
    pub id: SessionId,
    /// Whose it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// The device that it is bound to; a browser has none.
    pub device_id: Option<Key<DeviceId>>,
    /// When it began, in UTC.
    pub created_at: NaiveDateTime,
    /// When the password was last given, in UTC.
    pub authenticated_at: NaiveDateTime,
    /// When its tokens were last renewed, in UTC.
    pub last_used_at: NaiveDateTime,
    /// When it ends whatever happens, in UTC.
    pub ends_at: NaiveDateTime,
    /// The generation of the latest refresh token that was made.
    pub generation: i64,
    /// What its refresh tokens grow from, together with the server's secret.
    pub seed: Vec<u8>,
    /// When it was ended, in UTC.
    pub ended_at: Option<NaiveDateTime>,
    /// Why it was ended.
    pub ended_why: Option<String>,
}

impl std::fmt::Debug for SessionRow {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "SessionRow({}, {})", self.id, self.generation)
    }
}

/// A session with its account and its device.
#[derive(Clone, Debug)]
pub struct Seat {
    /// The session.
    pub session: SessionRow,
    /// Its account.
    pub account: AccountRow,
    /// Its device, if it has one.
    pub device: Option<DeviceRow>,
}

/// Begins a session.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: SessionRow) -> Result<(), StoreError> {
    diesel::insert_into(session::table).values(row).run(db)?;
    Ok(())
}

/// A session with its account and its device, whether or not it has ended.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn seat(db: &mut Db, id: SessionId) -> Result<Seat, StoreError> {
    let (session, account, device): (SessionRow, AccountRow, Option<DeviceRow>) = session::table
        .inner_join(account::table.on(account::id.eq(session::account_id)))
        .left_join(device::table.on(device::id.nullable().eq(session::device_id)))
        .filter(session::id.eq(Key(id)))
        .select((
            session::all_columns,
            account::all_columns,
            device::all_columns.nullable(),
        ))
        .first_row(db)?;
    Ok(Seat {
        session,
        account,
        device,
    })
}

/// The sessions of an account that were not ended and had not run out by `now`, the oldest first.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn open_of_account(
    db: &mut Db,
    account: AccountId,
    now: NaiveDateTime,
) -> Result<Vec<SessionRow>, StoreError> {
    Ok(session::table
        .filter(session::account_id.eq(Key(account)))
        .filter(session::ended_at.is_null())
        .filter(session::ends_at.gt(now))
        .order((session::created_at, session::id))
        .all(db)?)
}

/// Turns a session's refresh token on from `from` to the next generation; `false` if somebody was faster or the
/// session has ended.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn advance(
    db: &mut Db,
    id: SessionId,
    from: i64,
    now: NaiveDateTime,
) -> Result<bool, StoreError> {
    let changed = diesel::update(
        session::table
            .find(Key(id))
            .filter(session::generation.eq(from))
            .filter(session::ended_at.is_null()),
    )
    .set((
        session::generation.eq(from + 1),
        session::last_used_at.eq(now),
    ))
    .run(db)?;
    Ok(changed == 1)
}

/// Notes that a session's tokens were renewed.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn touch(db: &mut Db, id: SessionId, now: NaiveDateTime) -> Result<(), StoreError> {
    diesel::update(session::table.find(Key(id)))
        .set(session::last_used_at.eq(now))
        .run(db)?;
    Ok(())
}

/// Notes that the password was given once more.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn authenticated(db: &mut Db, id: SessionId, now: NaiveDateTime) -> Result<(), StoreError> {
    diesel::update(session::table.find(Key(id)))
        .set(session::authenticated_at.eq(now))
        .run(db)?;
    Ok(())
}

/// An end of sessions: when, and why.
#[derive(Clone, Copy, Debug, AsChangeset)]
#[diesel(table_name = session)]
pub struct End {
    /// When, in UTC.
    #[diesel(column_name = ended_at)]
    pub at: NaiveDateTime,
    /// Why, in a word.
    #[diesel(column_name = ended_why)]
    pub why: &'static str,
}

/// Ends a session of an account; one that has ended already keeps its end.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the account has no such session.
pub fn end(db: &mut Db, account: AccountId, id: SessionId, end: End) -> Result<(), StoreError> {
    let theirs = session::table
        .find(Key(id))
        .filter(session::account_id.eq(Key(account)));
    diesel::update(theirs.filter(session::ended_at.is_null()))
        .set(end)
        .run(db)?;
    theirs
        .select(session::id)
        .first_row::<Key<SessionId>>(db)
        .map(drop)
        .map_err(StoreError::from)
}

/// Ends the sessions of an account but for one; how many ended.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn end_others(
    db: &mut Db,
    account: AccountId,
    but: SessionId,
    end: End,
) -> Result<usize, StoreError> {
    Ok(diesel::update(
        session::table
            .filter(session::account_id.eq(Key(account)))
            .filter(session::id.ne(Key(but)))
            .filter(session::ended_at.is_null()),
    )
    .set(end)
    .run(db)?)
}

/// Ends every session of an account; how many ended.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn end_all(db: &mut Db, account: AccountId, end: End) -> Result<usize, StoreError> {
    Ok(diesel::update(
        session::table
            .filter(session::account_id.eq(Key(account)))
            .filter(session::ended_at.is_null()),
    )
    .set(end)
    .run(db)?)
}

/// Ends the sessions of a device; how many ended.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn end_of_device(db: &mut Db, device: DeviceId, end: End) -> Result<usize, StoreError> {
    Ok(diesel::update(
        session::table
            .filter(session::device_id.eq(Some(Key(device))))
            .filter(session::ended_at.is_null()),
    )
    .set(end)
    .run(db)?)
}

/// Deletes the sessions that ended or ran out before `before`; how many.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sweep(db: &mut Db, before: NaiveDateTime) -> Result<usize, StoreError> {
    Ok(diesel::delete(
        session::table.filter(
            session::ends_at
                .lt(before)
                .or(session::ended_at.lt(Some(before))),
        ),
    )
    .run(db)?)
}
