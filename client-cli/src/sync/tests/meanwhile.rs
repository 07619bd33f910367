//! What others change on the server while a sync is under way.

use super::*;
use crate::herd;

fn shown(client: &Client) -> Vec<HorseId> {
    herd::visible(&mut client.open()).expect("read")
}

/// A server with two horses, of which this account may see the first.
fn with_a_hidden_horse() -> (Model, Client) {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in [0, 1] {
        model.somebody_records(horse(n), u128::from(n));
    }
    model.hidden.insert(horse(1));
    client.settled(&mut model);
    assert_eq!(shown(&client), [horse(0)]);
    (model, client)
}

fn granted(model: &mut Model) {
    model.hidden.clear();
}

fn revoked(model: &mut Model) {
    model.hidden.insert(horse(1));
}

#[test]
fn a_horse_that_is_granted_between_two_answers_comes_with_the_next_sync() {
    let (mut model, client) = with_a_hidden_horse();
    model.meanwhile = Some(granted);
    client.settled(&mut model);
    assert_eq!(
        shown(&client),
        [horse(0)],
        "nothing of its log is here, and nothing says when to take it away"
    );
    client.settled(&mut model);
    assert_eq!(shown(&client), [horse(0), horse(1)]);
    client.assert_same(&model, horse(1));
}

#[test]
fn a_horse_whose_grant_ended_again_before_the_next_sync_is_not_shown() {
    let (mut model, client) = with_a_hidden_horse();
    model.meanwhile = Some(granted);
    client.settled(&mut model);
    revoked(&mut model);
    // The heads are what they were.
    client.settled(&mut model);
    assert_eq!(shown(&client), [horse(0)]);
}

#[test]
fn a_horse_that_is_revoked_between_two_answers_goes_with_the_next_sync() {
    let (mut model, client) = with_a_hidden_horse();
    granted(&mut model);
    model.meanwhile = Some(revoked);
    client.settled(&mut model);
    let report = client.settled(&mut model);
    assert_eq!(report.locked.len(), 1);
    assert_eq!(shown(&client), [horse(0)]);
}

#[test]
fn heads_that_are_what_they_were_cost_nothing_where_nothing_changed_between() {
    let (mut model, client) = with_a_hidden_horse();
    let tag = |client: &Client| -> Option<String> {
        setting::get(&mut client.open(), setting::HEADS_TAG).expect("read")
    };
    let before = tag(&client);
    assert!(before.is_some(), "the next sync asks for changes only");
    client.settled(&mut model);
    assert_eq!(tag(&client), before);
}

#[test]
fn a_wider_grant_that_is_made_in_between_opens_what_was_sealed_the_next_time() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    model.somebody_records(horse(0), 1);
    model.sealed = true;
    model.meanwhile = Some(|model| {
        model.sealed = false;
        model.grants.push(model::grant());
    });
    client.settled(&mut model);
    let sealed = |client: &Client| mirror::has_sealed(&mut client.open()).expect("read");
    assert!(sealed(&client), "it came before the grant");
    client.settled(&mut model);
    assert!(!sealed(&client));
}

#[test]
fn a_horse_that_was_taken_off_before_the_line_died_comes_back_with_its_grant() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    for n in [0, 1] {
        model.somebody_records(horse(n), u128::from(n));
    }
    client.settled(&mut model);
    // The first is taken off; then the line dies as the other, which goes on after another entry than ours, is fetched whole.
    model.hidden.insert(horse(0));
    let log = model.disk.logs.insert(horse(1), Vec::new()).expect("a log");
    model.somebody_records(horse(1), 9);
    model.somebody_records(horse(1), 10);
    model.line = [Line::Good, Line::Good, Line::LosesRequest].into();
    let (report, done) = client.sync(&mut model, false);
    assert!(matches!(done, Err(Failure::Offline(_))), "{done:?}");
    assert_eq!(report.locked.len(), 1);
    // All is as it was when they were last in step.
    granted(&mut model);
    model.disk.logs.insert(horse(1), log);
    client.settled(&mut model);
    client.assert_same(&model, horse(0));
}

#[test]
fn a_horse_that_is_revoked_before_another_log_of_it_comes_whole_is_no_alarm() {
    let (mut model, client) = with_a_hidden_horse();
    granted(&mut model);
    client.settled(&mut model);
    model.disk.logs.remove(&horse(1));
    model.somebody_records(horse(1), 5);
    model.epoch = Uuid::from_u128(2);
    // As after the heads and before the log.
    model.withheld.insert(horse(1));
    let report = client.settled(&mut model);
    assert_eq!(report.alarms, Vec::<String>::new());
    assert!(
        report.notices.iter().any(|text| text.contains("sent less")),
        "{report:?}"
    );
    model.withheld.clear();
    assert_eq!(client.settled(&mut model).alarms, Vec::<String>::new());
    client.assert_same(&model, horse(1));
}
