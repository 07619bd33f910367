//! Calendars: secret addresses, what a calendar program of somebody else's making reads there, and how they end.

use std::collections::BTreeSet;

use chrono::TimeDelta;
use serde_json::{Value, json};
use whorl_care::ids::{CalendarId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_contract::calendar::{Calendar, NewCalendar};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_tests::ledger::accepted;
use whorl_tests::pen::Pen;
use whorl_tests::python::judged;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Answer, Person, TestServer, on_both};

use crate::looks_absent;

/// Words with all that has a meaning in a calendar, over two lines.
const HANDLING: &str = "Leans, hard; on the near hind.\nSay \"Brrr\" \\ wait – she is übel gelaunt, and has been since she came here.";

struct Scene {
    yard: Yard,
    horse: HorseId,
    farrier: Person,
    grant: whorl_contract::grant::Grant,
}

impl Scene {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let farrier = server.device_account("Idris Fenn");
        let grant = yard.admit(&farrier, horse, Role::Farrier);
        license(&farrier, Role::Farrier);
        let name =
            json!({"name": "Plover, of the Saltmarsh", "sex": "mare", "foaled_on": "2015-04-12"});
        let name = yard.pen().draft(horse, Kind::Identity).details(name);
        let _ = accepted(&yard.owner, &name.sign());
        let scene = Self {
            yard,
            horse,
            farrier,
            grant,
        };
        scene.trim(
            json!({"service": "trim", "handling": HANDLING}),
            "2026-12-17T10:00:00+00:00",
        );
        scene
    }

    fn trim(&self, details: Value, at: &str) {
        let trim = Pen::of(&self.farrier, Role::Farrier).draft(self.horse, Kind::HoofCare);
        let trim = trim.details(details).performed_at(at);
        let _ = accepted(&self.farrier, &trim.sign());
    }
}

fn make(who: &Person, new: &NewCalendar) -> Calendar {
    let answer = who.post(path::CALENDARS, new);
    assert_eq!(answer.status, 201, "{answer:?}");
    answer.read()
}

fn fetch(server: &TestServer, address: &str) -> Answer {
    server.anonymous().get(address)
}

/// What another program makes of a calendar.
fn read(answer: &Answer) -> Value {
    assert_eq!(answer.status, 200, "{answer:?}");
    assert_eq!(
        answer.header("content-type"),
        Some("text/calendar; charset=utf-8")
    );
    let text = answer.text();
    assert!(text.ends_with("END:VCALENDAR\r\n"));
    for line in text.split("\r\n") {
        assert!(line.len() <= 75 && !line.contains(['\r', '\n']), "{line}");
    }
    let read = judged("read_calendar.py", &answer.body);
    assert_eq!(read["problems"], json!([]));
    read
}

fn event<'a>(calendar: &'a Value, code: &str) -> Option<&'a Value> {
    let events = calendar["events"].as_array().expect("events");
    let uid = |event: &&Value| event["uid"].as_str().is_some_and(|uid| uid.contains(code));
    events.iter().find(uid)
}

on_both!(a_farriers_calendar_is_read_by_another_program, |server| {
    let scene = Scene::on(server);
    let made = make(&scene.farrier, &NewCalendar::default());
    let address = made.address.clone().expect("its address");
    let token = address
        .trim_start_matches("/calendar/")
        .trim_end_matches(".ics");
    assert!(token.len() >= 43, "32 random bytes: {token}");

    let answer = fetch(server, &address);
    let calendar = read(&answer);
    assert_eq!(calendar["version"], "2.0");
    assert_eq!(calendar["name"], "Due: My list");
    let trim = event(&calendar, "hoof.trim").expect("a trim");
    assert_eq!(trim["uid"], format!("{}.hoof.trim@whorl", scene.horse));
    assert_eq!(
        trim["summary"],
        "Plover, of the Saltmarsh: trim or shoeing, overdue"
    );
    assert_eq!(
        trim["start"], "2027-03-04",
        "what is overdue stands on today"
    );
    assert_eq!(trim["stamp"], trim["modified"]);
    let told = trim["description"].as_str().expect("text");
    assert!(
        told.starts_with(&format!("Handle with care: {HANDLING} (2026-12-17)\n")),
        "{told}"
    );
    assert!(told.contains("follow your vet"), "{told}");
    assert_eq!(trim["location"], "Saltmarsh Yard");
    let uids = calendar["events"]
        .as_array()
        .expect("events")
        .iter()
        .map(|one| one["uid"].to_string());
    let (count, uids): (usize, BTreeSet<String>) = (
        calendar["events"].as_array().map_or(0, Vec::len),
        uids.collect(),
    );
    assert_eq!(uids.len(), count, "each stands for itself");

    // Nothing changed: nothing is sent.
    let etag = answer.header("etag").expect("an ETag").to_owned();
    let anonymous = server.anonymous();
    let again = anonymous
        .request(reqwest::Method::GET, &address)
        .header("If-None-Match", &etag);
    assert_eq!(anonymous.send(again).status, 304);

    // Done: the same event moves on, in a later version.
    server.clock.advance(TimeDelta::minutes(5));
    scene.trim(json!({"service": "trim"}), "2027-03-04T14:00:00+00:00");
    let later = read(&fetch(server, &address));
    let next = event(&later, "hoof.trim").expect("the next trim");
    assert_eq!(next["uid"], trim["uid"]);
    assert!(next["start"].as_str() > trim["start"].as_str(), "{next}");
    assert!(
        next["sequence"].as_i64() > trim["sequence"].as_i64(),
        "{next}"
    );
    assert!(next["modified"].as_str() > trim["modified"].as_str());
});

on_both!(
    a_barns_calendar_shows_what_its_owner_may_see_now,
    |server| {
        let scene = Scene::on(server);
        let of_barn = NewCalendar {
            barn_id: Some(scene.yard.barn),
        };
        let owners = make(&scene.yard.owner, &of_barn)
            .address
            .expect("an address");
        let farriers = make(&scene.farrier, &of_barn).address.expect("an address");
        assert_ne!(owners, farriers);
        let calendar = read(&fetch(server, &owners));
        assert_eq!(calendar["name"], "Due: Saltmarsh Yard");
        assert!(
            event(&calendar, "vaccination.tetanus").is_some()
                && event(&calendar, "hoof.trim").is_some()
        );
        assert!(event(&read(&fetch(server, &farriers)), "hoof.trim").is_some());

        scene.yard.revoke(&scene.grant);
        let emptied = read(&fetch(server, &farriers));
        assert_eq!(emptied["events"], json!([]));
        assert!(
            !emptied.to_string().contains("Saltmarsh"),
            "not even the name"
        );
        assert_ne!(read(&fetch(server, &owners))["events"], json!([]));

        // No calendar of a barn that one has nothing to do with.
        let stranger = server.device_account("Orla Vance");
        let refused = stranger.post(path::CALENDARS, &of_barn);
        assert_eq!(refused.status, 404, "{refused:?}");
    }
);

on_both!(an_address_is_shown_once_and_revoked_for_good, |server| {
    let scene = Scene::on(server);
    let made = make(&scene.yard.owner, &NewCalendar::default());
    let address = made.address.expect("an address");
    let listed = scene.yard.owner.get(path::CALENDARS);
    let token = address
        .trim_start_matches("/calendar/")
        .trim_end_matches(".ics");
    assert!(!listed.text().contains(token));
    let listed: Page<Calendar> = listed.read();
    assert_eq!(
        (listed.items.len(), listed.items[0].address.as_deref()),
        (1, None)
    );

    let stranger = server.device_account("Orla Vance");
    let nowhere = CalendarId(uuid::Uuid::now_v7());
    looks_absent(
        &stranger.delete(&path::calendar(made.id)),
        &stranger.delete(&path::calendar(nowhere)),
    );
    assert_eq!(fetch(server, &address).status, 200);
    let theirs: Page<Calendar> = stranger.get(path::CALENDARS).read();
    assert!(theirs.items.is_empty());

    for _ in 0..2 {
        assert_eq!(
            scene.yard.owner.delete(&path::calendar(made.id)).status,
            204
        );
    }
    looks_absent(
        &fetch(server, &address),
        &fetch(
            server,
            &path::calendar_feed("hS3vJ8yq0XbT2nWmK5rLcZpQd7uGfE1aYtVxR9oNi4s"),
        ),
    );
    let none: Page<Calendar> = scene.yard.owner.get(path::CALENDARS).read();
    assert!(none.items.is_empty());
});
