//! A horse's log as one caller may see it: whole, or sealed where a grant is limited to some kinds.

use std::collections::{BTreeSet, HashMap};

use serde_json::value::RawValue;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_contract::chain;
use whorl_contract::event::LoggedEvent;
use whorl_contract::key::{Hash, PublicKey, Salt, Signature};
use whorl_contract::note::Head;
use whorl_contract::sync::{BYTES_PER_PULL, Run, SignedHead, Signer};
use whorl_store::events::{self, EventRow};
use whorl_store::horses::HorseRow;
use whorl_store::signers::SignerRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::state::State;

/// An event for a caller: whole, or its leaf alone where they may not even know its kind.
///
/// # Errors
///
/// [`StoreError::Unreadable`] if the row is damaged.
pub(crate) fn logged_event(row: &EventRow, may_see: bool) -> Result<LoggedEvent, StoreError> {
    let unreadable = |why: &dyn std::fmt::Display| {
        StoreError::Unreadable(format!(
            "event {} of horse {}: {why}",
            row.seq, row.horse_id
        ))
    };
    let raw =
        |text: &str| RawValue::from_string(text.to_owned()).map_err(|error| unreadable(&error));
    let salt = |salt: &[u8]| Salt::try_from(salt).map_err(|error| unreadable(&error));
    let signature =
        Signature::try_from(row.signature.as_slice()).map_err(|error| unreadable(&error))?;
    let whole = LoggedEvent {
        seq: row.seq,
        received_at: row.received_at.and_utc(),
        envelope: Some(raw(&row.envelope)?),
        content: row.content.as_deref().map(raw).transpose()?,
        salt: row.salt.as_deref().map(salt).transpose()?,
        signature: Some(signature),
        leaf: None,
    };
    if may_see {
        return Ok(whole);
    }
    let leaf = whole.leaf().map_err(|error| unreadable(&error))?;
    Ok(LoggedEvent {
        envelope: None,
        content: None,
        salt: None,
        signature: None,
        leaf: Some(leaf),
        ..whole
    })
}

/// What an answer has room for still.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Room {
    events: i64,
    bytes: usize,
}

impl Room {
    /// Room for so many events, and for [`BYTES_PER_PULL`].
    pub(crate) fn for_events(events: i64) -> Self {
        Self {
            events,
            bytes: BYTES_PER_PULL,
        }
    }

    /// Whether there is none left.
    pub(crate) fn is_full(self) -> bool {
        self.events <= 0 || self.bytes == 0
    }

    /// Takes what there is room for. The event that fills it is taken whole, so that a large one gets through.
    fn take(&mut self, mut rows: Vec<EventRow>) -> Vec<EventRow> {
        let fit = rows.iter().position(|row| {
            let content = row.content.as_deref().map_or(0, str::len);
            self.bytes = self.bytes.saturating_sub(row.envelope.len() + content);
            self.bytes == 0
        });
        rows.truncate(fit.map_or(rows.len(), |last| last + 1));
        self.events -= i64::try_from(rows.len()).unwrap_or(self.events);
        rows
    }
}

/// The next events of a horse after `after`, as many as `room` holds, and the devices that signed what the caller may
/// see.
///
/// # Errors
///
/// [`StoreError`].
pub(crate) fn run(
    db: &mut Db,
    horse: &HorseRow,
    access: &Access,
    after: i64,
    room: &mut Room,
) -> Result<(Run, BTreeSet<DeviceId>), StoreError> {
    let until = access.until_seq(horse.head_seq);
    let rows = room.take(events::range(db, horse.id, after, until, room.events)?);
    let seen = seen(db, &rows, access)?;
    let (last, head) = if let Some(row) = rows.last() {
        (row.seq, hash(&row.head)?)
    } else {
        let last = after.clamp(0, until);
        (last, head_at(db, horse.id, last)?)
    };
    let signers = rows
        .iter()
        .zip(&seen)
        .filter(|(_, seen)| **seen)
        .map(|(row, _)| row.device_id)
        .collect();
    let events = rows
        .iter()
        .zip(&seen)
        .map(|(row, seen)| logged_event(row, *seen))
        .collect::<Result<_, _>>()?;
    Ok((
        Run {
            horse_id: horse.id,
            events,
            kinds: if access.is_limited() {
                access.kinds()
            } else {
                Vec::new()
            },
            head,
            more: last < until,
        },
        signers,
    ))
}

/// Which of these events, up to [`Access::until_seq`], a caller may see. What is about another event is seen by whoever
/// may see that event.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn seen(
    db: &mut Db,
    rows: &[EventRow],
    access: &Access,
) -> Result<Vec<bool>, StoreError> {
    if !access.is_limited() {
        return Ok(vec![true; rows.len()]);
    }
    let target = |row: &EventRow| {
        row.target_id
            .as_deref()
            .and_then(|id| id.parse::<EventId>().ok())
    };
    let targets: Vec<EventId> = rows.iter().filter_map(target).collect();
    let kinds: HashMap<EventId, Kind> = events::by_ids(db, &targets)?
        .into_iter()
        .map(|row| (row.id, row.kind))
        .collect();
    let about = |row: &EventRow| {
        target(row)
            .and_then(|id| kinds.get(&id).copied())
            .unwrap_or(row.kind)
    };
    Ok(rows
        .iter()
        .map(|row| access.may_see(about(row), row.seq))
        .collect())
}

/// The chain's head after `seq` events.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the log is shorter.
pub(crate) fn head_at(db: &mut Db, horse: HorseId, seq: i64) -> Result<Hash, StoreError> {
    if seq == 0 {
        return Ok(chain::start(horse));
    }
    hash(&events::head_at(db, horse, seq)?.ok_or(StoreError::NotFound)?)
}

/// A stored hash.
///
/// # Errors
///
/// [`StoreError::Unreadable`] if it has not 32 bytes.
pub(crate) fn hash(bytes: &[u8]) -> Result<Hash, StoreError> {
    Hash::try_from(bytes).map_err(|error| StoreError::Unreadable(error.to_string()))
}

/// A device with its key, for checking signatures.
///
/// # Errors
///
/// [`StoreError::Unreadable`] if the stored key is damaged.
pub(crate) fn signer(row: SignerRow) -> Result<Signer, StoreError> {
    let public_key = PublicKey::try_from(row.public_key.as_slice())
        .map_err(|error| StoreError::Unreadable(error.to_string()))?;
    Ok(Signer {
        device_id: row.device_id,
        public_key,
        account_id: row.account_id,
        name: row.name,
    })
}

/// The server's signature under where a horse's log stands.
pub(crate) fn signed_head(
    state: &State,
    epoch: uuid::Uuid,
    horse: HorseId,
    seq: i64,
    head: Hash,
) -> SignedHead {
    let head = Head {
        server: state.config.name.clone(),
        horse_id: horse,
        seq,
        head,
        epoch,
        at: state.clock.now(),
    };
    SignedHead {
        horse_id: horse,
        note: head.sign(&state.keys.heads),
    }
}
