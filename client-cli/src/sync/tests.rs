//! The promises of syncing, held against a model of the server on a line that fails.

mod model;

use std::cell::Cell;

use diesel::sqlite::SqliteConnection;
use proptest::prelude::*;
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_contract::key::SecretKey;
use whorl_contract::problem::Kind as Problems;
use whorl_contract::sync::Signer;

use self::model::{Disk, Line, Model, signed};
use super::check::Why;
use super::{Means, Report, apply, check, sync};
use crate::failure::Failure;
use crate::home::Home;
use crate::mirror::{self, Place};
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
        client
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
        let home = Home::open(&self.folder.path().join("home")).expect("a folder");
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
            progress: &mut |_, _| (),
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

#[derive(Clone, Debug)]
enum Step {
    Record(u8),
    SomebodyRecords(u8),
    Sync(Vec<Line>),
    BackUp,
    Restore,
    RestoreUnannounced,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let line = prop_oneof![
        3 => Just(Line::Good),
        1 => Just(Line::LosesRequest),
        1 => Just(Line::LosesAnswer),
    ];
    let step = prop_oneof![
        6 => (0_u8..3).prop_map(Step::Record),
        4 => (0_u8..3).prop_map(Step::SomebodyRecords),
        6 => prop::collection::vec(line, 0..8).prop_map(Step::Sync),
        1 => Just(Step::BackUp),
        1 => Just(Step::Restore),
        1 => Just(Step::RestoreUnannounced),
    ];
    prop::collection::vec(step, 1..30)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Any order of recording, lost requests, lost answers, kills between the steps, and servers that go back to a
    /// backup ends in the same log on both sides, with everything in it that was ever acknowledged or recorded here,
    /// once.
    #[test]
    fn whatever_happens_both_sides_end_with_the_same_and_nothing_is_lost(steps in steps()) {
        let mut model = Model::new();
        let client = Client::new(&mut model);
        let mut mine = Vec::new();
        let mut backup = Disk::default();
        let mut others: u128 = 500_000;
        for step in steps {
            match step {
                Step::Record(n) => mine.push((horse(n), client.record(horse(n)))),
                Step::SomebodyRecords(n) => {
                    others += 1;
                    model.somebody_records(horse(n), others);
                }
                Step::Sync(line) => {
                    model.line = line.into();
                    let (_, done) = client.sync(&mut model, false);
                    if let Err(failure) = done {
                        prop_assert_eq!(failure.status(), 4);
                    }
                }
                Step::BackUp => backup = model.disk.clone(),
                Step::Restore => {
                    model.disk = backup.clone();
                    model.epoch = Uuid::from_u128(model.epoch.as_u128() + 1);
                }
                // The horses are there still: one that is missing without a word is one that we may not see.
                Step::RestoreUnannounced => {
                    for (horse, log) in &mut model.disk.logs {
                        *log = backup.logs.get(horse).cloned().unwrap_or_default();
                    }
                }
            }
        }
        client.settled(&mut model);
        // Whoever runs the server opens the horses again that its backup didn't have.
        for n in 0..3 {
            model.disk.logs.entry(horse(n)).or_default();
        }
        client.settled(&mut model);
        for n in 0..3 {
            client.assert_same(&model, horse(n));
        }
        prop_assert_eq!(client.states(), vec![]);
        for (horse, id) in mine {
            let log = &model.disk.logs[&horse];
            let count = log
                .iter()
                .filter(|event| event.open().expect("genuine").envelope.id == id)
                .count();
            prop_assert_eq!(count, 1);
        }
    }

    /// However the pages of a log are cut and whatever is lost on the way, the copy is always the beginning of the log.
    #[test]
    fn a_copy_is_always_a_beginning(
        count in 1_usize..20,
        lines in prop::collection::vec(prop::collection::vec(prop_oneof![
            Just(Line::Good), Just(Line::LosesRequest), Just(Line::LosesAnswer)], 0..6), 0..6),
    ) {
        let mut model = Model::new();
        let client = Client::new(&mut model);
        for n in 0..count {
            model.somebody_records(horse(0), 600_000 + n as u128);
        }
        for line in lines {
            model.line = line.into();
            let _ = client.sync(&mut model, false);
            let heads = model.heads_of(horse(0));
            let place = mirror::place(&mut client.open(), horse(0)).expect("a place");
            let seq = usize::try_from(place.seq).expect("a place");
            prop_assert_eq!(place.head, heads[seq]);
        }
    }

    /// A changed bit anywhere in an event, a dropped, repeated or swapped entry is found, and nothing is written.
    #[test]
    fn no_change_of_a_run_is_overlooked(at in any::<prop::sample::Index>(), bit in 0_u8..8, how in 0_u8..5) {
        let mut model = Model::new();
        for n in 0..4 {
            model.somebody_records(horse(0), 700_000 + n);
        }
        let heads = model.heads_of(horse(0));
        let log = &model.disk.logs[&horse(0)];
        let mut events: Vec<_> = log
            .iter()
            .enumerate()
            .map(|(n, event)| model::logged(n + 1, event, false))
            .collect();
        match how {
            0 => {
                let envelope = events[1].envelope.take().expect("whole");
                events[1].envelope = Some(flip(envelope.get(), at, bit));
            }
            1 => {
                let content = events[1].content.take().expect("whole");
                events[1].content = Some(flip(content.get(), at, bit));
            }
            2 => drop(events.remove(1)),
            3 => events.swap(0, 1),
            _ => events.insert(1, events[1].clone()),
        }
        let run = whorl_contract::sync::Run { horse_id: horse(0), events, head: heads[4], more: false };
        let signers = model.signers.clone();
        prop_assert!(check::run(&run, Place::start(horse(0)), &signers).is_err());
    }
}

/// The text with one bit changed, if that still is JSON; else something else that is.
fn flip(text: &str, at: prop::sample::Index, bit: u8) -> Box<serde_json::value::RawValue> {
    let mut bytes = text.as_bytes().to_vec();
    let at = at.index(bytes.len());
    bytes[at] ^= 1 << bit;
    let changed = String::from_utf8(bytes)
        .ok()
        .and_then(|text| serde_json::value::RawValue::from_string(text).ok());
    changed.unwrap_or_else(|| {
        serde_json::value::RawValue::from_string("{\"other\":1}".to_owned()).expect("JSON")
    })
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
fn the_same_id_with_another_body_is_refused_and_both_stay() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1_000);
    let id = client.record(horse(0));
    let report = client.settled(&mut model);
    assert!(report.refused[0].why.contains("another body"), "{report:?}");
    let mut conn = client.open();
    let theirs = mirror::find(&mut conn, id)
        .expect("read")
        .expect("in the log");
    let ours = outbox::find(&mut conn, id)
        .expect("read")
        .expect("in the outbox");
    assert_eq!(ours.state.0, State::Refused);
    assert_ne!(theirs.signature.expect("whole"), ours.signature);
}

#[test]
fn a_horse_out_of_sight_is_taken_off_but_for_what_the_server_never_took() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    model.somebody_records(horse(1), 2);
    client.settled(&mut model);
    model.hidden.insert(horse(0));
    let id = client.record(horse(0));
    let report = client.settled(&mut model);
    assert_eq!(report.locked.len(), 1);
    assert_eq!(report.locked[0].entries_kept, 1);
    let mut conn = client.open();
    assert_eq!(mirror::log(&mut conn, horse(0)).expect("read"), []);
    assert_eq!(mirror::log(&mut conn, horse(1)).expect("read").len(), 1);
    let kept = outbox::find(&mut conn, id).expect("read").expect("kept");
    assert_eq!(kept.state.0, State::Refused);
    assert_eq!(client.settled(&mut model).locked, []);
}

#[test]
fn a_changed_key_of_a_known_device_is_an_alarm_and_is_not_believed() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    let (account, device) = (
        AccountId(Uuid::from_u128(77)),
        DeviceId(Uuid::from_u128(78)),
    );
    let thief = SecretKey::from_seed(&[6; 32]);
    model.know(device, account, thief.public());
    let forged = signed(horse(0), 2, account, device, &thief);
    model
        .disk
        .logs
        .get_mut(&horse(0))
        .expect("a log")
        .push(forged);
    let other = SecretKey::from_seed(&[8; 32]);
    let (owner, theirs) = (
        AccountId(Uuid::from_u128(87)),
        DeviceId(Uuid::from_u128(88)),
    );
    model.know(theirs, owner, other.public());
    let good = signed(horse(1), 3, owner, theirs, &other);
    model.disk.logs.entry(horse(1)).or_default().push(good);
    let (report, done) = client.sync(&mut model, false);
    done.expect("the line is good");
    assert!(
        report
            .alarms
            .iter()
            .any(|text| text.contains("another key")),
        "{report:?}"
    );
    assert!(
        report.alarms.iter().any(|text| text.contains("entry 2")),
        "{report:?}"
    );
    let mut conn = client.open();
    assert_eq!(mirror::log(&mut conn, horse(0)).expect("read").len(), 1);
    assert_eq!(mirror::log(&mut conn, horse(1)).expect("read").len(), 1);
    assert_ne!(
        signers::all(&mut conn).expect("read")[&device].public_key,
        thief.public()
    );
}

#[test]
fn a_server_that_changes_a_log_without_a_word_is_an_alarm_and_gets_ours_back() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in 1..=4 {
        model.somebody_records(horse(0), n);
    }
    client.settled(&mut model);
    model.disk.logs.get_mut(&horse(0)).expect("a log").remove(1);
    let report = client.settled(&mut model);
    assert_eq!(report.given_back, 1, "{report:?}");
    assert!(report.alarms[0].contains("from entry 2 on"), "{report:?}");
    assert_eq!(mirror::kept_apart(&mut client.open()).expect("read"), 3);
    assert_eq!(model.disk.logs[&horse(0)].len(), 4);
    client.assert_same(&model, horse(0));
}

#[test]
fn a_restored_server_gets_back_what_it_lost_and_that_is_no_alarm() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    let backup = model.disk.clone();
    client.record(horse(0));
    model.somebody_records(horse(0), 2);
    client.settled(&mut model);
    model.disk = backup;
    model.epoch = Uuid::from_u128(2);
    let report = client.settled(&mut model);
    assert_eq!(
        (report.given_back, report.alarms.len()),
        (2, 0),
        "{report:?}"
    );
    assert!(
        report
            .notices
            .iter()
            .any(|text| text.contains("began anew")),
        "{report:?}"
    );
    assert_eq!(model.disk.logs[&horse(0)].len(), 3);
    client.assert_same(&model, horse(0));
}

#[test]
fn what_was_acknowledged_and_not_pulled_yet_is_pushed_again_after_a_restore() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    let backup = model.disk.clone();
    client.record(horse(0));
    // The push gets through, the rest doesn't.
    model.line = [Line::Good, Line::LosesRequest].into();
    let (_, done) = client.sync(&mut model, false);
    assert_eq!(done.expect_err("the line broke").status(), 4);
    assert_eq!(client.states(), [State::Acknowledged]);
    model.disk = backup;
    model.epoch = Uuid::from_u128(2);
    client.settled(&mut model);
    client.settled(&mut model);
    assert_eq!(model.disk.logs[&horse(0)].len(), 2);
    assert_eq!(client.states(), []);
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
fn another_server_key_stops_everything_before_anything_is_sent() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    model.shown_key = SecretKey::from_seed(&[10; 32]).public();
    let (_, done) = client.sync(&mut model, false);
    assert_eq!(done.expect_err("another key").status(), 5);
    assert_eq!((model.pushes, client.states()), (0, vec![State::Waiting]));
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

#[test]
fn an_entry_that_was_acknowledged_and_lost_without_a_word_is_pushed_again() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    let backup = model.disk.clone();
    client.record(horse(0));
    model.line = [Line::Good, Line::LosesRequest].into();
    let (_, done) = client.sync(&mut model, false);
    assert_eq!(done.expect_err("the line broke").status(), 4);
    model.disk = backup;
    let report = client.settled(&mut model);
    assert!(report.alarms[0].contains("pushed again"), "{report:?}");
    assert_eq!(model.disk.logs[&horse(0)].len(), 2);
    assert_eq!(client.states(), []);
}

#[test]
fn a_page_is_applied_whole_or_not_at_all() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in 1..=3 {
        model.somebody_records(horse(0), n);
    }
    let heads = model.heads_of(horse(0));
    let events: Vec<_> = model.disk.logs[&horse(0)]
        .iter()
        .enumerate()
        .map(|(n, event)| model::logged(n + 1, event, false))
        .collect();
    let run = whorl_contract::sync::Run {
        horse_id: horse(0),
        events,
        head: heads[3],
        more: false,
    };
    let mut checked = check::run(&run, Place::start(horse(0)), &model.signers).expect("sound");
    // The last one breaks a rule of the table, as a disk that fills up would break the write.
    checked[2].seq = 0;
    let mut conn = client.open();
    assert!(apply::page(&mut conn, &checked, &[], chrono::DateTime::UNIX_EPOCH).is_err());
    assert_eq!(mirror::log(&mut conn, horse(0)).expect("read"), []);
}

#[test]
fn a_signature_by_the_right_key_of_the_wrong_person_is_none() {
    let mut model = Model::new();
    model.somebody_records(horse(0), 1);
    let heads = model.heads_of(horse(0));
    let event = model::logged(1, &model.disk.logs[&horse(0)][0], false);
    let run = whorl_contract::sync::Run {
        horse_id: horse(0),
        events: vec![event],
        head: heads[1],
        more: false,
    };
    let mut signers = model.signers.clone();
    for signer in signers.values_mut() {
        signer.account_id = ME;
    }
    let misfit = check::run(&run, Place::start(horse(0)), &signers).expect_err("not theirs");
    assert_eq!((misfit.seq, misfit.why), (1, Why::OtherSignature));
    let unknown = check::run(
        &run,
        Place::start(horse(0)),
        &std::collections::BTreeMap::new(),
    );
    assert!(matches!(
        unknown.expect_err("unknown").why,
        Why::UnknownSigner(_)
    ));
}
