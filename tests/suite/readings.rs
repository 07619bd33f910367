//! Who read what of a horse's record: everything that others read is on its owner's list, and on nobody else's.

use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;
use diesel::connection::{Connection, SimpleConnection};
use diesel::pg::PgConnection;
use diesel::sqlite::SqliteConnection;
use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::reading::{Reader, Way};
use whorl_contract::calendar::Calendar;
use whorl_contract::key::Hash;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::reading::Reading;
use whorl_contract::share::Share;
use whorl_contract::transfer::Transfer;
use whorl_http::pages::PAGES;
use whorl_tests::ledger::push;
use whorl_tests::paddock::{self, new_id};
use whorl_tests::waiting::wait_for;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Answer, Browser, Caller, Database, Person, TestServer, on_both};

use crate::looks_absent;
use crate::openapi::operations;

const PHOTO: &[u8] = b"\x89PNG\r\n\x1a\n of a gate";
const LOT: &str = "T-4417";

/// What the owner of a horse is told.
fn listed(owner: &Person, horse: HorseId) -> Vec<Reading> {
    let page: Page<Reading> = owner.get(&path::readings(horse)).read();
    assert_eq!(page.next_cursor, None);
    page.items
}

/// How often one account read, by what.
fn times(owner: &Person, horse: HorseId, who: &Person) -> BTreeMap<Way, i64> {
    let all = listed(owner, horse);
    let theirs = all.iter().filter(|one| one.reader_id == who.account().0);
    theirs
        .inspect(|one| assert_eq!(one.reader, Reader::Account))
        .map(|one| (one.way, one.times))
        .collect()
}

/// A horse of whose record there is something to read in every way.
struct Scene {
    yard: Yard,
    horse: HorseId,
    vet: Person,
    co_owner: Person,
    reaction: EventId,
}

impl Scene {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let profile = json!({"name": "Plover", "sex": "mare", "foaled_on": "2015-04-12"});
        let horse = yard.horse_who_is(profile);
        let vet = server.device_account("Senna Quill");
        let co_owner = server.device_account("Odile Marsh");
        license(&vet, Role::Vet);
        let _ = yard.invite(&vet, &paddock::to_barn(yard.barn, Role::Vet));
        let _ = yard.admit(&co_owner, horse, Role::Owner);
        let photo = yard.owner.request(Method::POST, &path::attachments(horse));
        let photo = photo.header("content-type", "image/png").body(PHOTO);
        assert_eq!(yard.owner.send(photo).status, 201);
        let pen = yard.pen();
        let paper = Provenance::Transcribed;
        let shot = pen.draft(horse, Kind::Vaccination).provenance(paper).details(json!({
            "targets": ["tetanus"], "product": "Tidevax T", "lot_number": LOT, "expiration_date": "2028-01-31"}));
        let reaction = pen
            .draft(horse, Kind::AdverseReaction)
            .details(json!({"after_event_id": shot.id(), "onset_hours": 6.0, "signs": ["hives"], "outcome": "recovered"}));
        let count = |at: &str, eggs: u32| {
            let details = json!({"method": "mini_flotac", "eggs_counted": eggs, "multiplication_factor": 5.0});
            let count = pen.draft(horse, Kind::EggCount).provenance(paper);
            count.performed_at(at).details(details).sign()
        };
        let wormed = pen
            .draft(horse, Kind::Deworming)
            .performed_at("2026-05-06T09:00:00+01:00")
            .details(json!({"actives": ["fenbendazole"], "product": "Drovepaste F"}));
        let fever = pen
            .draft(horse, Kind::Vitals)
            .recorded_at(server.now())
            .performed_at(&server.now().to_rfc3339())
            .details(json!({"temperature_c": 39.9}));
        let events = [
            count("2026-05-04T09:00:00+01:00", 90),
            wormed.sign(),
            count("2026-05-20T09:00:00+01:00", 55),
            shot.sign(),
            reaction.sign(),
            fever.sign(),
        ];
        for outcome in push(&yard.owner, &events) {
            assert!(
                matches!(outcome, whorl_contract::sync::Outcome::Accepted { .. }),
                "{outcome:?}"
            );
        }
        Self {
            horse,
            vet,
            co_owner,
            reaction: reaction.id(),
            yard,
        }
    }

    /// Every operation that tells of a record: how it is asked, and what is read by that.
    fn operations(&self) -> Vec<(&'static str, Method, String, Option<Value>, Way)> {
        let (horse, barn) = (self.horse, self.yard.barn);
        let photo = Hash::of(&[PHOTO]).to_hex();
        let entry = "rules=fei-influenza&on=2027-03-10";
        let pull = json!({"wants": [{"horse_id": horse, "after": 0}], "limit": 10});
        let plan = json!({"barn_id": barn, "work": "weight", "from": "2027-03-04", "until": "2027-05-31", "capacity": 4});
        let get = |name, path: String, way| (name, Method::GET, path, None, way);
        vec![
            get("list_horses", path::HORSES.to_owned(), Way::Profile),
            get("get_horse", path::horse(horse), Way::Profile),
            get("get_attachment", path::attachment(horse, &photo), Way::File),
            get("get_log", path::log(horse, 0, 10), Way::Log),
            get("get_history", path::history(horse), Way::History),
            get(
                "get_history",
                format!("{}?format=csv", path::history(horse)),
                Way::Table,
            ),
            get(
                "get_history_pdf",
                format!("{}.pdf", path::history(horse)),
                Way::Document,
            ),
            get(
                "get_reaction_report",
                path::reaction_report(horse, self.reaction),
                Way::Reaction,
            ),
            get("due_for_horse", path::horse_due(horse), Way::Due),
            get("due_in_barn", path::barn_due(barn), Way::Due),
            get("my_due_list", path::DUE.to_owned(), Way::Due),
            get(
                "entry_of_horse",
                format!("{}?{entry}", path::horse_entry(horse)),
                Way::Entry,
            ),
            get(
                "entry_of_barn",
                format!("{}?{entry}", path::barn_entry(barn)),
                Way::Entry,
            ),
            get(
                "recall_lot",
                format!("{}?lot={LOT}", path::RECALL),
                Way::Recall,
            ),
            get("get_efficacy", path::efficacy(barn), Way::Health),
            get("get_health_watch", path::health_watch(barn), Way::Health),
            get("list_notices", path::NOTICES.to_owned(), Way::Notice),
            get(
                "export_account",
                path::ACCOUNT_EXPORT.to_owned(),
                Way::Notice,
            ),
            (
                "pull_events",
                Method::POST,
                path::PULL.to_owned(),
                Some(pull),
                Way::Sync,
            ),
            (
                "plan_visits",
                Method::POST,
                path::VISIT_PLAN.to_owned(),
                Some(plan),
                Way::Due,
            ),
            (
                "make_bundle",
                Method::POST,
                path::bundle(horse),
                Some(json!({})),
                Way::Bundle,
            ),
        ]
    }

    /// Every page that tells of a record, and what is read by that.
    fn pages(&self) -> Vec<(&'static str, String, Vec<Way>)> {
        let (horse, barn) = (self.horse, self.yard.barn);
        let entry = "rules=fei-influenza&arrives=2027-03-10";
        vec![
            ("/", "/".to_owned(), vec![Way::Profile, Way::Due]),
            (
                "/visits",
                format!("/visits?capacity=4&work=weight&barn={barn}"),
                vec![Way::Due],
            ),
            (
                "/horses/{horse}",
                format!("/horses/{horse}"),
                vec![Way::Profile, Way::History, Way::Due],
            ),
            (
                "/horses/{horse}/history",
                format!("/horses/{horse}/history"),
                vec![Way::History],
            ),
            (
                "/horses/{horse}/entry",
                format!("/horses/{horse}/entry?{entry}"),
                vec![Way::Entry],
            ),
            (
                "/barns/{barn}/entry",
                format!("/barns/{barn}/entry?{entry}"),
                vec![Way::Entry],
            ),
            (
                "/barns/{barn}/recall",
                format!("/barns/{barn}/recall?lot={LOT}"),
                vec![Way::Recall],
            ),
            ("/notices", "/notices".to_owned(), vec![Way::Notice]),
        ]
    }
}

fn ask(who: &Caller, method: &Method, path: &str, body: Option<&Value>) -> Answer {
    let request = who.request(method.clone(), path);
    who.send(match body {
        Some(body) => request.json(body),
        None => request,
    })
}

/// What reads nothing of a horse's record, and why that is so; and what is tried by itself.
const NO_READINGS: &[(&str, &str)] = &[
    ("live", "tells of no horse"),
    ("ready", "tells of no horse"),
    ("get_server", "tells of no horse"),
    ("get_account", "tells of no horse"),
    ("get_policy", "tells of no horse"),
    ("list_rules", "tells of no horse"),
    ("list_sessions", "tells of no horse"),
    ("list_devices", "tells of no horse"),
    ("list_licences", "tells of no horse"),
    ("list_calendars", "tells of no horse"),
    ("list_webhooks", "tells of no horse"),
    ("get_notice_settings", "tells of no horse"),
    ("list_undelivered", "for the operator; tells of no horse"),
    ("list_barns", "barns, and not what stands in them"),
    ("get_barn", "a barn, and not what stands in it"),
    ("list_grants", "who may see what, and nothing of the record"),
    (
        "list_invitations",
        "who may see what, and nothing of the record",
    ),
    (
        "list_transfers",
        "whose a horse is, and nothing of the record",
    ),
    (
        "get_heads",
        "how long each log is: hashes, and nothing that they were made of",
    ),
    ("list_held", "for owners alone, of their own horses"),
    ("list_shares", "for owners alone"),
    ("list_readings", "for owners alone"),
    ("calendar_feed", "below"),
    ("get_shared_history", "below"),
    ("get_shared_bundle", "below"),
    ("get_shared_pdf", "below"),
];

/// The same of pages.
const NO_PAGES: &[&str] = &[
    "/sign-in",
    "/reset",
    "/horses/{horse}/grants",
    "/horses/{horse}/shares",
    "/horses/{horse}/readings",
    "/shared/{token}",
];

on_both!(whatever_others_read_is_on_the_owners_list, |server| {
    let scene = Scene::on(server);
    let (owner, horse) = (&scene.yard.owner, scene.horse);
    let mut asked: BTreeSet<&str> = NO_READINGS.iter().map(|(name, _)| *name).collect();
    for (name, method, path, body, way) in scene.operations() {
        asked.insert(name);
        // Only an owner gets a bundle; another owner than the one whose horse it is.
        let reader = if way == Way::Bundle {
            &scene.co_owner
        } else {
            &scene.vet
        };
        let mut expected = times(owner, horse, reader);
        *expected.entry(way).or_default() += 1;
        let answer = ask(reader, &method, &path, body.as_ref());
        assert_eq!(answer.status, 200, "{name}: {answer:?}");
        assert_eq!(times(owner, horse, reader), expected, "{name}");
        // What an owner reads isn't told to them.
        let before = listed(owner, horse);
        let answer = ask(owner, &method, &path, body.as_ref());
        assert_eq!(answer.status, 200, "{name}: {answer:?}");
        assert_eq!(listed(owner, horse), before, "{name}");
    }
    for (method, path, operation) in operations() {
        let name = operation["operationId"].as_str().expect("a name");
        assert!(
            method != "get" || asked.contains(name),
            "{name} ({path}): is it a reading?"
        );
    }
    let readers: BTreeSet<Option<String>> = listed(owner, horse)
        .into_iter()
        .map(|one| one.name)
        .collect();
    let names = ["Odile Marsh", "Senna Quill"].map(|name| Some(name.to_owned()));
    assert_eq!(readers, names.into());
});

on_both!(what_others_read_on_pages_is_on_the_owners_list, |server| {
    let scene = Scene::on(server);
    let (owner, horse, vet) = (&scene.yard.owner, scene.horse, &scene.vet);
    let mut asked: BTreeSet<&str> = NO_PAGES.iter().copied().collect();
    let (theirs, owners) = (Browser::of(server, vet), Browser::of(server, owner));
    for (template, page, ways) in scene.pages() {
        asked.insert(template);
        let mut expected = times(owner, horse, vet);
        for way in ways {
            *expected.entry(way).or_default() += 1;
        }
        assert_eq!(theirs.get(&page).status, 200, "{page}");
        assert_eq!(times(owner, horse, vet), expected, "{page}");
        assert_eq!(owners.get(&page).status, 200, "{page}");
        assert_eq!(times(owner, horse, vet), expected, "{page}");
    }
    for (path, methods) in PAGES {
        assert!(
            !methods.contains(&"get") || asked.contains(path),
            "{path}: is it a reading?"
        );
    }
    assert!(times(owner, horse, owner).is_empty());
    let page = format!("/horses/{horse}/readings");
    let told = owners.get(&page).text();
    for word in ["Senna Quill", "Its history", "730 days"] {
        assert!(told.contains(word), "{word}: {told}");
    }
    assert!(!told.contains("Maren Oduya</th>"), "{told}");
    assert!(
        owners
            .get(&format!("/horses/{horse}"))
            .text()
            .contains(&page),
        "no way to it"
    );
    assert!(
        !theirs
            .get(&format!("/horses/{horse}"))
            .text()
            .contains(&page)
    );
    assert_eq!(theirs.get(&page).status, 403);
});

on_both!(
    what_is_read_by_links_and_calendars_is_told_as_such,
    |server| {
        let scene = Scene::on(server);
        let (owner, horse) = (&scene.yard.owner, scene.horse);
        let new = json!({"days": 3, "label": "for Perran"});
        let share: Share = owner.post(&path::shares(horse), &new).read();
        let url = share.url.expect("a link");
        let token = url.rsplit('/').next().expect("a secret");
        let reader = server.anonymous();
        let read = |by: Reader| -> BTreeMap<(Way, Option<String>), i64> {
            let all = listed(owner, horse).into_iter();
            let those = all.filter(|one| one.reader == by);
            those.map(|one| ((one.way, one.name), one.times)).collect()
        };
        let head = reader.send(reader.request(Method::HEAD, &path::shared(token)));
        assert_eq!((head.status, read(Reader::Share).len()), (200, 0));
        let page = format!("/shared/{token}");
        for path in [
            path::shared(token),
            page,
            path::shared_bundle(token),
            path::shared_pdf(token),
        ] {
            assert_eq!(reader.get(&path).status, 200, "{path}");
        }
        let named = |way| (way, Some("for Perran".to_owned()));
        let expected = [
            (named(Way::History), 2),
            (named(Way::Document), 1),
            (named(Way::Bundle), 1),
        ];
        assert_eq!(read(Reader::Share), expected.into());

        for who in [&scene.vet, owner] {
            let made: Calendar = who
                .post(path::CALENDARS, &json!({"barn_id": scene.yard.barn}))
                .read();
            let address = made.address.expect("an address");
            assert_eq!(reader.get(&address).status, 200);
        }
        // The vet's, and not the owner's own.
        let expected = [((Way::Due, Some("Senna Quill".to_owned())), 1)];
        assert_eq!(read(Reader::Calendar), expected.into());
    }
);

on_both!(
    readings_of_a_day_are_one_row_and_outlast_the_server,
    |server| {
        let scene = Scene::on(server);
        let (owner, horse, vet) = (&scene.yard.owner, scene.horse, &scene.vet);
        let began = server.now();
        // The middle of a day, so that an hour more is still the same day.
        let noon = began
            .date_naive()
            .succ_opt()
            .and_then(|day| day.and_hms_opt(12, 0, 0));
        server.clock.advance(noon.expect("a day").and_utc() - began);
        let (owner, vet) = (owner.elsewhere(false), vet.elsewhere(false));
        let first = server.now();
        for _ in 0..3 {
            assert_eq!(vet.get(&path::history(horse)).status, 200);
            server.clock.advance(TimeDelta::minutes(1));
        }
        let last = server.now() - TimeDelta::minutes(1);
        // Ended in good order before anybody asked.
        server.restart();
        let [reading] = listed(&owner, horse).try_into().expect("one");
        assert_eq!((reading.way, reading.times), (Way::History, 3));
        assert_eq!((reading.first_at, reading.last_at), (first, last));
        assert_eq!(reading.day, first.date_naive());

        server.clock.advance(TimeDelta::days(1));
        let (owner, vet) = (owner.elsewhere(false), vet.elsewhere(false));
        assert_eq!(vet.get(&path::history(horse)).status, 200);
        assert_eq!(vet.get(&path::horse(horse)).status, 200);
        let all = listed(&owner, horse);
        assert_eq!(all.len(), 3);
        let days: Vec<_> = all.iter().map(|one| one.day).collect();
        assert!(
            days.is_sorted_by(|a, b| a >= b),
            "the latest first: {days:?}"
        );
        let (mut paged, mut next) = (Vec::new(), None::<String>);
        loop {
            let cursor = next.map_or_else(String::new, |cursor| format!("&cursor={cursor}"));
            let page: Page<Reading> = owner
                .get(&format!("{}?limit=1{cursor}", path::readings(horse)))
                .read();
            paged.extend(page.items);
            next = page.next_cursor;
            if next.is_none() {
                break;
            }
        }
        assert_eq!(paged, all);
        let wrong = owner.get(&format!("{}?cursor=here", path::readings(horse)));
        assert_eq!(
            (wrong.status, wrong.problem().kind),
            (422, ProblemKind::Invalid)
        );
    }
);

on_both!(nobody_but_an_owner_is_told_who_read, |server| {
    let scene = Scene::on(server);
    let (horse, absent) = (scene.horse, new_id());
    assert_eq!(scene.vet.get(&path::history(horse)).status, 200);
    let refused = scene.vet.get(&path::readings(horse));
    assert_eq!(
        (refused.status, refused.problem().kind),
        (403, ProblemKind::Forbidden)
    );
    assert!(!refused.text().contains("Senna"));
    let stranger = server.account("Orla Vance");
    looks_absent(
        &stranger.get(&path::readings(horse)),
        &stranger.get(&path::readings(absent)),
    );
    // A stranger who asked for the record read nothing of it.
    assert_eq!(stranger.get(&path::history(horse)).status, 404);
    assert!(times(&scene.yard.owner, horse, &stranger).is_empty());
    // An owner beside the first is told the same, their own reading too.
    assert_eq!(scene.co_owner.get(&path::history(horse)).status, 200);
    assert_eq!(
        listed(&scene.co_owner, horse),
        listed(&scene.yard.owner, horse)
    );
    assert_eq!(
        times(&scene.co_owner, horse, &scene.co_owner),
        [(Way::History, 1)].into()
    );
});

on_both!(a_buyer_is_not_told_who_read_for_the_seller, |server| {
    let scene = Scene::on(server);
    let (owner, horse) = (&scene.yard.owner, scene.horse);
    assert_eq!(scene.vet.get(&path::history(horse)).status, 200);
    assert_eq!(times(owner, horse, &scene.vet), [(Way::History, 1)].into());
    let buyer = server.device_account("Perran Sallow");
    let barn = paddock::barn(&buyer, "Heronsgate");
    let offer = json!({"to_email": buyer.email, "password": owner.password});
    let offered: Transfer = owner.post(&path::horse_transfers(horse), &offer).read();
    server.clock.advance(TimeDelta::minutes(1));
    let taking = json!({"barn_id": barn.id, "password": buyer.password});
    assert_eq!(
        buyer
            .post(&path::transfer_accept(offered.id), &taking)
            .status,
        200
    );

    assert_eq!(listed(&buyer, horse), []);
    // A seller keeps the sight of what was theirs, and is noted when they look at it.
    assert_eq!(owner.get(&path::history(horse)).status, 200);
    assert_eq!(times(&buyer, horse, owner), [(Way::History, 1)].into());
    assert_eq!(owner.get(&path::readings(horse)).status, 403);
});

/// Changes the database beside the server.
#[expect(
    clippy::disallowed_methods,
    reason = "beside the store, as a disk that fails would"
)]
fn apply(server: &TestServer, statement: &str) {
    let url = server.database_url();
    let done = match url.strip_prefix("sqlite://") {
        Some(path) => SqliteConnection::establish(path)
            .expect("a database")
            .batch_execute(statement),
        None => PgConnection::establish(url)
            .expect("a database")
            .batch_execute(statement),
    };
    done.expect("applied");
}

on_both!(
    a_reading_that_cannot_be_noted_is_answered_and_noted_later,
    |server| {
        let scene = Scene::on(server);
        let (owner, horse, vet) = (&scene.yard.owner, scene.horse, &scene.vet);
        apply(server, "ALTER TABLE reading RENAME TO reading_away");
        for _ in 0..2 {
            assert_eq!(vet.get(&path::history(horse)).status, 200);
        }
        // The list itself can't be read now, and nothing is lost by asking for it.
        assert_eq!(owner.get(&path::readings(horse)).status, 500);
        apply(server, "ALTER TABLE reading_away RENAME TO reading");
        assert_eq!(times(owner, horse, vet), [(Way::History, 2)].into());
    }
);

fn what_is_too_old_goes(database: Database) {
    let server = TestServer::start_with(database, |config| config.readings_days = 30);
    let scene = Scene::on(&server);
    assert_eq!(scene.vet.get(&path::history(scene.horse)).status, 200);
    server.clock.advance(TimeDelta::days(20));
    let (owner, vet) = (
        scene.yard.owner.elsewhere(false),
        scene.vet.elsewhere(false),
    );
    assert_eq!(vet.get(&path::horse(scene.horse)).status, 200);
    server.clock.advance(TimeDelta::days(11));
    // A server sweeps as it starts, and each hour.
    server.restart();
    let owner = owner.elsewhere(false);
    wait_for("the old reading to go", || {
        listed(&owner, scene.horse).len() == 1
    });
    assert_eq!(times(&owner, scene.horse, &vet), [(Way::Profile, 1)].into());
}

#[test]
fn what_is_too_old_goes_on_sqlite() {
    what_is_too_old_goes(Database::Sqlite);
}

#[test]
fn what_is_too_old_goes_on_postgres() {
    what_is_too_old_goes(Database::Postgres);
}

on_both!(the_field_client_lists_readings, |server| {
    let scene = Scene::on(server);
    let id = scene.horse.to_string();
    let device = whorl_tests::field::FieldDevice::join(&scene.yard.owner, &server.url());
    assert_eq!(scene.vet.get(&path::history(scene.horse)).status, 200);
    let (status, told) = device.ask(&["readings", &id]);
    assert_eq!(
        (status, told.as_array().map(Vec::len)),
        (0, Some(1)),
        "{told}"
    );
    let told = device.run(&["readings", &id]);
    let text = String::from_utf8_lossy(&told.stdout).into_owned();
    for word in ["Senna Quill", "its history"] {
        assert!(text.contains(word), "{word}: {text}");
    }
    let vets = whorl_tests::field::FieldDevice::join(&scene.vet, &server.url());
    assert_eq!(vets.run(&["readings", &id]).status.code(), Some(3));
});
