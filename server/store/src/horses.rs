//! Horses: where each stands, whose it is, and the head of its log.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId, HorseId};

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::few::{by_keys, each_once};
use crate::key::Key;
use crate::schema::{horse, tenure};

/// One row of `horse`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = horse, treat_none_as_default_value = false)]
pub struct HorseRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub id: HorseId,
    /// Where it stands.
    #[diesel(deserialize_as = Key<BarnId>, serialize_as = Key<BarnId>)]
    pub barn_id: BarnId,
    /// Whose it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub owner_id: AccountId,
    /// The number of events in its log.
    pub head_seq: i64,
    /// The chain's head after them.
    pub head: Vec<u8>,
    /// When its log was opened, in UTC.
    pub created_at: NaiveDateTime,
}

/// One row of `tenure`: whose a horse was and where it stood, from an instant on.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = tenure, treat_none_as_default_value = false)]
pub struct TenureRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// From when, in UTC.
    pub from_at: NaiveDateTime,
    /// Whose it was.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub owner_id: AccountId,
    /// Where it stood.
    #[diesel(deserialize_as = Key<BarnId>, serialize_as = Key<BarnId>)]
    pub barn_id: BarnId,
}

/// Adds a horse.
///
/// # Errors
///
/// [`StoreError::Conflict`] if the id is taken.
pub fn add(db: &mut Db, row: HorseRow) -> Result<(), StoreError> {
    let first = TenureRow {
        horse_id: row.id,
        from_at: row.created_at,
        owner_id: row.owner_id,
        barn_id: row.barn_id,
    };
    diesel::insert_into(horse::table).values(row).run(db)?;
    begin(db, first)
}

/// One horse.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: HorseId) -> Result<HorseRow, StoreError> {
    Ok(horse::table.find(Key(id)).first_row(db)?)
}

/// Whose each of these horses is; those that aren't there are left out.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn owners(db: &mut Db, ids: &[HorseId]) -> Result<HashMap<HorseId, AccountId>, StoreError> {
    let of = horse::table.select((horse::id, horse::owner_id));
    let rows: Vec<(Key<HorseId>, Key<AccountId>)> = by_keys(
        db,
        ids,
        |db, key| of.filter(horse::id.eq(key)).all(db),
        |db, keys| of.filter(horse::id.eq_any(keys)).all(db),
    )?;
    Ok(rows
        .into_iter()
        .map(|(id, owner)| (id.0, owner.0))
        .collect())
}

/// Since when a horse is its present owner's, in UTC.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn owned_since(db: &mut Db, horse: &HorseRow) -> Result<NaiveDateTime, StoreError> {
    let before: Option<NaiveDateTime> = tenure::table
        .filter(tenure::horse_id.eq(Key(horse.id)))
        .filter(tenure::owner_id.ne(Key(horse.owner_id)))
        .select(tenure::from_at)
        .order(tenure::from_at.desc())
        .first_row(db)
        .optional()?;
    let mut theirs = tenure::table
        .filter(tenure::horse_id.eq(Key(horse.id)))
        .select(tenure::from_at)
        .order(tenure::from_at)
        .into_boxed();
    if let Some(before) = before {
        theirs = theirs.filter(tenure::from_at.gt(before));
    }
    Ok(theirs.first(db)?)
}

/// All horses in the order of their ids, at most `limit` after `after`.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn page(db: &mut Db, after: Option<HorseId>, limit: i64) -> Result<Vec<HorseRow>, StoreError> {
    let mut query = horse::table.order(horse::id).limit(limit).into_boxed();
    if let Some(after) = after {
        query = query.filter(horse::id.gt(Key(after)));
    }
    Ok(query.load(db)?)
}

/// Locks those of `ids` that there are until the transaction ends, always in the order of their ids, so that two
/// writes never wait for each other. SQLite's one writer holds the lock already. PostgreSQL writes such a lock down, so a
/// commit after it waits for the standbys even if it found all its events known: I1 holds for those too.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn lock(db: &mut Db, ids: &[HorseId]) -> Result<Vec<HorseRow>, StoreError> {
    by_keys(
        db,
        ids,
        |db, key| horse::table.find(key).all(db),
        |db, keys| {
            let wanted = horse::table.filter(horse::id.eq_any(keys)).order(horse::id);
            match db {
                Db::Postgres(conn) => wanted.for_update().load(conn),
                Db::Sqlite(conn) => wanted.load(conn),
            }
        },
    )
}

/// Notes where the log stands after an append. The caller holds the lock.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_head(db: &mut Db, id: HorseId, seq: i64, head: &[u8]) -> Result<(), StoreError> {
    diesel::update(horse::table.find(Key(id)))
        .set((horse::head_seq.eq(seq), horse::head.eq(head.to_vec())))
        .run(db)?;
    Ok(())
}

/// Gives a horse an owner and a place from an instant on, and remembers those before. The caller holds the lock.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn settle(db: &mut Db, row: TenureRow) -> Result<(), StoreError> {
    diesel::update(horse::table.find(Key(row.horse_id)))
        .set((
            horse::owner_id.eq(Key(row.owner_id)),
            horse::barn_id.eq(Key(row.barn_id)),
        ))
        .run(db)?;
    begin(db, row)
}

/// Begins a tenure; of two that begin at the same instant, the later one holds.
fn begin(db: &mut Db, row: TenureRow) -> Result<(), StoreError> {
    let place = (
        tenure::owner_id.eq(Key(row.owner_id)),
        tenure::barn_id.eq(Key(row.barn_id)),
    );
    on_each!(db, |conn| diesel::insert_into(tenure::table)
        .values(row)
        .on_conflict((tenure::horse_id, tenure::from_at))
        .do_update()
        .set(place)
        .execute(conn))?;
    Ok(())
}

/// Whose a horse was and where it stood at an instant; `None` before its log was opened.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn tenure_at(
    db: &mut Db,
    horse: HorseId,
    at: NaiveDateTime,
) -> Result<Option<TenureRow>, StoreError> {
    Ok(tenure::table
        .filter(tenure::horse_id.eq(Key(horse)))
        .filter(tenure::from_at.le(at))
        .order(tenure::from_at.desc())
        .first_row(db)
        .optional()?)
}

/// The horses that somebody owns, or that are named, or that stand in one of these barns, by id. In one statement, so that a horse
/// that is moved or sold meanwhile isn't missed both where it was and where it is.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn owned_named_or_in(
    db: &mut Db,
    owner: AccountId,
    named: &[HorseId],
    barns: &[BarnId],
) -> Result<Vec<HorseRow>, StoreError> {
    let named: Vec<String> = named.iter().map(ToString::to_string).collect();
    let barns: Vec<String> = barns.iter().map(ToString::to_string).collect();
    let theirs = horse::table.filter(horse::owner_id.eq(Key(owner)));
    let mut rows: Vec<HorseRow> = theirs
        .union(horse::table.filter(horse::id.eq_any(named)))
        .union(horse::table.filter(horse::barn_id.eq_any(barns)))
        .all(db)?;
    rows.sort_by_key(|row| row.id);
    Ok(rows)
}

/// Whose these horses were and where they stood, from when; horse by horse, the earliest first.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn tenures(db: &mut Db, horses: &[HorseId]) -> Result<Vec<TenureRow>, StoreError> {
    let horses: Vec<String> = horses.iter().map(ToString::to_string).collect();
    Ok(tenure::table
        .filter(tenure::horse_id.eq_any(horses))
        .order((tenure::horse_id, tenure::from_at))
        .all(db)?)
}

/// The horses that somebody ever owned, that are named, or that ever stood in one of these barns, by id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn ever_of(
    db: &mut Db,
    owner: AccountId,
    named: &[HorseId],
    barns: &[BarnId],
) -> Result<Vec<HorseId>, StoreError> {
    let of = tenure::table.select(tenure::horse_id);
    let theirs: Vec<Key<HorseId>> = of.filter(tenure::owner_id.eq(Key(owner))).all(db)?;
    let stood: Vec<Key<HorseId>> = by_keys(
        db,
        barns,
        |db, key| of.filter(tenure::barn_id.eq(key)).all(db),
        |db, keys| of.filter(tenure::barn_id.eq_any(keys)).all(db),
    )?;
    let found = theirs.into_iter().chain(stood).map(|id| id.0);
    Ok(each_once([found.collect(), named.to_vec()], |id| *id))
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicBool, Ordering};

    use chrono::{DateTime, TimeDelta};
    use tempfile::TempDir;
    use uuid::Uuid;

    use super::*;
    use crate::accounts::{self, AccountRow};
    use crate::barns::{self, BarnRow};
    use crate::store::{Settings, Store};

    const OWNER: AccountId = AccountId(Uuid::from_u128(1));
    const HORSE: HorseId = HorseId(Uuid::from_u128(2));
    const BARNS: [BarnId; 2] = [BarnId(Uuid::from_u128(3)), BarnId(Uuid::from_u128(4))];

    /// A horse in the first of two barns.
    fn settled(db: &mut Db, at: NaiveDateTime) -> Result<(), StoreError> {
        let owner = AccountRow {
            id: OWNER,
            email: "wren@saltmarsh.example".into(),
            name: "Wren Halloran".into(),
            password_hash: String::new(),
            operator: false,
            created_at: at,
            disabled_at: None,
        };
        accounts::add(db, owner)?;
        for id in BARNS {
            let barn = BarnRow {
                id,
                owner_id: OWNER,
                name: "Sluice House".into(),
                time_zone: "Europe/London".into(),
                region: None,
                created_at: at,
            };
            barns::add(db, barn)?;
        }
        let horse = HorseRow {
            id: HORSE,
            barn_id: BARNS[0],
            owner_id: OWNER,
            head_seq: 0,
            head: vec![0; 32],
            created_at: at,
        };
        add(db, horse)
    }

    #[test]
    fn a_horse_that_is_moved_between_two_barns_is_always_in_one() {
        let folder = TempDir::new().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("db").display());
        let store = Store::open(&Settings::of_job(&url)).expect("a store");
        let at = DateTime::UNIX_EPOCH.naive_utc();
        store.write(move |db| settled(db, at)).expect("a horse");
        let looked_enough = AtomicBool::new(false);
        let somebody_else = AccountId(Uuid::from_u128(9));
        std::thread::scope(|scope| {
            let moving = scope.spawn(|| {
                let mut moves = 0_u32;
                while !looked_enough.load(Ordering::Relaxed) {
                    moves += 1;
                    let row = TenureRow {
                        horse_id: HORSE,
                        from_at: at + TimeDelta::seconds(i64::from(moves)),
                        owner_id: OWNER,
                        barn_id: BARNS[usize::from(moves % 2 == 1)],
                    };
                    store.write(move |db| settle(db, row)).expect("a move");
                }
                moves
            });
            let missed = (0..3_000).filter(|_| {
                let found = store.read(|db| owned_named_or_in(db, somebody_else, &[], &BARNS));
                found.expect("horses").is_empty()
            });
            let missed = missed.count();
            looked_enough.store(true, Ordering::Relaxed);
            let moves = moving.join().expect("no panic");
            assert!(moves > 10, "only {moves} moves");
            assert_eq!(missed, 0, "of 3000");
        });
    }
}
