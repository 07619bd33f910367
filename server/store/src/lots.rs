//! Where in the logs a lot is named: kept beside the log in the transaction that appends to it.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_care::recall::{KINDS, LotKey};

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::events::EventRow;
use crate::key::Key;
use crate::schema::{event, lot, projection};

/// The name under which it is noted that this table has caught up.
const NAME: &str = "lot";
/// How many events are read at a time while it catches up.
const STEP: i64 = 1_000;

/// One row of `lot`.
#[derive(Clone, Debug, PartialEq, Eq, Insertable)]
#[diesel(table_name = lot, treat_none_as_default_value = false)]
struct LotRow {
    #[diesel(serialize_as = Key<HorseId>)]
    horse_id: HorseId,
    seq: i64,
    lot_key: String,
}

/// The row of an event, if its details, or those that it puts in place of another's, name a lot.
fn row(event: &EventRow) -> Option<LotRow> {
    Some(LotRow {
        horse_id: event.horse_id,
        seq: event.seq,
        lot_key: LotKey::in_content(event.kind, event.content.as_deref()?)?
            .as_str()
            .to_owned(),
    })
}

/// Notes the lots that these events name. For [`crate::events::append`], in the same transaction.
pub(crate) fn note(db: &mut Db, events: &[EventRow]) -> Result<(), StoreError> {
    for row in events.iter().filter_map(row) {
        on_each!(db, |conn| diesel::insert_into(lot::table)
            .values(row)
            .on_conflict((lot::horse_id, lot::seq))
            .do_nothing()
            .execute(conn))?;
    }
    Ok(())
}

/// The horses in whose logs a lot is named somewhere; what stands there now is for the log to say.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn horses(db: &mut Db, key: &LotKey) -> Result<Vec<HorseId>, StoreError> {
    let horses: Vec<Key<HorseId>> = lot::table
        .filter(lot::lot_key.eq(key.as_str().to_owned()))
        .select(lot::horse_id)
        .distinct()
        .order(lot::horse_id)
        .all(db)?;
    Ok(horses.into_iter().map(|horse| horse.0).collect())
}

/// Notes what was in the logs before this table was, once. To be run in a write, at the start.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn catch_up(db: &mut Db, now: NaiveDateTime) -> Result<(), StoreError> {
    let done: Option<String> = projection::table
        .find(NAME)
        .select(projection::name)
        .first_row(db)
        .optional()?;
    if done.is_some() {
        return Ok(());
    }
    let mut kinds: Vec<&str> = KINDS.iter().map(|kind| kind.code()).collect();
    kinds.push(Kind::Amendment.code());
    let mut after: Option<(String, i64)> = None;
    loop {
        let mut query = event::table
            .filter(event::kind.eq_any(kinds.clone()))
            .into_boxed();
        if let Some((horse, seq)) = after.clone() {
            query = query.filter(
                event::horse_id
                    .gt(horse.clone())
                    .or(event::horse_id.eq(horse).and(event::seq.gt(seq))),
            );
        }
        let rows: Vec<EventRow> = query
            .order((event::horse_id, event::seq))
            .limit(STEP)
            .load(db)?;
        note(db, &rows)?;
        let Some(last) = rows.last() else { break };
        after = Some((last.horse_id.to_string(), last.seq));
    }
    on_each!(db, |conn| diesel::insert_into(projection::table)
        .values((projection::name.eq(NAME), projection::caught_up_at.eq(now)))
        .on_conflict(projection::name)
        .do_nothing()
        .execute(conn))?;
    Ok(())
}

/// Forgets the lots that were named at these places of a horse's log.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn erase(db: &mut Db, horse: HorseId, places: &[i64]) -> Result<(), StoreError> {
    diesel::delete(
        lot::table
            .filter(lot::horse_id.eq(Key(horse)))
            .filter(lot::seq.eq_any(places)),
    )
    .run(db)?;
    Ok(())
}

/// Forgets what is kept beside the log; the next start computes it anew.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn forget(db: &mut Db) -> Result<(), StoreError> {
    diesel::delete(lot::table).run(db)?;
    diesel::delete(projection::table.find(NAME)).run(db)?;
    Ok(())
}
