//! The promises of syncing, held against a model of the server on a line that fails.

mod later;
mod meanwhile;
mod model;
mod promises;
mod repairs;
mod soundness;

use std::cell::Cell;

use diesel::sqlite::SqliteConnection;
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_contract::key::SecretKey;
use whorl_contract::problem::Kind as Problems;
use whorl_contract::sync::Signer;

use self::model::{Line, Model, signed};
use super::{Means, Report, sync};
use crate::failure::Failure;
use crate::home::{Home, Membership};
use crate::mirror;
use crate::outbox::{self, State};
use crate::world::Machine;
use crate::{database, setting, signers};

/// A client with its own folder; what it keeps in memory ends with each call, as if it were killed in between.
struct Client {
    folder: tempfile::TempDir,
    key: SecretKey,
    recorded: Cell<u128>,
}

const ME: AccountId = AccountId(Uuid::from_u128(40));
const MINE: DeviceId = DeviceId(Uuid::from_u128(41));

impl Client {
    fn new(model: &mut Model) -> Self {
        // Memory where there is some: these tests are about logic, not about disks.
        let folder = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir());
        let client = Self {
            folder: folder.expect("a folder"),
            key: SecretKey::from_seed(&[1; 32]),
            recorded: Cell::new(1_000),
        };
        let mut conn = client.open();
        setting::set(&mut conn, setting::SERVER_KEY, model.key.public()).expect("set");
        let own = Signer {
            device_id: MINE,
            public_key: client.key.public(),
            account_id: ME,
            name: "me".to_owned(),
        };
        signers::add(&mut conn, &own, chrono::DateTime::UNIX_EPOCH).expect("added");
        model.know(MINE, ME, client.key.public());
        let membership = Membership {
            server: "https://saltmarsh.example".to_owned(),
            account_id: ME,
            email: "wren@saltmarsh.example".to_owned(),
            name: "Wren Halloran".to_owned(),
            device_id: MINE,
            tokens: None,
        };
        client.home().keep_membership(&membership).expect("kept");
        client
    }

    fn home(&self) -> Home {
        Home::open(&self.folder.path().join("home")).expect("a folder")
    }

    fn open(&self) -> SqliteConnection {
        database::open(&self.folder.path().join("record.db")).expect("opened")
    }

    fn record(&self, horse: HorseId) -> EventId {
        let n = self.recorded.get();
        self.recorded.set(n + 1);
        let event = signed(horse, n, ME, MINE, &self.key);
        let id = EventId(Uuid::from_u128(n));
        outbox::queue(
            &mut self.open(),
            id,
            horse,
            "weight",
            &event,
            chrono::DateTime::UNIX_EPOCH,
        )
        .expect("queued");
        id
    }

    fn sync(&self, model: &mut Model, again: bool) -> (Report, Result<(), Failure>) {
        let home = self.home();
        let clock = || chrono::DateTime::UNIX_EPOCH.fixed_offset();
        let mut report = Report::default();
        let mut means = Means {
            home: &home,
            machine: Machine {
                clock: &clock,
                random: &|bytes| {
                    bytes.fill(0);
                    Ok(())
                },
                sleep: &|_| (),
            },
            progress: &mut |_| (),
            again,
        };
        let done = sync(&mut self.open(), model, &mut means, &mut report);
        (report, done)
    }

    fn settled(&self, model: &mut Model) -> Report {
        model.line.clear();
        let (report, done) = self.sync(model, false);
        done.expect("a good line");
        report
    }

    fn assert_same(&self, model: &Model, horse: HorseId) {
        let mut conn = self.open();
        let ours: Vec<_> = mirror::log(&mut conn, horse)
            .expect("a log")
            .iter()
            .map(|entry| entry.head.0)
            .collect();
        assert_eq!(ours, model.heads_of(horse)[1..]);
    }

    fn states(&self) -> Vec<State> {
        let entries = outbox::all(&mut self.open()).expect("entries");
        entries.iter().map(|entry| entry.state.0).collect()
    }
}

fn horse(n: u8) -> HorseId {
    HorseId(Uuid::from_u128(100 + u128::from(n)))
}

#[test]
fn a_second_sync_with_nothing_new_pushes_and_pulls_nothing() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    let first = client.settled(&mut model);
    assert_eq!((first.accepted, first.pulled), (1, 1));
    let pushes = model.pushes;
    assert_eq!(client.settled(&mut model), Report::default());
    assert_eq!(model.pushes, pushes);
}

#[test]
fn one_refused_entry_stops_nothing_and_stays_readable() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    let ids: Vec<EventId> = (0..3).map(|_| client.record(horse(0))).collect();
    model.refuses.insert(ids[1]);
    let report = client.settled(&mut model);
    assert_eq!((report.accepted, report.refused.len()), (2, 1));
    assert_eq!(client.states(), [State::Refused]);
    let kept = outbox::find(&mut client.open(), ids[1])
        .expect("read")
        .expect("there");
    assert_eq!(kept.refusal().expect("a problem").kind, Problems::NoGrant);
    assert!(kept.event().expect("an event").open().is_ok());
}

#[test]
fn what_was_sealed_is_filled_in_when_it_is_fetched_again() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    model.sealed = true;
    client.settled(&mut model);
    let entry = |client: &Client| {
        mirror::log(&mut client.open(), horse(0))
            .expect("read")
            .remove(0)
    };
    assert_eq!(entry(&client).content, None);
    model.sealed = false;
    let (_, done) = client.sync(&mut model, true);
    done.expect("a good line");
    assert!(entry(&client).content.is_some());
    client.assert_same(&model, horse(0));
}

#[test]
fn a_wider_grant_opens_what_was_sealed_without_being_asked() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    model.sealed = true;
    client.settled(&mut model);
    model.sealed = false;
    let sealed = |client: &Client| mirror::has_sealed(&mut client.open()).expect("read");
    client.settled(&mut model);
    assert!(sealed(&client), "nothing said that more may be seen");
    model.grants.push(model::grant());
    client.settled(&mut model);
    assert!(!sealed(&client));
    client.assert_same(&model, horse(0));
}

#[test]
fn a_wrong_clock_is_said_and_stops_nothing() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    model.clock += chrono::TimeDelta::minutes(90);
    let report = client.settled(&mut model);
    assert!(
        report.notices[0].contains("90 minutes behind"),
        "{report:?}"
    );
    assert_eq!(report.accepted, 1);
}

#[test]
fn our_own_entry_keeps_its_content_though_it_comes_back_sealed() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    model.sealed = true;
    client.settled(&mut model);
    assert_eq!(client.states(), []);
    let entry = mirror::log(&mut client.open(), horse(0))
        .expect("read")
        .remove(0);
    assert!(entry.event().expect("whole").open().is_ok());
}
