//! Coming into step with the server: push what waits, compare heads, pull what is lacking, verify, and say plainly
//! what doesn't fit.
//!
//! What this holds to: an event that the server has not acknowledged is never dropped; a page is applied whole or not
//! at all, and where a copy stands is read from the copy itself; nothing enters a copy before its chain and its
//! signatures are checked; if the server lost or changed entries, ours are kept apart and pushed back.

pub mod apply;
pub mod check;
pub mod ledger;
pub mod plan;
pub mod portion;
pub mod pull;
pub mod push;
pub mod repair;
pub mod surroundings;

use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use whorl_care::ids::{EventId, HorseId};

pub use self::ledger::Ledger;
use crate::failure::Failure;
use crate::herd;
use crate::home::Home;
use crate::world::Machine;

/// A repair queues entries, which are pushed and pulled back in a further round. More rounds than this would mean that
/// the server goes on losing entries.
const ROUNDS: usize = 3;

/// What was done, for a person and for a program.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Report {
    /// Horses that the server has opened.
    pub horses_opened: usize,
    /// Photos and documents that went to the server.
    pub uploaded: usize,
    /// Events that the server took.
    pub accepted: usize,
    /// Events that it had before.
    pub known: usize,
    /// Events that wait for an owner there.
    pub held: usize,
    /// Events that it refused, and why.
    pub refused: Vec<Refused>,
    /// Entries that came.
    pub pulled: usize,
    /// Horses that this account may not see any more.
    pub locked: Vec<Locked>,
    /// Entries that the server lost and that are offered to it again.
    pub given_back: usize,
    /// What a person should know.
    pub notices: Vec<String>,
    /// What doesn't verify.
    pub alarms: Vec<String>,
}

/// An event, a horse or a file that the server refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Refused {
    /// The event; none for a horse or a file.
    pub event_id: Option<EventId>,
    /// The horse.
    pub horse_id: HorseId,
    /// What it is, and why it was refused.
    pub why: String,
}

/// A horse that this account may not see any more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Locked {
    /// The horse.
    pub horse_id: HorseId,
    /// What it was called.
    pub name: String,
    /// How many entries of this device stay, since the server never took them.
    pub entries_kept: usize,
}

/// What a run is given besides the two sides.
pub struct Means<'a, 'p> {
    /// The client's folder, where photos wait.
    pub home: &'p Home,
    /// Clock and randomness.
    pub machine: Machine<'a>,
    /// Told how far it has come.
    pub progress: &'p mut dyn FnMut(Progress),
    /// Pulls everything once more, to fill in what was sealed when it came first.
    pub again: bool,
}

/// How far it has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// So many entries were sent, of so many that waited.
    Sent(u64, u64),
    /// So many entries have come, of so many that are lacking.
    Fetched(u64, u64),
}

/// Pushes, pulls, repairs. `report` holds what was done, also if it ends early.
///
/// # Errors
///
/// [`Failure::Offline`] if the line breaks, [`Failure::Device`] if this device fails. What was done until then stays
/// done; running it again goes on from there.
pub fn sync(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    report: &mut Report,
) -> Result<(), Failure> {
    surroundings::look_at_server(conn, ledger, means.machine, report)?;
    // Asked before what they open is: one that is made in between is noticed the next time.
    let grants = ledger.grants()?;
    means.again |= surroundings::sees_more(conn, &grants)?;
    let mut compared = round(conn, ledger, means, report)?;
    for _ in 1..ROUNDS {
        if !compared.again {
            break;
        }
        means.again = false;
        compared = round(conn, ledger, means, report)?;
    }
    surroundings::keep(conn, ledger, &grants, compared)
}

fn round(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    report: &mut Report,
) -> Result<pull::Compared, Failure> {
    push::push(conn, ledger, means, report)?;
    pull::pull(conn, ledger, means, report)
}

/// What to call a horse in a message.
pub(crate) fn label(conn: &mut SqliteConnection, horse: HorseId) -> String {
    let known = herd::horse(conn, horse).ok().flatten();
    known.map_or_else(|| format!("the horse {horse}"), |known| known.label())
}

#[cfg(test)]
mod tests;
