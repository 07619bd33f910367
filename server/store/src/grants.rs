//! Grants: who may see and record what, from and until when. A revoked grant stays, so that it can be told what held when.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId};
use whorl_care::kind::Role;

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::few::{by_keys, each_once};
use crate::key::Key;
use crate::kinds::Kinds;
use crate::schema::{access_grant, account, grant_exemption, sight};

/// One row of `access_grant`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = access_grant, treat_none_as_default_value = false)]
pub struct GrantRow {
    /// The grant.
    #[diesel(deserialize_as = Key<GrantId>, serialize_as = Key<GrantId>)]
    pub id: GrantId,
    /// To whom.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// The role.
    #[diesel(deserialize_as = Key<Role>, serialize_as = Key<Role>)]
    pub role: Role,
    /// One horse …
    pub horse_id: Option<Key<HorseId>>,
    /// … or all horses of a barn.
    pub barn_id: Option<Key<BarnId>>,
    /// From when, in UTC.
    pub from_at: NaiveDateTime,
    /// Until when, in UTC.
    pub until_at: Option<NaiveDateTime>,
    /// The kinds that it is limited to.
    pub kinds: Option<Key<Kinds>>,
    /// Who gave it.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub granted_by: AccountId,
    /// When, in UTC.
    pub created_at: NaiveDateTime,
    /// When it was revoked, in UTC.
    pub revoked_at: Option<NaiveDateTime>,
    /// Who revoked it.
    pub revoked_by: Option<Key<AccountId>>,
}

/// Adds a grant.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: GrantRow) -> Result<(), StoreError> {
    diesel::insert_into(access_grant::table)
        .values(row)
        .run(db)?;
    Ok(())
}

/// One grant.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: GrantId) -> Result<GrantRow, StoreError> {
    Ok(access_grant::table.find(Key(id)).first_row(db)?)
}

/// Every grant that somebody was ever given, in force or not.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_account(db: &mut Db, account: AccountId) -> Result<Vec<GrantRow>, StoreError> {
    Ok(access_grant::table
        .filter(access_grant::account_id.eq(Key(account)))
        .order(access_grant::id)
        .all(db)?)
}

/// Every grant that somebody was ever given on a horse or on the barn where it stands. With `held`, the rows stay as they
/// are until the transaction ends: a revocation waits, and so has an exact place between two appends.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn on_horse(
    db: &mut Db,
    account: AccountId,
    horse: HorseId,
    barn: BarnId,
    held: bool,
) -> Result<Vec<GrantRow>, StoreError> {
    let wanted = access_grant::table
        .filter(access_grant::account_id.eq(Key(account)))
        .filter(
            access_grant::horse_id
                .eq(Some(Key(horse)))
                .or(access_grant::barn_id.eq(Some(Key(barn)))),
        )
        .order(access_grant::id);
    Ok(match db {
        Db::Postgres(conn) if held => wanted.for_share().load(conn)?,
        db => wanted.all(db)?,
    })
}

/// Every grant, with its holder's name, that covers one of these horses or barns.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn covering(
    db: &mut Db,
    horses: &[HorseId],
    barns: &[BarnId],
) -> Result<Vec<(GrantRow, String)>, StoreError> {
    let named = access_grant::table
        .inner_join(account::table.on(account::id.eq(access_grant::account_id)))
        .select((access_grant::all_columns, account::name));
    let of_horses = by_keys(
        db,
        horses,
        |db, key| named.filter(access_grant::horse_id.eq(key)).all(db),
        |db, keys| named.filter(access_grant::horse_id.eq_any(keys)).all(db),
    )?;
    let of_barns = by_keys(
        db,
        barns,
        |db, key| named.filter(access_grant::barn_id.eq(key)).all(db),
        |db, keys| named.filter(access_grant::barn_id.eq_any(keys)).all(db),
    )?;
    Ok(each_once(
        [of_horses, of_barns],
        |(row, _): &(GrantRow, String)| row.id,
    ))
}

/// One row of `grant_exemption`: a horse that a barn's grant covers no more, by the word of the horse's owner.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = grant_exemption, treat_none_as_default_value = false)]
pub struct ExemptionRow {
    /// The barn's grant.
    #[diesel(deserialize_as = Key<GrantId>, serialize_as = Key<GrantId>)]
    pub grant_id: GrantId,
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// From when, in UTC.
    pub from_at: NaiveDateTime,
    /// Who said so.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub made_by: AccountId,
}

/// Exempts a horse from a barn's grant; one that is exempt already stays so. The grant's row is held, so that this too
/// has an exact place between two appends.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn exempt(db: &mut Db, row: ExemptionRow) -> Result<(), StoreError> {
    if let Db::Postgres(conn) = db {
        access_grant::table
            .find(Key(row.grant_id))
            .select(access_grant::id)
            .for_update()
            .first::<Key<GrantId>>(conn)?;
    }
    on_each!(db, |conn| diesel::insert_into(grant_exemption::table)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))?;
    Ok(())
}

/// The exemptions of a horse.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn exemptions_of(db: &mut Db, horse: HorseId) -> Result<Vec<ExemptionRow>, StoreError> {
    Ok(grant_exemption::table
        .filter(grant_exemption::horse_id.eq(Key(horse)))
        .all(db)?)
}

/// The exemptions of several horses.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn exemptions_among(db: &mut Db, horses: &[HorseId]) -> Result<Vec<ExemptionRow>, StoreError> {
    let all = grant_exemption::table;
    by_keys(
        db,
        horses,
        |db, key| all.filter(grant_exemption::horse_id.eq(key)).all(db),
        |db, keys| all.filter(grant_exemption::horse_id.eq_any(keys)).all(db),
    )
}

/// The exemptions from several grants.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn exemptions_from(db: &mut Db, grants: &[GrantId]) -> Result<Vec<ExemptionRow>, StoreError> {
    let all = grant_exemption::table;
    by_keys(
        db,
        grants,
        |db, key| all.filter(grant_exemption::grant_id.eq(key)).all(db),
        |db, keys| all.filter(grant_exemption::grant_id.eq_any(keys)).all(db),
    )
}

/// Lifts every exemption of a horse, as when it is sold: they were its owner's word.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn lift_exemptions(db: &mut Db, horse: HorseId) -> Result<(), StoreError> {
    diesel::delete(grant_exemption::table.filter(grant_exemption::horse_id.eq(Key(horse))))
        .run(db)?;
    Ok(())
}

/// Revokes a grant; `false` if it was revoked before.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn revoke(
    db: &mut Db,
    id: GrantId,
    by: AccountId,
    at: NaiveDateTime,
) -> Result<bool, StoreError> {
    let changed = diesel::update(
        access_grant::table
            .find(Key(id))
            .filter(access_grant::revoked_at.is_null()),
    )
    .set((
        access_grant::revoked_at.eq(Some(at)),
        access_grant::revoked_by.eq(Some(Key(by))),
    ))
    .run(db)?;
    Ok(changed == 1)
}

/// Revokes every grant on one horse, as when it is sold.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn revoke_on_horse(
    db: &mut Db,
    horse: HorseId,
    by: AccountId,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    diesel::update(
        access_grant::table
            .filter(access_grant::horse_id.eq(Some(Key(horse))))
            .filter(access_grant::revoked_at.is_null()),
    )
    .set((
        access_grant::revoked_at.eq(Some(at)),
        access_grant::revoked_by.eq(Some(Key(by))),
    ))
    .run(db)?;
    Ok(())
}

/// What somebody may still read of horses that were theirs: each horse with the last event they may see.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sights(db: &mut Db, account: AccountId) -> Result<Vec<(HorseId, i64)>, StoreError> {
    let rows: Vec<(Key<HorseId>, i64)> = sight::table
        .filter(sight::account_id.eq(Key(account)))
        .select((sight::horse_id, sight::until_seq))
        .all(db)?;
    Ok(rows
        .into_iter()
        .map(|(horse, seq)| (horse.0, seq))
        .collect())
}

/// The last event that somebody may still read of a horse that was theirs, if it was.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sight_of(
    db: &mut Db,
    account: AccountId,
    horse: HorseId,
) -> Result<Option<i64>, StoreError> {
    Ok(sight::table
        .find((Key(account), Key(horse)))
        .select(sight::until_seq)
        .first_row(db)
        .optional()?)
}

/// Leaves a seller the sight of what there was.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn leave_sight(
    db: &mut Db,
    account: AccountId,
    horse: HorseId,
    until_seq: i64,
) -> Result<(), StoreError> {
    let values = (
        sight::account_id.eq(Key(account)),
        sight::horse_id.eq(Key(horse)),
        sight::until_seq.eq(until_seq),
    );
    on_each!(db, |conn| {
        diesel::insert_into(sight::table)
            .values(values)
            .on_conflict((sight::account_id, sight::horse_id))
            .do_update()
            .set(sight::until_seq.eq(until_seq))
            .execute(conn)
    })?;
    Ok(())
}
