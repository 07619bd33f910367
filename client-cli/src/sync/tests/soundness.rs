//! What is not believed, and what is written whole or not at all.

use super::*;
use crate::mirror::Place;
use crate::sync::check::Why;
use crate::sync::{apply, check};

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
        kinds: Vec::new(),
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
        kinds: Vec::new(),
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

/// The horse that lacks least comes first, and of it nothing comes: the others come all the same.
#[test]
fn a_horse_that_is_announced_and_not_given_keeps_no_other_back() {
    let mut model = Model::new();
    model.page = usize::MAX;
    let client = Client::new(&mut model);
    // More than one page names, each.
    for n in 0..600 {
        model.somebody_records(horse(0), 10_000 + n);
        model.somebody_records(horse(1), 20_000 + n);
    }
    model.somebody_records(horse(1), 30_000);
    model.withheld.insert(horse(0));

    let (report, done) = client.sync(&mut model, false);

    done.expect("a good line");
    assert_eq!(report.pulled, 601);
    assert!(
        report.notices[0].contains("less than it announced"),
        "{report:?}"
    );
    client.assert_same(&model, horse(1));
    model.withheld.clear();
    assert_eq!(client.settled(&mut model).pulled, 600);
}
