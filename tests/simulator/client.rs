//! A device with the real client on it: its database is a file, its sync the program's own, and it is cut short at
//! any statement.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, OnceLock};

use chrono::{DateTime, TimeDelta, Utc};
use diesel::connection::{Connection, InstrumentationEvent};
use diesel::sqlite::SqliteConnection;
use tempfile::TempDir;
use whorl_care::ids::{EventId, HorseId};
use whorl_cli::failure::Failure;
use whorl_cli::home::{Home, Membership};
use whorl_cli::mirror::Logged;
use whorl_cli::outbox::State;
use whorl_cli::stored::{At, Stored};
use whorl_cli::sync::{Means, Report, sync};
use whorl_cli::world::Machine;
use whorl_cli::{database, herd, mirror, outbox, setting, signers};
use whorl_contract::chain;
use whorl_contract::event::{SignedEvent, open_envelope};
use whorl_contract::key::{Hash, PublicKey};
use whorl_contract::sync::{Run, Signer};

use crate::cast::Device;
use crate::fault::Fault;
use crate::line::{Heard, Line};

/// Never.
const NEVER: i64 = i64::MAX;

/// What ends a client in the middle of a statement.
struct Killed;

/// How a sync ended.
pub(crate) enum End {
    Done(Report),
    Failed(Failure, Report),
    Killed,
}

pub(crate) struct Client {
    pub(crate) device: Device,
    pub(crate) heard: Heard,
    pub(crate) skew: TimeDelta,
    home: Home,
    file: PathBuf,
    conn: Option<SqliteConnection>,
    /// Statements that are left until it is killed.
    left: Arc<AtomicI64>,
    fault: Option<Fault>,
    /// Where its events are, until something may have changed.
    known: Option<BTreeMap<EventId, Kept>>,
    _folder: TempDir,
}

/// Memory where there is some: these tests are about logic, not about disks.
fn folder() -> TempDir {
    tempfile::tempdir_in("/dev/shm")
        .or_else(|_| tempfile::tempdir())
        .expect("a folder")
}

/// An empty database as the client makes it, made once.
fn empty() -> &'static [u8] {
    static EMPTY: OnceLock<Vec<u8>> = OnceLock::new();
    EMPTY.get_or_init(|| {
        let folder = folder();
        let file = folder.path().join("record.db");
        drop(database::open(&file).expect("a database"));
        std::fs::read(&file).expect("a file")
    })
}

impl Client {
    pub(crate) fn new(device: Device, server: PublicKey, fault: Option<Fault>) -> Self {
        let folder = folder();
        let home = Home::open(&folder.path().join("home")).expect("a folder");
        let membership = Membership {
            server: "https://saltmarsh.example".to_owned(),
            account_id: device.account,
            email: "wren@saltmarsh.example".to_owned(),
            name: "Wren Halloran".to_owned(),
            device_id: device.id,
            tokens: None,
        };
        home.keep_membership(&membership).expect("kept");
        std::fs::write(home.database(), empty()).expect("a file");
        let mut client = Self {
            file: home.database(),
            heard: Heard::default(),
            skew: TimeDelta::zero(),
            conn: None,
            left: Arc::new(AtomicI64::new(NEVER)),
            fault,
            home,
            device,
            known: None,
            _folder: folder,
        };
        let own = Signer {
            device_id: client.device.id,
            public_key: client.device.key.public(),
            account_id: client.device.account,
            name: "me".to_owned(),
        };
        let conn = client.open();
        setting::set(conn, setting::SERVER_KEY, server).expect("set");
        signers::add(conn, &own, DateTime::UNIX_EPOCH).expect("added");
        client
    }

    pub(crate) fn open(&mut self) -> &mut SqliteConnection {
        let (left, file) = (&self.left, &self.file);
        self.conn.get_or_insert_with(|| {
            let mut conn = database::open(file).expect("a database");
            let left = left.clone();
            conn.set_instrumentation(move |event: InstrumentationEvent<'_>| {
                let counts = matches!(event, InstrumentationEvent::StartQuery { .. });
                if counts && left.fetch_sub(1, Ordering::Relaxed) == 0 {
                    left.store(NEVER, Ordering::Relaxed);
                    resume_unwind(Box::new(Killed));
                }
            });
            conn
        })
    }

    pub(crate) fn record(&mut self, id: EventId, horse: HorseId, event: &SignedEvent) {
        self.known = None;
        outbox::queue(
            self.open(),
            id,
            horse,
            "weight",
            event,
            DateTime::UNIX_EPOCH,
        )
        .expect("queued");
    }

    /// Syncs; is killed after so many statements, if that is said.
    pub(crate) fn sync(
        &mut self,
        with: impl FnOnce(&mut Heard, &mut dyn FnMut(&mut Line<'_>)),
        now: DateTime<Utc>,
        statements: Option<usize>,
    ) -> End {
        if self.fault == Some(Fault::OverlooksTheEpoch) {
            // Whatever it will hear is what it knows.
            setting::forget(self.open(), setting::EPOCH).expect("forgotten");
        }
        self.known = None;
        let before = self.copies();
        let left = statements.map_or(NEVER, |n| i64::try_from(n).expect("a few"));
        self.open();
        self.left.store(left, Ordering::Relaxed);
        let mut conn = self.conn.take().expect("an open database");
        let clock = now + self.skew;
        let clock = || clock.fixed_offset();
        let random = |bytes: &mut [u8]| {
            bytes.fill(0);
            Ok(())
        };
        let mut report = Report::default();
        let mut done = Ok(());
        let ended = catch_unwind(AssertUnwindSafe(|| {
            let mut means = Means {
                home: &self.home,
                machine: Machine {
                    clock: &clock,
                    random: &random,
                    sleep: &|_| (),
                },
                progress: &mut |_| (),
                again: false,
            };
            with(&mut self.heard, &mut |line| {
                done = sync(&mut conn, line, &mut means, &mut report);
            });
        }));
        self.left.store(NEVER, Ordering::Relaxed);
        let end = match ended {
            Ok(()) => {
                self.conn = Some(conn);
                match done {
                    Ok(()) => End::Done(report),
                    Err(failure) => End::Failed(failure, report),
                }
            }
            Err(why) if why.is::<Killed>() => {
                // What was not committed goes with the connection.
                drop(conn);
                End::Killed
            }
            Err(why) => resume_unwind(why),
        };
        self.err(&end, &before);
        end
    }

    /// The copies as they stand, for a client that will not let go of them.
    fn copies(&mut self) -> Vec<Logged> {
        if self.fault != Some(Fault::KeepsWhatWentOutOfSight) {
            return Vec::new();
        }
        let conn = self.open();
        let horses = mirror::horses(conn).expect("read").into_iter();
        horses
            .flat_map(|horse| mirror::log(conn, horse).expect("read"))
            .collect()
    }

    /// What a broken client does beside its sync.
    fn err(&mut self, end: &End, before: &[Logged]) {
        let (heard_sent, runs) = (
            self.heard.sent.clone(),
            std::mem::take(&mut self.heard.runs),
        );
        let fault = self.fault;
        let conn = self.open();
        match (fault, end) {
            (Some(Fault::DropsWhatIsRefused), _) => {
                for entry in outbox::all(conn).expect("read") {
                    if entry.state.0 == State::Refused {
                        outbox::remove(conn, entry.event_id.0).expect("removed");
                    }
                }
            }
            (Some(Fault::DropsWhatWasSent), _) => {
                for id in heard_sent {
                    outbox::remove(conn, id).expect("removed");
                }
            }
            (Some(Fault::DropsWhatWaitsWithTheHorse), End::Done(report)) => {
                for locked in &report.locked {
                    for entry in outbox::of_horse(conn, locked.horse_id).expect("read") {
                        outbox::remove(conn, entry.event_id.0).expect("removed");
                    }
                }
            }
            (Some(Fault::BelievesWhatItIsSent), _) => {
                for run in &runs {
                    believe(conn, run);
                }
            }
            (Some(Fault::KeepsWhatWentOutOfSight), End::Done(report)) => {
                let locked = |entry: &&Logged| {
                    let horses = report.locked.iter();
                    horses
                        .map(|one| one.horse_id)
                        .any(|id| id == entry.horse_id.0)
                };
                for entry in before.iter().filter(locked) {
                    mirror::add(conn, entry).expect("added");
                }
            }
            _ => {}
        }
    }

    /// Whether anything may have changed here since it was last looked at.
    pub(crate) fn has_changed(&self) -> bool {
        self.known.is_none()
    }

    /// Where an event is on this device.
    pub(crate) fn keeps(&mut self, id: EventId) -> Kept {
        if self.known.is_none() {
            let conn = self.open();
            let mut known: BTreeMap<EventId, Kept> = BTreeMap::new();
            for entry in outbox::all(conn).expect("read") {
                known.entry(entry.event_id.0).or_default().outbox = Some(entry.state.0);
            }
            for id in mirror::event_ids(conn).expect("read") {
                let Some(entry) = mirror::find(conn, id).expect("read") else {
                    continue;
                };
                let waits = outbox::with_leaf(conn, entry.leaf.0).expect("read");
                let kept = known.entry(id).or_default();
                kept.leaf = Some(entry.leaf.0);
                kept.twice = waits.is_some_and(|waits| waits.state.0 != State::Refused);
            }
            self.known = Some(known);
        }
        let known = self.known.as_ref().and_then(|known| known.get(&id));
        known.copied().unwrap_or_default()
    }

    /// Sends everything again that was refused, with the next sync.
    pub(crate) fn try_again(&mut self) {
        self.known = None;
        let conn = self.open();
        for entry in outbox::all(conn).expect("read") {
            if entry.state.0 == State::Refused {
                outbox::retry(conn, entry.event_id.0).expect("waits");
            }
        }
    }

    /// The horses whose copies it shows.
    pub(crate) fn shows(&mut self) -> Vec<HorseId> {
        let conn = self.open();
        let aside = herd::aside(conn).expect("read");
        let mut horses = mirror::horses(conn).expect("read");
        horses.extend(herd::visible(conn).expect("read"));
        horses.retain(|horse| !aside.contains(horse));
        horses
    }
}

/// Where an event is on a device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Kept {
    pub(crate) outbox: Option<State>,
    /// What the copy of the log has under its id.
    pub(crate) leaf: Option<Hash>,
    /// Whether the very same also waits in the outbox.
    pub(crate) twice: bool,
}

impl Kept {
    pub(crate) fn anywhere(self) -> bool {
        self.outbox.is_some() || self.leaf.is_some()
    }
}

/// Takes a page over as it came, as far as it joins on to what is there.
fn believe(conn: &mut SqliteConnection, run: &Run) {
    for event in &run.events {
        let before = mirror::head_at(conn, run.horse_id, event.seq - 1).expect("read");
        let (Some(before), Ok(leaf)) = (before, event.leaf()) else {
            return;
        };
        let envelope = event.envelope.as_ref().map(|text| text.get().to_owned());
        let opened = envelope
            .as_deref()
            .map(|text| open_envelope(text).expect("an envelope").0);
        let entry = Logged {
            horse_id: Stored(run.horse_id),
            seq: event.seq,
            event_id: opened.as_ref().map(|one| Stored(one.id)),
            kind: opened.map(|one| one.kind.to_string()),
            received_at: Stored(At(event.received_at)),
            envelope,
            content: event.content.as_ref().map(|text| text.get().to_owned()),
            salt: event.salt.map(Stored),
            signature: event.signature.map(Stored),
            leaf: Stored(leaf),
            open_kinds: None,
            head: Stored(chain::next(&before, &leaf)),
        };
        mirror::add(conn, &entry).expect("added");
    }
}
