//! What this device recorded and the server has not given back in a log yet: exact bytes, in the order of recording.
//!
//! An event is here before a command says "recorded", and no answer of a server takes it away: it goes once its
//! verified copy is in the log, or when its user drops it by name.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde_json::value::RawValue;
use uuid::Uuid;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_contract::event::{self, SignedEvent, open_envelope};
use whorl_contract::key::{Hash, Salt, Signature};
use whorl_contract::problem::Problem;
use whorl_contract::sync::Outcome;

use crate::failure::Failure;
use crate::schema::{new_horse, outbox};
use crate::stored::{At, Stored};

/// What has become of an event so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The server has not answered for it.
    Waiting,
    /// The server has it, but it is in no log: an owner decides.
    Held,
    /// The server said no.
    Refused,
    /// It is in the log; our copy of the log doesn't reach there yet.
    Acknowledged,
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Waiting => "waiting",
            Self::Held => "held",
            Self::Refused => "refused",
            Self::Acknowledged => "acknowledged",
        })
    }
}

impl FromStr for State {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Ok(match text {
            "waiting" => Self::Waiting,
            "held" => Self::Held,
            "refused" => Self::Refused,
            "acknowledged" => Self::Acknowledged,
            _ => return Err(format!("`{text}` is no state of an entry")),
        })
    }
}

/// One event in the outbox.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = outbox, check_for_backend(diesel::sqlite::Sqlite))]
pub struct Entry {
    /// Its place in the order of recording.
    pub position: i64,
    /// The event.
    pub event_id: Stored<EventId>,
    /// Its horse.
    pub horse_id: Stored<HorseId>,
    /// What it records, by its code.
    pub kind: String,
    /// The exact text that was signed.
    pub envelope: String,
    /// The exact text that it commits to.
    pub content: String,
    /// The salt of the content's hash.
    pub salt: Stored<Salt>,
    /// The signature.
    pub signature: Stored<Signature>,
    /// The leaf that it has in the chain.
    pub leaf: Stored<Hash>,
    /// Whether it was in the log once and the server lost it.
    pub returned: bool,
    /// What has become of it.
    pub state: Stored<State>,
    /// Why it was refused: a problem document.
    pub problem: Option<String>,
    /// When it was recorded here.
    pub queued_at: Stored<At>,
    /// When the server last answered for it.
    pub answered_at: Option<Stored<At>>,
    /// Which life of the server's ledger answered.
    pub answered_epoch: Option<Stored<Uuid>>,
}

impl Entry {
    /// The event as it is pushed.
    ///
    /// # Errors
    ///
    /// [`Failure::NotVerified`] if the bytes on this device are damaged.
    pub fn event(&self) -> Result<SignedEvent, Failure> {
        let raw = |text: &str| {
            RawValue::from_string(text.to_owned()).map_err(|_| {
                Failure::NotVerified(format!(
                    "the entry {} on this device is damaged",
                    self.event_id.0
                ))
            })
        };
        Ok(SignedEvent {
            envelope: raw(&self.envelope)?,
            content: raw(&self.content)?,
            salt: self.salt.0,
            signature: self.signature.0,
        })
    }

    fn is_signed_by(&self, device: DeviceId) -> bool {
        open_envelope(&self.envelope).is_ok_and(|(opened, _)| opened.device_id == device)
    }

    /// Why it was refused.
    #[must_use]
    pub fn refusal(&self) -> Option<Problem> {
        self.problem
            .as_deref()
            .and_then(|text| serde_json::from_str(text).ok())
    }
}

/// Puts an event in; it is on the disk when this returns outside a transaction.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn queue(
    conn: &mut SqliteConnection,
    id: EventId,
    horse: HorseId,
    kind: &str,
    event: &SignedEvent,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    insert(conn, id, horse, kind, event, false, now)
}

/// Puts back an event that the server once had and lost. One that waits here already stays as it is.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn give_back(
    conn: &mut SqliteConnection,
    id: EventId,
    horse: HorseId,
    kind: &str,
    event: &SignedEvent,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    if find(conn, id)?.is_some() {
        return Ok(());
    }
    insert(conn, id, horse, kind, event, true, now)
}

fn insert(
    conn: &mut SqliteConnection,
    id: EventId,
    horse: HorseId,
    kind: &str,
    event: &SignedEvent,
    returned: bool,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let leaf = leaf(event)?;
    diesel::insert_into(outbox::table)
        .values((
            outbox::leaf.eq(Stored(leaf)),
            outbox::event_id.eq(Stored(id)),
            outbox::horse_id.eq(Stored(horse)),
            outbox::kind.eq(kind),
            outbox::envelope.eq(event.envelope.get()),
            outbox::content.eq(event.content.get()),
            outbox::salt.eq(Stored(event.salt)),
            outbox::signature.eq(Stored(event.signature)),
            outbox::returned.eq(returned),
            outbox::state.eq(Stored(State::Waiting)),
            outbox::queued_at.eq(Stored(At(now))),
        ))
        .execute(conn)?;
    Ok(())
}

fn leaf(event: &SignedEvent) -> Result<Hash, Failure> {
    let (_, bytes) = open_envelope(event.envelope.get())
        .map_err(|error| Failure::NotVerified(error.to_string()))?;
    Ok(event::leaf(&bytes, &event.signature))
}

/// The entry that has this leaf.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn with_leaf(conn: &mut SqliteConnection, leaf: Hash) -> Result<Option<Entry>, Failure> {
    Ok(outbox::table
        .filter(outbox::leaf.eq(Stored(leaf)))
        .select(Entry::as_select())
        .first(conn)
        .optional()?)
}

/// The entries that the server acknowledged and that haven't come back in a log yet.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn acknowledged(conn: &mut SqliteConnection) -> Result<Vec<Entry>, Failure> {
    Ok(outbox::table
        .filter(outbox::state.eq(Stored(State::Acknowledged)))
        .order(outbox::position)
        .select(Entry::as_select())
        .load(conn)?)
}

/// One entry.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn find(conn: &mut SqliteConnection, id: EventId) -> Result<Option<Entry>, Failure> {
    Ok(outbox::table
        .filter(outbox::event_id.eq(Stored(id)))
        .select(Entry::as_select())
        .first(conn)
        .optional()?)
}

/// Every entry, in the order of recording.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn all(conn: &mut SqliteConnection) -> Result<Vec<Entry>, Failure> {
    Ok(outbox::table
        .order(outbox::position)
        .select(Entry::as_select())
        .load(conn)?)
}

/// The entries of one horse, in the order of recording.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn of_horse(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<Entry>, Failure> {
    Ok(outbox::table
        .filter(outbox::horse_id.eq(Stored(horse)))
        .order(outbox::position)
        .select(Entry::as_select())
        .load(conn)?)
}

/// The entries after `position` that a push has to send: what waits, and what is held, since an owner may have
/// decided by now.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn to_push(
    conn: &mut SqliteConnection,
    position: i64,
    limit: i64,
) -> Result<Vec<Entry>, Failure> {
    Ok(ready()
        .filter(outbox::position.gt(position))
        .order(outbox::position)
        .limit(limit)
        .select(Entry::as_select())
        .load(conn)?)
}

/// What may be pushed now.
#[diesel::dsl::auto_type]
fn ready() -> _ {
    let states: [Stored<State>; 2] = [Stored(State::Waiting), Stored(State::Held)];
    outbox::table
        .filter(outbox::state.eq_any(states))
        // Events of a horse that the server hasn't opened would only be refused.
        .filter(outbox::horse_id.ne_all(new_horse::table.select(new_horse::horse_id)))
}

/// How many there are to push.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn count_to_push(conn: &mut SqliteConnection) -> Result<u64, Failure> {
    let count: i64 = ready().count().get_result(conn)?;
    Ok(u64::try_from(count).unwrap_or(0))
}

/// Notes the server's answer for one event.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn answer(
    conn: &mut SqliteConnection,
    id: EventId,
    outcome: &Outcome,
    epoch: Uuid,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let (state, problem) = match outcome {
        Outcome::Accepted { .. } | Outcome::Known { .. } => (State::Acknowledged, None),
        Outcome::Held => (State::Held, None),
        Outcome::Refused { problem } => (
            State::Refused,
            Some(
                serde_json::to_string(problem)
                    .map_err(|error| Failure::Device(error.to_string()))?,
            ),
        ),
    };
    diesel::update(outbox::table.filter(outbox::event_id.eq(Stored(id))))
        .set((
            outbox::state.eq(Stored(state)),
            outbox::problem.eq(problem),
            outbox::answered_at.eq(Stored(At(now))),
            outbox::answered_epoch.eq(Stored(epoch)),
        ))
        .execute(conn)?;
    Ok(())
}

/// Lets an entry wait again.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn retry(conn: &mut SqliteConnection, id: EventId) -> Result<(), Failure> {
    diesel::update(outbox::table.filter(outbox::event_id.eq(Stored(id))))
        .set((
            outbox::state.eq(Stored(State::Waiting)),
            outbox::problem.eq(None::<String>),
        ))
        .execute(conn)?;
    Ok(())
}

/// What another life of the ledger acknowledged or held may be lost: it waits again. Answers how many that are.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn wait_again(conn: &mut SqliteConnection, epoch: Uuid) -> Result<usize, Failure> {
    let states = [Stored(State::Acknowledged), Stored(State::Held)];
    Ok(diesel::update(
        outbox::table
            .filter(outbox::state.eq_any(states))
            .filter(outbox::answered_epoch.ne(Stored(epoch))),
    )
    .set(outbox::state.eq(Stored(State::Waiting)))
    .execute(conn)?)
}

/// Takes out what isn't for this account to keep of a horse that it may not see any more: what the server has, and what others
/// recorded and this device gave back. What `device` itself recorded and no log has stays. Answers how many entries stay.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn purge(
    conn: &mut SqliteConnection,
    horse: HorseId,
    device: Option<DeviceId>,
) -> Result<usize, Failure> {
    let (mut stay, mut go) = (0, Vec::new());
    for entry in of_horse(conn, horse)? {
        let ours = !entry.returned || device.is_some_and(|device| entry.is_signed_by(device));
        if ours && entry.state.0 != State::Acknowledged {
            stay += 1;
        } else {
            go.push(entry.event_id);
        }
    }
    diesel::delete(outbox::table.filter(outbox::event_id.eq_any(go))).execute(conn)?;
    Ok(stay)
}

/// Takes an entry out: its verified copy is in the log, or its user dropped it.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn remove(conn: &mut SqliteConnection, id: EventId) -> Result<(), Failure> {
    diesel::delete(outbox::table.filter(outbox::event_id.eq(Stored(id)))).execute(conn)?;
    Ok(())
}
