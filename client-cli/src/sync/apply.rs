//! Writing what was verified, each step in one transaction: a page of entries, a cut log, a locked horse, the herd.

use chrono::{DateTime, Utc};
use diesel::connection::SimpleConnection;
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_contract::barn::Barn;
use whorl_contract::event::Envelope;
use whorl_contract::horse::Horse;
use whorl_contract::sync::Signer;

use super::Locked;
use crate::failure::Failure;
use crate::home::Home;
use crate::mirror::{self, Logged};
use crate::{attachments, herd, outbox, signers};

/// Takes verified entries and their signers over, and what waited in the outbox and is among them out of it.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written; nothing of the page is, then.
pub fn page(
    conn: &mut SqliteConnection,
    entries: &[Logged],
    new: &[Signer],
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let erased = conn.immediate_transaction(|conn| {
        for signer in new {
            signers::add(conn, signer, now)?;
        }
        for entry in entries {
            take(conn, entry)?;
        }
        // After all of the page: what is erased may have come with it.
        let mut erased = false;
        for entry in entries {
            erased |= erase(conn, entry)?;
        }
        Ok::<_, Failure>(erased)
    })?;
    if erased {
        forget_old_pages(conn)?;
    }
    Ok(())
}

/// What was taken away lies in the write-ahead log until it happens to be written over; this empties it.
fn forget_old_pages(conn: &mut SqliteConnection) -> Result<(), Failure> {
    Ok(conn.batch_execute("PRAGMA wal_checkpoint(TRUNCATE)")?)
}

/// Takes one verified entry over. If it is what waits in the outbox (the same envelope and signature, so the same leaf),
/// it leaves the outbox; were it sealed for us, we'd still keep what we wrote ourselves.
pub(super) fn take(conn: &mut SqliteConnection, entry: &Logged) -> Result<(), Failure> {
    let Some(ours) = outbox::with_leaf(conn, entry.leaf.0)? else {
        // Another body under the id of one that waits is left to the push: the server refuses it, and both stay.
        return mirror::add(conn, entry);
    };
    let mut whole = entry.clone();
    whole.event_id = Some(ours.event_id);
    whole.kind.get_or_insert(ours.kind);
    whole.envelope.get_or_insert(ours.envelope);
    whole.content.get_or_insert(ours.content);
    whole.salt.get_or_insert(ours.salt);
    whole.signature.get_or_insert(ours.signature);
    mirror::add(conn, &whole)?;
    outbox::remove(conn, ours.event_id.0)
}

/// Does what an erasure that the server took asks for; whether it was one. It is signed, so a server can't make one up.
pub(super) fn erase(conn: &mut SqliteConnection, entry: &Logged) -> Result<bool, Failure> {
    let envelope = entry.envelope.as_deref();
    let target = envelope
        .and_then(|text| serde_json::from_str::<Envelope>(text).ok())
        .filter(|envelope| envelope.kind == Kind::Erasure)
        .and_then(|envelope| envelope.target_id);
    let Some(target) = target else {
        return Ok(false);
    };
    mirror::erase(conn, entry.horse_id.0, target)?;
    Ok(true)
}

/// Takes a horse off this device, but for what the server never took.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written; nothing is, then.
pub fn lock(
    conn: &mut SqliteConnection,
    home: &Home,
    horse_id: HorseId,
    now: DateTime<Utc>,
) -> Result<Locked, Failure> {
    let device = home.membership()?.map(|member| member.device_id);
    let (locked, files) = conn.immediate_transaction(|conn| {
        let name = super::label(conn, horse_id);
        mirror::purge(conn, horse_id)?;
        let entries_kept = outbox::purge(conn, horse_id, device)?;
        let files = attachments::forget(conn, horse_id)?;
        herd::lock(conn, horse_id, entries_kept > 0, now)?;
        let locked = Locked {
            horse_id,
            name,
            entries_kept,
        };
        Ok::<_, Failure>((locked, files))
    })?;
    forget_old_pages(conn)?;
    for file in files {
        let place = home.attachment(&file)?;
        std::fs::remove_file(&place).map_err(|error| Failure::file(place.display(), &error))?;
    }
    Ok(locked)
}

/// Takes the server's description of horses and barns over. Those that were added here and aren't there yet stay.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written; nothing is, then.
pub fn herd(conn: &mut SqliteConnection, horses: &[Horse], barns: &[Barn]) -> Result<(), Failure> {
    conn.immediate_transaction(|conn| {
        for horse in horses {
            herd::put_horse(conn, horse)?;
        }
        herd::put_barns(conn, barns)
    })
}
