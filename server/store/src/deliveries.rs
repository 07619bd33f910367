//! What is to be sent to people, and how far that has come. Several servers may share the work.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, DeliveryId, NoticeId, WebhookId};

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, delivery};

/// One row of `delivery`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = delivery, treat_none_as_default_value = false)]
pub struct DeliveryRow {
    /// The delivery: the same at each attempt.
    #[diesel(deserialize_as = Key<DeliveryId>, serialize_as = Key<DeliveryId>)]
    pub id: DeliveryId,
    /// To whom.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// Which notice …
    #[diesel(deserialize_as = Key<NoticeId>, serialize_as = Key<NoticeId>)]
    pub notice_id: NoticeId,
    /// … in which of its states.
    pub version: i64,
    /// To this webhook; none for e-mail.
    pub webhook_id: Option<Key<WebhookId>>,
    /// When it was asked for, in UTC.
    pub created_at: NaiveDateTime,
    /// How often it was taken in hand.
    pub attempts: i64,
    /// When it may be taken in hand, in UTC; none once it has ended.
    pub next_at: Option<NaiveDateTime>,
    /// When it ended, in UTC.
    pub ended_at: Option<NaiveDateTime>,
    /// How.
    pub outcome: Option<Key<Outcome>>,
    /// What went wrong the last time; none while it is in hand.
    pub error: Option<String>,
}

/// How a delivery ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It was taken.
    Delivered,
    /// It was tried too often, or for too long.
    GivenUp,
    /// There was nothing to tell any more.
    Dropped,
}

impl std::fmt::Display for Outcome {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Delivered => "delivered",
            Self::GivenUp => "given_up",
            Self::Dropped => "dropped",
        })
    }
}

impl std::str::FromStr for Outcome {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let all = [Self::Delivered, Self::GivenUp, Self::Dropped];
        let known = all.into_iter().find(|one| one.to_string() == text);
        known.ok_or("no outcome of a delivery")
    }
}

/// By which ways this server sends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ways {
    /// By e-mail.
    pub email: bool,
    /// To webhooks.
    pub webhooks: bool,
}

/// Adds deliveries; those that are there already stay as they are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, rows: Vec<DeliveryRow>) -> Result<(), StoreError> {
    on_each!(db, |conn| {
        for row in rows {
            diesel::insert_into(delivery::table)
                .values(row)
                .on_conflict_do_nothing()
                .execute(conn)?;
        }
    });
    Ok(())
}

/// Whether anything may be taken in hand.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn is_any_due(db: &mut Db, ways: Ways, now: NaiveDateTime) -> Result<bool, StoreError> {
    let first: Option<String> = due(ways, now)
        .select(delivery::id)
        .first_row(db)
        .optional()?;
    Ok(first.is_some())
}

#[diesel::dsl::auto_type(no_type_alias)]
fn due(ways: Ways, now: NaiveDateTime) -> _ {
    let (email, webhooks): (bool, bool) = (ways.email, ways.webhooks);
    delivery::table.filter(delivery::next_at.le(now)).filter(
        delivery::webhook_id
            .is_null()
            .and(email.into_sql::<diesel::sql_types::Bool>())
            .or(delivery::webhook_id
                .is_not_null()
                .and(webhooks.into_sql::<diesel::sql_types::Bool>())),
    )
}

/// Takes what is due in hand, at most `limit`, until `until`: nobody else gets it before that, even if whoever has it dies.
/// To be run in a write.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn take(
    db: &mut Db,
    ways: Ways,
    now: NaiveDateTime,
    until: NaiveDateTime,
    limit: i64,
) -> Result<Vec<DeliveryRow>, StoreError> {
    let wanted = due(ways, now)
        .order(delivery::next_at)
        .limit(limit)
        .select(delivery::id);
    // Rows that another server is taking are passed over, and those that it took are due no more.
    let ids: Vec<String> = match db {
        Db::Postgres(conn) => wanted.for_update().skip_locked().load(conn)?,
        Db::Sqlite(conn) => wanted.load(conn)?,
    };
    let these = delivery::table.filter(delivery::id.eq_any(ids));
    diesel::update(these.clone())
        .set((
            delivery::attempts.eq(delivery::attempts + 1),
            delivery::next_at.eq(Some(until)),
            delivery::error.eq(None::<String>),
        ))
        .run(db)?;
    Ok(these.order(delivery::id).all(db)?)
}

/// What became of an attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Attempt {
    /// It ended so.
    Ended(Outcome, Option<String>),
    /// It failed, and may be tried again from then on, in UTC.
    Failed(NaiveDateTime, String),
}

/// Notes what became of an attempt, unless somebody else has taken it in hand since; whether it was noted.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn note(
    db: &mut Db,
    row: &DeliveryRow,
    attempt: Attempt,
    now: NaiveDateTime,
) -> Result<bool, StoreError> {
    let (next_at, ended_at, outcome, error) = match attempt {
        Attempt::Ended(outcome, error) => (None, Some(now), Some(Key(outcome)), error),
        Attempt::Failed(next_at, error) => (Some(next_at), None, None, Some(error)),
    };
    let ours = delivery::table
        .find(Key(row.id))
        .filter(delivery::attempts.eq(row.attempts))
        .filter(delivery::ended_at.is_null());
    let changed = diesel::update(ours)
        .set((
            delivery::next_at.eq(next_at),
            delivery::ended_at.eq(ended_at),
            delivery::outcome.eq(outcome),
            delivery::error.eq(error),
        ))
        .run(db)?;
    Ok(changed == 1)
}

/// Everything that was to be sent for a notice, in the order of its states.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_notice(db: &mut Db, notice: NoticeId) -> Result<Vec<DeliveryRow>, StoreError> {
    Ok(delivery::table
        .filter(delivery::notice_id.eq(Key(notice)))
        .order((delivery::version, delivery::id))
        .all(db)?)
}

/// Whether an earlier state of a notice may have reached its reader by the same way.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn may_have_told(db: &mut Db, row: &DeliveryRow) -> Result<bool, StoreError> {
    let all = of_notice(db, row.notice_id)?;
    Ok(all.iter().any(|one| {
        one.version < row.version
            && one.webhook_id == row.webhook_id
            && one.attempts > 0
            && one.outcome != Some(Key(Outcome::Dropped))
    }))
}

/// What was given up, the latest first, with the addresses of the people who were not told.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn given_up(db: &mut Db, limit: i64) -> Result<Vec<(DeliveryRow, String)>, StoreError> {
    Ok(delivery::table
        .inner_join(account::table.on(account::id.eq(delivery::account_id)))
        .filter(delivery::outcome.eq(Some(Key(Outcome::GivenUp))))
        .order((delivery::ended_at.desc(), delivery::id.desc()))
        .limit(limit)
        .select((delivery::all_columns, account::email))
        .all(db)?)
}

/// Forgets what ended before an instant; how many that were.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sweep(db: &mut Db, before: NaiveDateTime) -> Result<usize, StoreError> {
    Ok(diesel::delete(delivery::table.filter(delivery::ended_at.lt(before))).run(db)?)
}
