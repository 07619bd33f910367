//! How often somebody may ask: a loop is told when to come back, and nobody else is the worse for it.

use chrono::TimeDelta;
use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::kind::Role;
use whorl_contract::calendar::Calendar;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_http::rate::Allowance;
use whorl_tests::paddock::{Record, enter};
use whorl_tests::yard::Yard;
use whorl_tests::{Answer, Browser, Caller, Database, TestServer, on_each_database};

on_each_database!(
    a_loop_is_told_when_to_come_back,
    links_and_calendars_have_buckets_of_their_own,
);

/// So many requests are let through at once, and then one each second.
const AT_ONCE: u32 = 40;

fn limited(database: Database) -> TestServer {
    TestServer::start_with(database, |config| {
        config.requests = Allowance {
            at_once: AT_ONCE,
            a_second: 1,
        };
    })
}

/// Asks until nothing more is answered; says how often it was.
fn emptied(caller: &Caller) -> u32 {
    let answers = std::iter::repeat_with(|| caller.get(path::ACCOUNT).status);
    let answered = answers.take_while(|status| *status == 200).take(200);
    u32::try_from(answered.count()).expect("few")
}

fn is_told_to_wait(answer: &Answer) {
    assert_eq!(answer.status, 429, "{answer:?}");
    assert_eq!(answer.problem().kind, Kind::TooManyRequests);
    assert_eq!(answer.header("retry-after"), Some("1"), "{answer:?}");
}

fn a_loop_is_told_when_to_come_back(database: Database) {
    let server = limited(database);
    let (mut wren, rook) = (server.device_account("Wren"), server.account("Rook"));
    let browser = Browser::of(&server, &wren);

    // Whoever makes up a token, or has one that is over, uses up nobody's bucket.
    let over = wren.elsewhere(true);
    assert_eq!(over.delete(path::CURRENT_SESSION).status, 204);
    let signed = wren.session.access_token.clone();
    let made_up = wren.with_token(&signed[..signed.len() - 2]);
    for _ in 0..2 * AT_ONCE {
        assert_eq!(over.get(path::ACCOUNT).status, 401);
        assert_eq!(made_up.get(path::ACCOUNT).status, 401);
    }
    // Signing out was the one request until now.
    assert_eq!(emptied(&wren), AT_ONCE - 1);

    // It is the account that waits: by every way in, and whatever it asks for.
    is_told_to_wait(&wren.get(path::ACCOUNT));
    is_told_to_wait(&wren.post(path::EVENTS, &json!({"events": []})));
    is_told_to_wait(&wren.elsewhere(false).get(path::HEADS));
    is_told_to_wait(&wren.refresh(&server));
    let page = browser.get("/");
    assert_eq!(page.status, 429);
    assert_eq!(page.header("retry-after"), Some("1"));
    assert!(page.text().contains("<h1>"), "{page:?}");
    // And nobody else.
    assert_eq!(rook.get(path::ACCOUNT).status, 200);
    assert_eq!(server.anonymous().get(path::SERVER).status, 200);

    server.clock.advance(TimeDelta::seconds(1));
    assert_eq!(emptied(&wren), 1);
    server
        .clock
        .advance(TimeDelta::seconds(i64::from(AT_ONCE) * 3));
    assert_eq!(emptied(&wren), AT_ONCE);
}

/// How often an address answers until it asks to wait.
fn answered(server: &TestServer, address: &str) -> u32 {
    let anybody = server.anonymous();
    let last = (0..200).find_map(|times| {
        let answer = anybody.send(anybody.request(Method::GET, address));
        (answer.status != 200).then_some((times, answer))
    });
    let (times, answer) = last.expect("an end");
    assert_eq!(answer.status, 429, "{answer:?}");
    assert_eq!(answer.header("retry-after"), Some("1"));
    times
}

fn links_and_calendars_have_buckets_of_their_own(database: Database) {
    let server = limited(database);
    let yard = Yard::open(&server);
    let horse = yard.horse();
    enter(&server, &yard.owner, &Record::weight(horse, Role::Owner));
    let share = || -> String {
        let made: Value = yard
            .owner
            .post(&path::shares(horse), &json!({"days": 1}))
            .read();
        let url = made["url"].as_str().expect("a link");
        url.rsplit('/').next().expect("a secret").to_owned()
    };
    let (one, other) = (share(), share());
    let calendar: Calendar = yard.owner.post(path::CALENDARS, &json!({})).read();
    let feed = calendar.address.expect("told once");

    assert_eq!(answered(&server, &format!("/v1/shared/{one}")), AT_ONCE);
    assert_eq!(answered(&server, &format!("/v1/shared/{one}/pdf")), 0);
    assert_eq!(answered(&server, &format!("/v1/shared/{one}/bundle")), 0);
    assert_eq!(answered(&server, &format!("/shared/{one}")), 0);
    assert_eq!(answered(&server, &format!("/shared/{other}")), AT_ONCE);
    assert_eq!(answered(&server, &feed), AT_ONCE);
    // None of it was the owner's doing.
    assert_eq!(yard.owner.get(path::ACCOUNT).status, 200);
}
