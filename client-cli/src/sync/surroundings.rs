//! What is around the logs: the server itself, its clock and key, and what recording is checked by offline.

use std::collections::BTreeSet;

use chrono::TimeDelta;
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::HorseId;
use whorl_contract::event::VOCABULARY;
use whorl_contract::grant::Grant;

use super::pull::Compared;
use super::{Ledger, Report, apply};
use crate::failure::Failure;
use crate::world::Machine;
use crate::{herd, mirror, server_key, setting};

/// A clock that is off by more makes wrong times in the record.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::minutes(5);

/// Is it the server that we know, and do our clocks agree?
///
/// # Errors
///
/// [`Failure::NotVerified`] if it shows a key that the one that this device knows doesn't vouch for; nothing is sent to it, then.
pub(super) fn look_at_server(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    machine: Machine<'_>,
    report: &mut Report,
) -> Result<(), Failure> {
    let info = ledger.server()?;
    report.notices.extend(server_key::follow(conn, &info)?);
    let ahead = machine.utc() - info.time;
    if ahead.abs() > CLOCKS_DIFFER {
        let way = if ahead > TimeDelta::zero() {
            "ahead of"
        } else {
            "behind"
        };
        report.notices.push(format!(
            "this device's clock is {} minutes {way} the server's, and its entries carry such times: please set it",
            ahead.abs().num_minutes()
        ));
    }
    if info.vocabulary < VOCABULARY {
        report.notices.push(
            "the server is older than this whorl and may refuse some entries; its operator should update it".to_owned(),
        );
    }
    Ok(())
}

/// Whether what came sealed may be open now: the grants have changed since it came.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub(super) fn sees_more(conn: &mut SqliteConnection, grants: &[Grant]) -> Result<bool, Failure> {
    if !mirror::has_sealed(conn)? {
        return Ok(false);
    }
    let before: Option<serde_json::Value> = setting::document(conn, setting::GRANTS)?;
    let now = serde_json::to_value(grants).map_err(|error| Failure::Device(error.to_string()))?;
    Ok(before.as_ref() != Some(&now))
}

/// Keeps the herd, and what recording is checked by where there is no signal.
///
/// # Errors
///
/// [`Failure::Offline`] without an answer.
pub(super) fn keep(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    grants: &[Grant],
    compared: Compared,
) -> Result<(), Failure> {
    let (mut horses, barns) = (ledger.horses()?, ledger.barns()?);
    let named = match compared.named {
        Some(named) => named,
        None => named_before(conn)?,
    };
    let told: BTreeSet<HorseId> = horses.iter().map(|horse| horse.id).collect();
    // A grant may have been made or revoked between the two answers. A horse that only this one names would stay if its
    // grant ended again: heads that are as before tell nothing of it.
    horses.retain(|horse| named.contains(&horse.id));
    apply::herd(conn, &horses, &barns)?;
    setting::keep_document(conn, setting::POLICY, &ledger.policy()?)?;
    setting::keep_document(conn, setting::LICENCES, &ledger.licences()?)?;
    setting::keep_document(conn, setting::GRANTS, &grants)?;
    match compared.tag.filter(|_| told == named) {
        Some(tag) => setting::set(conn, setting::HEADS_TAG, tag),
        None => setting::forget(conn, setting::HEADS_TAG),
    }
}

/// The horses of the answer that this device is in step with: all that it shows but those that the server doesn't know yet.
fn named_before(conn: &mut SqliteConnection) -> Result<BTreeSet<HorseId>, Failure> {
    let mut named: BTreeSet<HorseId> = herd::visible(conn)?.into_iter().collect();
    for pending in herd::pending(conn)? {
        named.remove(&pending.new.id);
    }
    Ok(named)
}
