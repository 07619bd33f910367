//! Checking a whole record as it is stored: every chain, every signature, every content and every file.

use std::collections::HashMap;

use whorl_care::ids::{DeviceId, HorseId};
use whorl_contract::chain;
use whorl_contract::event::{self, LoggedEvent};
use whorl_contract::key::{Hash, PublicKey};
use whorl_store::attachments;
use whorl_store::events::{self, EventRow};
use whorl_store::horses::{self, HorseRow};
use whorl_store::{Db, Store, StoreError, signers};

use crate::log_view::{hash, logged_event, signer};

/// So many horses, and so many events of one, are in hand at a time.
const PAGE: i64 = 500;

/// What was checked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Audit {
    /// Horses, each with its log.
    pub horses: u64,
    /// Entries whose signature and place in the chain fit.
    pub events: u64,
    /// Of these, entries whose content was erased: what is left of them fits.
    pub erased: u64,
    /// Photos and documents whose bytes fit their hash.
    pub files: u64,
}

/// What doesn't fit.
#[derive(Debug, thiserror::Error)]
pub enum Broken {
    /// An entry, or its place.
    #[error("entry {seq} of horse {horse}: {why}")]
    Event {
        /// The horse.
        horse: HorseId,
        /// The place.
        seq: i64,
        /// What is wrong.
        why: String,
    },
    /// A file.
    #[error("file {sha256} of horse {horse}: its bytes are not those that were named")]
    File {
        /// The horse.
        horse: HorseId,
        /// Its hash.
        sha256: String,
    },
    /// The database can't be read, or finds damage in itself.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Checks all that a store holds; `progress` hears the number of events so far. Blocks.
///
/// # Errors
///
/// The first thing that doesn't fit.
pub fn audit(store: &Store, progress: &mut dyn FnMut(u64)) -> Result<Audit, Broken> {
    store.check_pages()?;
    let mut done = Audit::default();
    let mut keys = HashMap::new();
    let mut after = None;
    loop {
        let page = store.read(|db| horses::page(db, after, PAGE))?;
        let Some(last) = page.last() else {
            return Ok(done);
        };
        after = Some(last.id);
        for horse in &page {
            store.read(|db| audit_horse(db, horse, &mut keys, &mut done))?;
            progress(done.events);
        }
    }
}

fn audit_horse(
    db: &mut Db,
    horse: &HorseRow,
    keys: &mut HashMap<DeviceId, PublicKey>,
    done: &mut Audit,
) -> Result<(), Broken> {
    let mut head = chain::start(horse.id);
    let mut seq = 0;
    // The row was read before its log: what came in meanwhile is left for the next time.
    while seq < horse.head_seq {
        let rows = events::range(db, horse.id, seq, horse.head_seq, PAGE)?;
        let unknown: Vec<DeviceId> = rows
            .iter()
            .map(|row| row.device_id)
            .filter(|id| !keys.contains_key(id))
            .collect();
        for row in signers::by_ids(db, &unknown)? {
            let signer = signer(row)?;
            keys.insert(signer.device_id, signer.public_key);
        }
        if rows.is_empty() {
            return Err(broken(horse.id, seq + 1, "it is missing"));
        }
        for row in &rows {
            seq += 1;
            head = audit_event(row, seq, &head, keys).map_err(|why| broken(horse.id, seq, &why))?;
            done.events += 1;
            done.erased += u64::from(row.content.is_none());
        }
    }
    if hash(&horse.head)? != head {
        return Err(broken(
            horse.id,
            seq,
            "the horse's head is not that of its last entry",
        ));
    }
    for sha256 in attachments::names(db, horse.id)? {
        let file = attachments::get(db, horse.id, &sha256)?;
        if Hash::of(&[&file.body]).to_hex() != sha256 {
            return Err(Broken::File {
                horse: horse.id,
                sha256,
            });
        }
        done.files += 1;
    }
    done.horses += 1;
    Ok(())
}

fn broken(horse: HorseId, seq: i64, why: &str) -> Broken {
    let why = why.to_owned();
    Broken::Event { horse, seq, why }
}

/// Checks one entry; answers the head after it.
fn audit_event(
    row: &EventRow,
    seq: i64,
    before: &Hash,
    keys: &HashMap<DeviceId, PublicKey>,
) -> Result<Hash, String> {
    if row.seq != seq {
        return Err(format!("entry {} stands in its place", row.seq));
    }
    let read = logged_event(row, true).map_err(|why| why.to_string())?;
    let LoggedEvent {
        envelope: Some(envelope),
        signature: Some(signature),
        ..
    } = &read
    else {
        return Err("it can't be read".to_owned());
    };
    let (envelope, bytes) = event::open_envelope(envelope.get()).map_err(|why| why.to_string())?;
    let same = envelope.id == row.id
        && envelope.horse_id == row.horse_id
        && envelope.kind == row.kind
        && envelope.author_id == row.author_id
        && envelope.device_id == row.device_id;
    if !same {
        return Err("its columns don't say what its envelope says".to_owned());
    }
    let key = keys
        .get(&row.device_id)
        .ok_or("the device that signed it is unknown")?;
    if !key.verifies(whorl_contract::key::Purpose::Event, &bytes, signature) {
        return Err("its signature is not its author's".to_owned());
    }
    if let (Some(content), Some(salt)) = (&read.content, &read.salt) {
        let text = read
            .envelope
            .as_ref()
            .map(|one| one.get())
            .unwrap_or_default();
        event::open(text, content.get(), salt, signature).map_err(|why| why.to_string())?;
    }
    let head = chain::next(before, &event::leaf(&bytes, signature));
    if hash(&row.head).map_err(|why| why.to_string())? != head {
        return Err("the chain doesn't lead to it".to_owned());
    }
    Ok(head)
}
