//! What an erasure does in the store: the content of an entry goes, with that of all that was said about it, the lots
//! that it named and the files that nothing else names. The envelopes stay, so that every signature and the chain verify.

use std::collections::BTreeSet;

use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_contract::event::Content;
use whorl_store::events::{self, EventRow};
use whorl_store::{Db, StoreError, attachments, lots};

/// Carries an erasure out. For the ledger, under the horse's lock, once the events of the batch are written.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn carry_out(
    db: &mut Db,
    horse: HorseId,
    target: EventId,
    head_seq: i64,
) -> Result<(), StoreError> {
    let mut rows = events::by_ids(db, &[target])?;
    rows.extend(events::upon(db, horse, &[target], head_seq)?);
    // An id is anybody's to write into an envelope; only this horse's log is at hand. That it was erased, and why, stays.
    rows.retain(|row| row.horse_id == horse && row.kind != Kind::Erasure);
    let files: BTreeSet<String> = rows.iter().flat_map(files).collect();
    let places: Vec<i64> = rows.iter().map(|row| row.seq).collect();
    events::erase(db, horse, &places)?;
    lots::erase(db, horse, &places)?;
    for sha256 in files {
        if events::naming(db, horse, &sha256, head_seq)?.is_empty() {
            attachments::remove(db, horse, &sha256)?;
        }
    }
    Ok(())
}

/// The files that an entry names.
fn files(row: &EventRow) -> Vec<String> {
    let content = row.content.as_deref();
    let read = content.and_then(|text| serde_json::from_str::<Content>(text).ok());
    let named = read.map(|content| content.attachments).unwrap_or_default();
    named.into_iter().map(|file| file.sha256).collect()
}
