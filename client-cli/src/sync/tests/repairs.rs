//! Servers that lose, change or hide what they had.

use whorl_contract::horse::Horse;

use super::*;
use crate::herd;

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
fn what_was_recorded_here_stays_though_it_was_lost_refused_and_its_horse_is_out_of_sight() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    let backup = model.disk.clone();
    model.somebody_records(horse(0), 2);
    let theirs = EventId(Uuid::from_u128(2));
    let ours = client.record(horse(0));
    client.settled(&mut model);
    model.disk = backup;
    model.epoch = Uuid::from_u128(2);
    model.refuses.extend([ours, theirs]);
    client.settled(&mut model);
    assert_eq!(client.states(), [State::Refused, State::Refused]);
    model.hidden.insert(horse(0));
    model.somebody_records(horse(1), 3);
    let report = client.settled(&mut model);
    assert_eq!(report.locked[0].entries_kept, 1, "{report:?}");
    let kept = outbox::all(&mut client.open()).expect("read");
    assert_eq!(
        kept.iter().map(|one| one.event_id.0).collect::<Vec<_>>(),
        [ours],
        "what somebody else recorded isn't this account's to keep"
    );
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
fn an_owners_horse_that_the_server_lost_is_opened_again_and_given_back() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    model.somebody_records(horse(1), 2);
    client.settled(&mut model);
    let own = Horse {
        id: horse(0),
        barn_id: Uuid::from_u128(50).into(),
        owner_id: ME,
        roles: Vec::new(),
        kinds: Vec::new(),
        seq: 1,
        handling: None,
        profile: whorl_care::horse::Horse::default(),
        created_at: chrono::DateTime::UNIX_EPOCH,
    };
    herd::put_horse(&mut client.open(), &own).expect("put");
    model.disk.logs.remove(&horse(0));
    let report = client.settled(&mut model);
    assert_eq!(report.horses_opened, 1, "{report:?}");
    assert!(report.alarms[0].contains("opened again"), "{report:?}");
    assert_eq!(model.disk.logs[&horse(0)].len(), 1);
    client.assert_same(&model, horse(0));
}

#[test]
fn a_horse_that_is_missing_where_other_entries_are_is_kept_out_of_sight_and_given_back() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in 1..=3 {
        model.somebody_records(horse(0), n);
        model.somebody_records(horse(1), 10 + n);
    }
    client.settled(&mut model);
    model.disk.logs.get_mut(&horse(0)).expect("a log").pop();
    model.disk.logs.remove(&horse(1));
    let report = client.settled(&mut model);
    assert_eq!(report.locked, [], "{report:?}");
    assert!(
        report
            .alarms
            .iter()
            .any(|text| text.contains("out of sight")),
        "{report:?}"
    );
    client.settled(&mut model);
    assert_eq!(
        mirror::log(&mut client.open(), horse(1))
            .expect("read")
            .len(),
        3
    );
    model.disk.logs.entry(horse(1)).or_default();
    client.settled(&mut model);
    assert_eq!(model.disk.logs[&horse(1)].len(), 3);
    client.assert_same(&model, horse(1));
}

#[test]
fn what_is_accepted_after_the_horse_went_out_of_sight_leaves_the_outbox() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    model.hidden.insert(horse(0));
    let id = client.record(horse(0));
    client.settled(&mut model);
    assert_eq!(client.states(), [State::Refused]);
    // The owner lets it in: pushed again, the server knows it.
    let event = outbox::all(&mut client.open()).expect("read")[0]
        .event()
        .expect("whole");
    model
        .disk
        .logs
        .get_mut(&horse(0))
        .expect("a log")
        .push(event);
    outbox::retry(&mut client.open(), id).expect("waits");
    client.settled(&mut model);
    assert_eq!(client.states(), []);
}

#[test]
fn a_horse_that_a_restored_server_names_again_only_later_is_no_alarm() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in 1..=3 {
        model.somebody_records(horse(0), n);
    }
    client.settled(&mut model);
    let mut log = model.disk.logs.remove(&horse(0)).expect("a log");
    model.epoch = Uuid::from_u128(2);
    assert_eq!(client.settled(&mut model).alarms, Vec::<String>::new());
    log.pop();
    model.disk.logs.insert(horse(0), log);
    let report = client.settled(&mut model);
    assert_eq!((report.given_back, &report.alarms), (1, &Vec::new()));
    client.assert_same(&model, horse(0));
}

#[test]
fn a_restored_log_that_is_reached_only_later_is_no_alarm() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in 1..=3 {
        model.somebody_records(horse(0), n);
    }
    client.settled(&mut model);
    model.epoch = Uuid::from_u128(2);
    model.disk.logs.get_mut(&horse(0)).expect("a log").pop();
    model.somebody_records(horse(0), 4);
    model.somebody_records(horse(0), 5);
    model.withheld.insert(horse(0));
    let report = client.settled(&mut model);
    assert!(report.notices.iter().any(|text| text.contains("less than")));
    model.withheld.clear();
    let report = client.settled(&mut model);
    assert_eq!((report.given_back, &report.alarms), (1, &Vec::new()));
    client.assert_same(&model, horse(0));
}

#[test]
fn what_was_recorded_here_and_gave_way_to_another_body_is_an_alarm_and_stays_for_its_author() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    let id = client.record(horse(0));
    client.settled(&mut model);
    model.disk.logs.get_mut(&horse(0)).expect("a log").clear();
    model.somebody_records(horse(0), id.0.as_u128());
    let report = client.settled(&mut model);
    assert!(
        report
            .alarms
            .iter()
            .any(|text| text.contains("something else")),
        "{report:?}"
    );
    let kept = outbox::find(&mut client.open(), id).expect("read");
    let refusal = kept.expect("kept").refusal().expect("refused");
    assert_eq!(refusal.kind, Problems::SameIdOtherBody);
    client.assert_same(&model, horse(0));
}

#[test]
fn a_copy_of_an_earlier_life_that_went_out_of_sight_contradicts_nothing() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    client.settled(&mut model);
    model.epoch = Uuid::from_u128(2);
    model.disk.logs.remove(&horse(0));
    model.somebody_records(horse(0), 2);
    // It is refused, and the server signs where the log stands now; nothing more comes.
    model.refuses.insert(client.record(horse(0)));
    model.line = [Line::Good, Line::LosesRequest].into();
    let (_, done) = client.sync(&mut model, false);
    assert!(matches!(done, Err(Failure::Offline(_))), "{done:?}");
    model.hidden.insert(horse(0));
    let report = client.settled(&mut model);
    assert_eq!(report.alarms, Vec::<String>::new());
}

#[test]
fn a_server_that_shows_another_log_than_it_signed_is_an_alarm() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    client.record(horse(0));
    model.line = [Line::Good, Line::LosesRequest].into();
    let (report, done) = client.sync(&mut model, false);
    assert!(matches!(done, Err(Failure::Offline(_))), "{done:?}");
    assert_eq!(report.accepted, 1);
    model.disk.logs.remove(&horse(0));
    model.somebody_records(horse(0), 2);
    let report = client.settled(&mut model);
    let told = |text: &String| text.contains("once signed another state of the log");
    assert!(report.alarms.iter().any(told), "{:?}", report.alarms);
}

#[test]
fn a_horse_that_goes_out_of_sight_as_another_comes_back_from_an_earlier_life_is_taken_off() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in [0, 1] {
        model.somebody_records(horse(n), u128::from(n));
    }
    client.settled(&mut model);
    model.epoch = Uuid::from_u128(2);
    let lost = model.disk.logs.remove(&horse(0)).expect("a log");
    let report = client.settled(&mut model);
    assert!(
        report
            .notices
            .iter()
            .any(|text| text.contains("out of sight")),
        "{report:?}"
    );
    // It is there again, and empty; the other one may not be seen any more.
    model.disk.logs.insert(horse(0), Vec::new());
    model.hidden.insert(horse(1));
    let report = client.settled(&mut model);
    assert_eq!((report.given_back, &report.alarms), (1, &Vec::new()));
    let locked: Vec<HorseId> = report.locked.iter().map(|one| one.horse_id).collect();
    assert_eq!(locked, [horse(1)]);
    assert_eq!(lost.len(), model.heads_of(horse(0)).len() - 1);
}
