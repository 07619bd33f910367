//! The copy of the logs: each entry as pulled, verified before it came here, and the head of the chain after it.

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types::{Nullable, Text};
use diesel::sqlite::SqliteConnection;
use serde_json::value::RawValue;
use uuid::Uuid;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_contract::chain;
use whorl_contract::event::{Envelope, SignedEvent};
use whorl_contract::key::{Hash, Salt, Signature};

use crate::failure::Failure;
use crate::schema::{kept, log};
use crate::stored::{At, Stored};

/// One entry of a horse's log.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = log, check_for_backend(diesel::sqlite::Sqlite))]
#[diesel(treat_none_as_default_value = false)]
pub struct Logged {
    /// The horse.
    pub horse_id: Stored<HorseId>,
    /// Its place, from 1 without a gap.
    pub seq: i64,
    /// The event; none where it is sealed to its leaf.
    pub event_id: Option<Stored<EventId>>,
    /// What it records, by its code: also one that this version doesn't know.
    pub kind: Option<String>,
    /// When the server took it.
    pub received_at: Stored<At>,
    /// The exact text that was signed.
    pub envelope: Option<String>,
    /// The exact text that it commits to; none where it is sealed.
    pub content: Option<String>,
    /// The salt of the content's hash.
    pub salt: Option<Stored<Salt>>,
    /// The signature.
    pub signature: Option<Stored<Signature>>,
    /// Its leaf in the chain.
    pub leaf: Stored<Hash>,
    /// The chain's head after it.
    pub head: Stored<Hash>,
    /// Where it is sealed to its leaf: the kinds that could be seen as it came, by their codes with commas between. It is
    /// of none of them. None where the server didn't say.
    pub open_kinds: Option<String>,
}

impl Logged {
    /// The event, if nothing of it is sealed.
    #[must_use]
    pub fn event(&self) -> Option<SignedEvent> {
        let raw = |text: &Option<String>| RawValue::from_string(text.clone()?).ok();
        Some(SignedEvent {
            envelope: raw(&self.envelope)?,
            content: raw(&self.content)?,
            salt: self.salt?.0,
            signature: self.signature?.0,
        })
    }
}

/// Kinds by their codes, with commas between.
#[must_use]
pub fn codes(kinds: &[Kind]) -> String {
    let codes: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
    codes.join(",")
}

/// Where our copy of a log stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// How many entries we hold.
    pub seq: i64,
    /// The chain's head after them.
    pub head: Hash,
}

impl Place {
    /// Before the first entry.
    #[must_use]
    pub fn start(horse: HorseId) -> Self {
        Self {
            seq: 0,
            head: chain::start(horse),
        }
    }
}

/// Where our copy of a horse's log stands.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn place(conn: &mut SqliteConnection, horse: HorseId) -> Result<Place, Failure> {
    let last: Option<(i64, Stored<Hash>)> = log::table
        .filter(log::horse_id.eq(Stored(horse)))
        .order(log::seq.desc())
        .select((log::seq, log::head))
        .first(conn)
        .optional()?;
    Ok(last.map_or_else(
        || Place::start(horse),
        |(seq, head)| Place { seq, head: head.0 },
    ))
}

/// The head of our copy after `seq` entries; none if it doesn't reach there.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn head_at(
    conn: &mut SqliteConnection,
    horse: HorseId,
    seq: i64,
) -> Result<Option<Hash>, Failure> {
    if seq == 0 {
        return Ok(Some(chain::start(horse)));
    }
    let head: Option<Stored<Hash>> = log::table
        .find((Stored(horse), seq))
        .select(log::head)
        .first(conn)
        .optional()?;
    Ok(head.map(|head| head.0))
}

/// Every horse of which we hold entries.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn horses(conn: &mut SqliteConnection) -> Result<Vec<HorseId>, Failure> {
    let horses: Vec<Stored<HorseId>> = log::table
        .select(log::horse_id)
        .distinct()
        .order(log::horse_id)
        .load(conn)?;
    Ok(horses.into_iter().map(|horse| horse.0).collect())
}

/// Our copy of a horse's log, in its order.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn log(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<Logged>, Failure> {
    after(conn, horse, 0)
}

/// Our copy of a horse's log after `seq`, in its order.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn after(
    conn: &mut SqliteConnection,
    horse: HorseId,
    seq: i64,
) -> Result<Vec<Logged>, Failure> {
    Ok(log::table
        .filter(log::horse_id.eq(Stored(horse)))
        .filter(log::seq.gt(seq))
        .order(log::seq)
        .select(Logged::as_select())
        .load(conn)?)
}

/// The entry that holds an event, if we have it.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn find(conn: &mut SqliteConnection, id: EventId) -> Result<Option<Logged>, Failure> {
    Ok(log::table
        .filter(log::event_id.eq(Stored(id)))
        .select(Logged::as_select())
        .first(conn)
        .optional()?)
}

/// Whether any entry came sealed.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn has_sealed(conn: &mut SqliteConnection) -> Result<bool, Failure> {
    let sealed = log::table.filter(log::content.is_null());
    Ok(diesel::select(diesel::dsl::exists(sealed)).get_result(conn)?)
}

/// The ids of every event that we hold.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn event_ids(conn: &mut SqliteConnection) -> Result<Vec<EventId>, Failure> {
    let ids: Vec<Option<Stored<EventId>>> = log::table
        .filter(log::event_id.is_not_null())
        .select(log::event_id)
        .load(conn)?;
    Ok(ids.into_iter().flatten().map(|id| id.0).collect())
}

/// Adds a verified entry. One that is there already is kept; what it lacked (sealed then, open now) is filled in.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn add(conn: &mut SqliteConnection, entry: &Logged) -> Result<(), Failure> {
    diesel::insert_into(log::table)
        .values(entry)
        .on_conflict((log::horse_id, log::seq))
        .do_update()
        .set((
            log::event_id.eq(coalesce_text(
                log::event_id,
                entry.event_id.as_ref().map(text),
            )),
            log::kind.eq(coalesce_text(log::kind, entry.kind.clone())),
            log::envelope.eq(coalesce_text(log::envelope, entry.envelope.clone())),
            log::content.eq(coalesce_text(log::content, entry.content.clone())),
            log::salt.eq(coalesce_text(log::salt, entry.salt.as_ref().map(text))),
            log::signature.eq(coalesce_text(
                log::signature,
                entry.signature.as_ref().map(text),
            )),
            // What it was proven not to be when it came last.
            log::open_kinds.eq(coalesce_text(entry.open_kinds.clone(), log::open_kinds)),
        ))
        .execute(conn)?;
    Ok(())
}

fn text<T: std::fmt::Display>(value: &Stored<T>) -> String {
    value.0.to_string()
}

diesel::define_sql_function! {
    /// What we have, else what we got.
    #[sql_name = "coalesce"]
    fn coalesce_text(have: Nullable<Text>, got: Nullable<Text>) -> Nullable<Text>;
}

/// Takes the content of an entry of a horse, and of all that was said about it, away for good: also where a copy was kept
/// apart. That it was erased, and why, stays.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn erase(conn: &mut SqliteConnection, horse: HorseId, target: EventId) -> Result<(), Failure> {
    let about: Vec<EventId> = log(conn, horse)?
        .iter()
        .filter(|entry| entry.kind.as_deref() != Some(Kind::Erasure.code()))
        .filter_map(|entry| {
            let envelope = serde_json::from_str::<Envelope>(entry.envelope.as_deref()?).ok()?;
            (envelope.id == target || envelope.target_id == Some(target)).then_some(envelope.id)
        })
        .collect();
    let ids: Vec<Option<Stored<EventId>>> = about.into_iter().map(|id| Some(Stored(id))).collect();
    let nothing = (None::<String>, None::<Stored<Salt>>);
    diesel::update(log::table.filter(log::horse_id.eq(Stored(horse))))
        .filter(log::event_id.eq_any(ids.clone()))
        .set((log::content.eq(&nothing.0), log::salt.eq(nothing.1)))
        .execute(conn)?;
    diesel::update(kept::table.filter(kept::horse_id.eq(Stored(horse))))
        .filter(kept::event_id.eq_any(ids))
        .set((kept::content.eq(&nothing.0), kept::salt.eq(nothing.1)))
        .execute(conn)?;
    Ok(())
}

/// Moves our entries after `seq` out of the log and keeps them apart. Answers them.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn keep_apart(
    conn: &mut SqliteConnection,
    horse: HorseId,
    seq: i64,
    epoch: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<Vec<Logged>, Failure> {
    let entries = after(conn, horse, seq)?;
    for entry in &entries {
        diesel::insert_into(kept::table)
            .values((
                kept::kept_at.eq(Stored(At(now))),
                kept::epoch.eq(epoch.map(Stored)),
                kept::horse_id.eq(entry.horse_id),
                kept::seq.eq(entry.seq),
                kept::event_id.eq(entry.event_id),
                kept::kind.eq(&entry.kind),
                kept::received_at.eq(entry.received_at),
                kept::envelope.eq(&entry.envelope),
                kept::content.eq(&entry.content),
                kept::salt.eq(entry.salt),
                kept::signature.eq(entry.signature),
                kept::leaf.eq(entry.leaf),
                kept::head.eq(entry.head),
            ))
            .execute(conn)?;
    }
    diesel::delete(
        log::table
            .filter(log::horse_id.eq(Stored(horse)))
            .filter(log::seq.gt(seq)),
    )
    .execute(conn)?;
    Ok(entries)
}

/// How many entries of a horse are kept apart.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn kept_apart(conn: &mut SqliteConnection) -> Result<i64, Failure> {
    Ok(kept::table.count().get_result(conn)?)
}

/// Forgets what we hold of a horse that this account may not see any more.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn purge(conn: &mut SqliteConnection, horse: HorseId) -> Result<usize, Failure> {
    let horse = Stored(horse);
    diesel::delete(kept::table.filter(kept::horse_id.eq(horse))).execute(conn)?;
    Ok(diesel::delete(log::table.filter(log::horse_id.eq(horse))).execute(conn)?)
}
