//! Pushing: new horses first, then photos, then events in the order of recording.
//!
//! An answer that doesn't arrive leaves everything waiting, and pushing again does no harm. An event that the server
//! can't take never stops those behind it.

use diesel::sqlite::SqliteConnection;
use whorl_contract::problem::{Kind, Problem};
use whorl_contract::sync::{Outcome, Push, Pushed};

use super::portion::Portion;
use super::{Ledger, Means, Progress, Refused, Report, label};
use crate::attachments;
use crate::failure::{Failure, words};
use crate::herd;
use crate::outbox::{self, Entry};
use crate::server_key;
use crate::setting;
use crate::witness;
use crate::world::Machine;

/// Events of the first batch.
const FIRST_BATCH: u32 = 50;
/// Events of the largest batch.
const LARGEST_BATCH: u32 = 200;
/// Bytes of one batch, about: a lost answer costs no more than that on a thin line.
const BYTES: usize = 512 * 1024;
/// A server that fails on so many single events in a row fails on everything.
const FAILURES: u32 = 3;

/// Pushes all that waits.
///
/// # Errors
///
/// [`Failure::Offline`] if the line breaks; what was answered for until then is noted.
pub fn push(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    means: &mut Means<'_, '_>,
    report: &mut Report,
) -> Result<(), Failure> {
    open_horses(conn, ledger, report)?;
    attachments::upload(conn, ledger, means.home, report)?;
    let mut pusher = Pusher {
        conn,
        ledger,
        machine: means.machine,
        report,
        failures: 0,
    };
    let total = outbox::count_to_push(pusher.conn)?;
    let mut portion = Portion::new(FIRST_BATCH, LARGEST_BATCH);
    let (mut position, mut sent) = (0, 0);
    loop {
        let batch = pusher.next(position, portion.entries())?;
        let Some(last) = batch.last() else {
            return Ok(());
        };
        let start = (means.machine.clock)();
        match pusher.send(&batch) {
            Ok(()) => {
                portion.came_through((means.machine.clock)() - start);
                position = last.position;
                sent += batch.len() as u64;
                (means.progress)(Progress::Sent(sent, total));
            }
            // What was answered for has left the outbox; the rest goes in smaller batches.
            Err(failure) => portion.broke(failure, means.machine)?,
        }
    }
}

fn open_horses(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    report: &mut Report,
) -> Result<(), Failure> {
    for pending in herd::pending(conn)? {
        let id = pending.new.id;
        match ledger.open_horse(&pending.new) {
            Ok(()) => {
                herd::settle_pending(conn, id, None)?;
                report.horses_opened += 1;
            }
            Err(Failure::Refused(why, Some(problem))) if is_about_it(&problem) => {
                herd::settle_pending(conn, id, Some(&problem))?;
                report.refused.push(Refused {
                    event_id: None,
                    horse_id: id,
                    why: format!("opening the record of {}: {why}", label(conn, id)),
                });
            }
            Err(failure) => return Err(failure),
        }
    }
    Ok(())
}

/// Whether a refusal is about what was sent; else it is about who sent it or about the server's state, and holds for
/// everything that waits.
pub(crate) fn is_about_it(problem: &Problem) -> bool {
    !matches!(
        problem.kind,
        Kind::Unauthenticated
            | Kind::WrongCredentials
            | Kind::Reauthenticate
            | Kind::MethodNotAllowed
            | Kind::TooManyRequests
            | Kind::Unavailable
            | Kind::Internal
            | Kind::Unknown
    )
}

struct Pusher<'x, 'a> {
    conn: &'x mut SqliteConnection,
    ledger: &'x mut dyn Ledger,
    machine: Machine<'a>,
    report: &'x mut Report,
    failures: u32,
}

impl Pusher<'_, '_> {
    /// The next batch after `position`, cut to a size that a thin line can carry.
    fn next(&mut self, position: i64, events: u32) -> Result<Vec<Entry>, Failure> {
        let mut batch = outbox::to_push(self.conn, position, events.into())?;
        let mut bytes = 0;
        let fits = batch
            .iter()
            .take_while(|entry| {
                bytes += entry.envelope.len() + entry.content.len() + 256;
                bytes <= BYTES
            })
            .count();
        batch.truncate(fits.max(1));
        Ok(batch)
    }

    /// Sends a batch; if the server can't take it as a whole, its halves, down to the event at fault.
    fn send(&mut self, batch: &[Entry]) -> Result<(), Failure> {
        let events = batch
            .iter()
            .map(Entry::event)
            .collect::<Result<Vec<_>, _>>()?;
        let failure = match self.ledger.push(&Push { events }) {
            Ok(pushed) => {
                self.failures = 0;
                return self.note(batch, &pushed);
            }
            Err(failure) => failure,
        };
        let problem = match &failure {
            Failure::Refused(_, Some(problem)) if is_about_it(problem) => Some(problem.clone()),
            Failure::ServerFailed(_) => None,
            _ => return Err(failure),
        };
        if batch.len() > 1 {
            let (first, second) = batch.split_at(batch.len() / 2);
            self.send(first)?;
            return self.send(second);
        }
        match (batch.first(), problem) {
            (Some(entry), Some(problem)) => self.refuse(entry, problem),
            (Some(entry), None) => {
                self.failures += 1;
                if self.failures >= FAILURES {
                    return Err(failure);
                }
                self.report.notices.push(format!(
                    "the server fails on entry {} and it goes on waiting: {failure}",
                    entry.event_id.0
                ));
                Ok(())
            }
            (None, _) => Ok(()),
        }
    }

    /// Notes what the server said of each event, all at once.
    fn note(&mut self, batch: &[Entry], pushed: &Pushed) -> Result<(), Failure> {
        if pushed.outcomes.len() != batch.len() {
            return Err(Failure::ServerFailed(
                "the server answered for another number of entries than it was sent; they go on waiting"
                    .to_owned(),
            ));
        }
        let now = self.machine.utc();
        self.conn.immediate_transaction(|conn| {
            for (entry, outcome) in batch.iter().zip(&pushed.outcomes) {
                outbox::answer(conn, entry.event_id.0, outcome, pushed.epoch, now)?;
            }
            Ok::<_, Failure>(())
        })?;
        for (entry, outcome) in batch.iter().zip(&pushed.outcomes) {
            self.count(entry, outcome);
        }
        self.keep_heads(pushed)
    }

    fn count(&mut self, entry: &Entry, outcome: &Outcome) {
        match outcome {
            Outcome::Accepted { .. } => self.report.accepted += 1,
            Outcome::Known { .. } => self.report.known += 1,
            Outcome::Held => self.report.held += 1,
            Outcome::Refused { problem } => {
                let horse = label(self.conn, entry.horse_id.0);
                self.report.refused.push(Refused {
                    event_id: Some(entry.event_id.0),
                    horse_id: entry.horse_id.0,
                    why: format!("{} of {horse}: {}", entry.kind, words(problem)),
                });
            }
        }
    }

    fn refuse(&mut self, entry: &Entry, problem: Box<Problem>) -> Result<(), Failure> {
        let outcome = Outcome::Refused { problem };
        let epoch = setting::get(self.conn, setting::EPOCH)?.unwrap_or_default();
        let now = self.machine.utc();
        outbox::answer(self.conn, entry.event_id.0, &outcome, epoch, now)?;
        self.count(entry, &outcome);
        Ok(())
    }

    fn keep_heads(&mut self, pushed: &Pushed) -> Result<(), Failure> {
        let Some(key) = server_key::known(self.conn)? else {
            return Ok(());
        };
        for signed in &pushed.heads {
            if !witness::keep(self.conn, &key, signed)? {
                let horse = label(self.conn, signed.horse_id);
                self.report.alarms.push(format!(
                    "the head that the server gave for {horse} is not signed by the key that this server had when \
                     this device joined"
                ));
            }
        }
        Ok(())
    }
}
