//! Letters and webhooks: what leaves the server for whom, though relays and receivers fail, and what never does.

mod receiver;
mod relay;
mod webhooks;

use std::collections::BTreeSet;
use std::net::TcpListener;
use std::time::{Duration, Instant};

use chrono::TimeDelta;
use serde_json::json;
use whorl_care::ids::{HorseId, NoticeId};
use whorl_care::kind::{Kind, Role};
use whorl_care::notice::Letters;
use whorl_contract::event::SignedEvent;
use whorl_contract::grant::Grant;
use whorl_contract::notice::{GivenUp, LetterChoice, Notice, NoticeSettings};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::sync::Outcome as Pushed;
use whorl_http::config::Config;
use whorl_http::delivery::settings::Mail;
use whorl_http::operate;
use whorl_store::deliveries::{self, DeliveryRow, Outcome, Ways};
use whorl_store::{Key, StoreError};
use whorl_tests::ledger::{accepted, push, push_one};
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Database, Person, TestServer, alone, on_each_database};

use relay::{Relay, header, text};

/// Nothing here takes so long; whatever does is broken.
const LONG: Duration = Duration::from_mins(1);

/// Waits for something that another thread or process does.
fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(began.elapsed() < LONG, "waited for: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

on_each_database!(
    a_letter_says_what_when_by_whom_and_what_to_do,
    a_relay_that_fails_is_asked_again_and_the_letter_stays_the_same,
    what_is_never_taken_is_given_up_and_the_operator_hears_of_it,
    people_choose_which_letters_they_get,
    what_was_said_is_taken_back_and_what_was_not_is_not_said,
    nothing_is_sent_to_whoever_may_not_see_it_any_more,
    nothing_leaves_in_the_clear_where_tls_is_asked_for,
    what_a_dead_server_had_in_hand_comes_up_again,
);

fn with_mail(config: &mut Config, port: u16, parameters: &str) {
    config.public_url = Some("https://horses.example".parse().expect("an address"));
    config.mail = Some(Mail {
        relay: format!("smtp://127.0.0.1:{port}{parameters}")
            .parse()
            .expect("a relay"),
        from: "Saltmarsh Yard <whorl@saltmarsh.example>"
            .parse()
            .expect("a mailbox"),
    });
}

fn server_with(database: Database, relay: &Relay) -> TestServer {
    TestServer::start_with(database, |config| with_mail(config, relay.port(), ""))
}

/// A horse called Plover, its owner, and a hand who records what is seen.
struct Scene {
    yard: Yard,
    horse: HorseId,
    hand: Person,
    hand_grant: Grant,
}

impl Scene {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse_who_is(json!({"name": "Plover", "foaled_on": "2016"}));
        let hand = server.device_account("Tam Brisling");
        let hand_grant = yard.admit(&hand, horse, Role::BarnStaff);
        Self {
            yard,
            horse,
            hand,
            hand_grant,
        }
    }

    fn vet(&self, server: &TestServer) -> (Person, Grant) {
        let vet = server.device_account("Senna Quill");
        let grant = self.yard.admit(&vet, self.horse, Role::Vet);
        (vet, grant)
    }

    fn draft(&self, kind: Kind, details: serde_json::Value) -> Draft {
        Pen::of(&self.hand, Role::BarnStaff)
            .draft(self.horse, kind)
            .performed_at("2027-03-04T08:00:00+00:00")
            .details(details)
    }

    fn nail(&self) -> Draft {
        let finding = json!({"finding": "puncture", "severity": 3, "region": "frog"});
        self.draft(
            Kind::HoofCheck,
            json!({"feet": {"LF": {"findings": [finding]}}}),
        )
    }

    fn fever(&self) -> Draft {
        self.draft(Kind::Vitals, json!({"temperature_c": 39.9}))
    }

    fn take_back(&self, entry: &Draft) -> SignedEvent {
        Pen::of(&self.hand, Role::BarnStaff)
            .draft(self.horse, Kind::Retraction)
            .about(entry.id())
            .details(json!({"reason": "another horse"}))
            .sign()
    }
}

fn notices(who: &Caller) -> Vec<Notice> {
    who.get(path::NOTICES).read::<Page<Notice>>().items
}

/// Somebody's latest notice.
fn latest(who: &Caller) -> NoticeId {
    notices(who).first().expect("a notice").id
}

/// The deliveries of a notice. Asked of the store: clocks are turned further than a token lasts.
fn rows(server: &TestServer, notice: NoticeId) -> Vec<DeliveryRow> {
    let found = server
        .state()
        .store
        .read(|db| deliveries::of_notice(db, notice));
    found.unwrap_or_else(|error: StoreError| panic!("{error}"))
}

/// The delivery once so many attempts at it have failed.
fn failed(server: &TestServer, notice: NoticeId, attempts: i64) -> DeliveryRow {
    until("a failed attempt", || {
        rows(server, notice).into_iter().find(|row| {
            row.attempts >= attempts
                && row.error.is_some()
                && row.next_at.is_none_or(|at| at > server.now().naive_utc())
        })
    })
}

/// The delivery once it has ended.
fn ended(server: &TestServer, notice: NoticeId) -> DeliveryRow {
    until("an end", || {
        let all = rows(server, notice);
        all.into_iter().find(|row| row.ended_at.is_some())
    })
}

fn recipients(letters: &[String]) -> BTreeSet<String> {
    letters
        .iter()
        .map(|letter| header(letter, "X-Envelope-To").trim_end().to_owned())
        .collect()
}

fn a_letter_says_what_when_by_whom_and_what_to_do(database: Database) {
    let relay = Relay::start(&[]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let (vet, _) = scene.vet(&server);
    let _ = push(&scene.hand, &[scene.nail().sign(), scene.nail().sign()]);

    let letters = relay.wait_for(4);

    let wanted = BTreeSet::from([scene.yard.owner.email.clone(), vet.email.clone()]);
    assert_eq!(recipients(&letters), wanted);
    let ids: BTreeSet<&str> = letters
        .iter()
        .map(|one| header(one, "Message-ID"))
        .collect();
    assert_eq!(ids.len(), 4, "{ids:?}");
    for letter in &letters {
        assert_eq!(
            header(letter, "Subject").trim_end(),
            "Plover: please read now"
        );
        assert!(header(letter, "From").contains("whorl@saltmarsh.example"));
        let body = text(letter);
        let joined = body.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in [
            "Plover: a finding on a foot or leg.",
            "Recorded (hoof check) by Tam Brisling as barn staff on 4 March 2027 at 08:00.",
            "LF puncture:",
            "It is no diagnosis and can be wrong: look at the horse, and call your vet",
            "https://horses.example/notices",
            "`whorl notices email none`",
        ] {
            assert!(joined.contains(words), "{words}: {body}");
        }
    }
    assert!(notices(&scene.hand).is_empty());
}

fn a_relay_that_fails_is_asked_again_and_the_letter_stays_the_same(database: Database) {
    let relay = Relay::start(&["451", "554", "421", "close"]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let _ = accepted(&scene.hand, &scene.nail().sign());
    let notice = latest(&scene.yard.owner);

    for attempts in 1..=4 {
        let row = failed(&server, notice, attempts);
        assert_eq!((row.attempts, row.outcome), (attempts, None));
        assert!(relay.letters().is_empty());
        server.clock.advance(TimeDelta::hours(1));
    }

    let letters = relay.wait_for(1);
    let row = ended(&server, notice);
    assert_eq!(row.outcome, Some(Key(Outcome::Delivered)));
    assert_eq!(row.attempts, 5);
    assert!(header(&letters[0], "Message-ID").contains(&row.id.to_string()));
    assert_eq!(relay.letters().len(), 1);
}

fn what_is_never_taken_is_given_up_and_the_operator_hears_of_it(database: Database) {
    // A port that nobody listens at.
    let port = {
        let socket = TcpListener::bind("127.0.0.1:0").expect("a socket");
        socket.local_addr().expect("an address").port()
    };
    let server = TestServer::start_with(database, |config| with_mail(config, port, ""));
    let scene = Scene::on(&server);
    let _ = accepted(&scene.hand, &scene.nail().sign());

    let notice = latest(&scene.yard.owner);
    let mut attempts = 1;
    let row = loop {
        let row = failed(&server, notice, attempts);
        if row.ended_at.is_some() {
            break row;
        }
        attempts = row.attempts + 1;
        assert!(attempts < 30, "it is never given up");
        server.clock.advance(TimeDelta::hours(7));
    };

    assert_eq!(row.outcome, Some(Key(Outcome::GivenUp)));
    assert!(row.attempts > 3, "{row:?}");
    let owner = scene.yard.owner.elsewhere(false);
    assert_eq!(owner.get(path::UNDELIVERED).status, 403);
    let operator = server.account("Wren Halloran");
    operate::make_operator(&server.state(), &operator.email).expect("an operator");
    let told: Page<GivenUp> = operator.get(path::UNDELIVERED).read();
    let [one] = told.items.as_slice() else {
        panic!("{told:?}")
    };
    assert_eq!((one.id, &one.account), (row.id, &owner.email));
    assert!(one.error.is_some() && one.given_up_at.is_some());
    let text = operator.get(path::UNDELIVERED).text();
    assert!(!text.contains("puncture") && !text.contains("Plover"));
    assert_eq!(notices(&owner).len(), 1, "it is in their list all the same");
}

fn choose(who: &Caller, email: Letters) {
    let settings: NoticeSettings = who
        .put(path::NOTICE_SETTINGS, &LetterChoice { email })
        .read();
    assert_eq!((settings.email, settings.sends_email), (email, true));
}

fn people_choose_which_letters_they_get(database: Database) {
    let relay = Relay::start(&[]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let (vet, _) = scene.vet(&server);
    let partner = server.device_account("Bram Oduya");
    let _ = scene.yard.admit(&partner, scene.horse, Role::Owner);
    let usual: NoticeSettings = vet.get(path::NOTICE_SETTINGS).read();
    assert_eq!(usual.email, Letters::RedFlags);
    choose(&vet, Letters::None);
    choose(&partner, Letters::All);
    // Made while the grant held, pushed once it has ended: both owners must decide.
    let late = scene.fever().recorded_at(server.now());
    let _ = accepted(&scene.hand, &scene.nail().sign());
    server.clock.advance(TimeDelta::minutes(1));
    scene.yard.revoke(&scene.hand_grant);
    server.clock.advance(TimeDelta::minutes(1));
    assert_eq!(push_one(&scene.hand, &late.sign()), Pushed::Held);

    let letters = relay.wait_for(3);

    let to = |who: &Person| -> Vec<&str> {
        letters
            .iter()
            .filter(|one| header(one, "X-Envelope-To").trim_end() == who.email)
            .map(|one| header(one, "Subject").trim_end())
            .collect()
    };
    assert_eq!(to(&scene.yard.owner), ["Plover: please read now"]);
    let mut partners = to(&partner);
    partners.sort_unstable();
    assert_eq!(
        partners,
        [
            "Plover: a record waits for your word",
            "Plover: please read now"
        ]
    );
    assert!(to(&vet).is_empty());
    assert!(!letters.iter().any(|one| text(one).contains("39.9")));
    let one = notices(&vet).remove(0);
    assert_eq!(rows(&server, one.id), []);
}

fn what_was_said_is_taken_back_and_what_was_not_is_not_said(database: Database) {
    let relay = Relay::start(&[]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let fever = scene.fever();
    let _ = accepted(&scene.hand, &fever.sign());
    let _ = relay.wait_for(1);
    let _ = ended(&server, latest(&scene.yard.owner));

    let _ = accepted(&scene.hand, &scene.take_back(&fever));

    let letters = relay.wait_for(2);
    assert_eq!(
        header(&letters[1], "Subject").trim_end(),
        "Plover: a notice is withdrawn"
    );
    assert!(text(&letters[1]).contains("another horse"));

    // Nobody heard of this one yet: nothing to take back.
    server.clock.advance(TimeDelta::minutes(1));
    choose(&scene.yard.owner, Letters::None);
    let quiet = scene.fever();
    let _ = accepted(&scene.hand, &quiet.sign());
    choose(&scene.yard.owner, Letters::RedFlags);
    let _ = accepted(&scene.hand, &scene.take_back(&quiet));
    let row = ended(&server, latest(&scene.yard.owner));
    assert_eq!(row.outcome, Some(Key(Outcome::Dropped)));
    assert_eq!(relay.letters().len(), 2);
}

fn nothing_is_sent_to_whoever_may_not_see_it_any_more(database: Database) {
    let relay = Relay::start(&["451"]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let (vet, grant) = scene.vet(&server);
    choose(&scene.yard.owner, Letters::None);
    let _ = accepted(&scene.hand, &scene.nail().sign());
    let notice = latest(&vet);
    let _ = failed(&server, notice, 1);

    scene.yard.revoke(&grant);
    server.clock.advance(TimeDelta::hours(1));

    let row = ended(&server, notice);
    assert_eq!(row.outcome, Some(Key(Outcome::Dropped)));
    assert!(relay.letters().is_empty());
}

fn nothing_leaves_in_the_clear_where_tls_is_asked_for(database: Database) {
    // One relay offers TLS with a certificate that nobody vouches for, the other offers none.
    for plans in [&["tls"][..], &[]] {
        let relay = Relay::start(plans);
        let server = TestServer::start_with(database, |config| {
            with_mail(config, relay.port(), "?tls=required");
        });
        let scene = Scene::on(&server);
        let _ = accepted(&scene.hand, &scene.nail().sign());

        let row = failed(&server, latest(&scene.yard.owner), 1);

        assert_eq!(row.outcome, None, "{plans:?}: {row:?}");
        assert!(relay.letters().is_empty(), "{plans:?}");
    }
}

/// Where the relay is that the process is to trust.
const PORT: &str = "WHORL_TEST_RELAY";

/// Which authorities a process trusts is settled as it starts, so this test starts itself once more.
#[test]
fn a_letter_goes_over_tls_to_a_relay_that_an_authority_vouches_for() {
    if alone::is_alone() {
        let port = std::env::var(PORT).expect("the relay's port");
        let port = port.parse().expect("a port");
        let server = TestServer::start_with(Database::Sqlite, |config| {
            with_mail(config, port, "?tls=required");
        });
        let scene = Scene::on(&server);
        let _ = accepted(&scene.hand, &scene.nail().sign());
        let sent = ended(&server, latest(&scene.yard.owner));
        assert_eq!(sent.outcome, Some(Key(Outcome::Delivered)), "{sent:?}");
        return;
    }
    let relay = Relay::start(&["vouched"]);
    let authority = relay.authority().display().to_string();
    let _ = alone::run(
        "deliveries::a_letter_goes_over_tls_to_a_relay_that_an_authority_vouches_for",
        &[
            (PORT, &relay.port().to_string()),
            ("SSL_CERT_FILE", &authority),
        ],
    );
    assert_eq!(relay.letters().len(), 1);
}

fn what_a_dead_server_had_in_hand_comes_up_again(database: Database) {
    let relay = Relay::start(&["451"]);
    let server = server_with(database, &relay);
    let scene = Scene::on(&server);
    let _ = accepted(&scene.hand, &scene.nail().sign());
    let notice = latest(&scene.yard.owner);
    let first = failed(&server, notice, 1);
    server.stop();
    // Another server takes it in hand and dies: it has it for two minutes.
    let job = whorl_store::Settings::of_job(server.database_url());
    let store = whorl_store::Store::open(&job).expect("the store");
    server.clock.advance(TimeDelta::hours(1));
    let now = server.now().naive_utc();
    let taken = store
        .write(move |db| {
            let ways = Ways {
                email: true,
                webhooks: false,
            };
            let until = now + TimeDelta::minutes(2);
            let mine = deliveries::take(db, ways, now, until, 5)?;
            let again = deliveries::take(db, ways, now, until, 5)?;
            Ok::<_, StoreError>((mine, again))
        })
        .expect("taken");
    assert_eq!((taken.0.len(), taken.1.len()), (1, 0));
    assert_eq!((taken.0[0].id, taken.0[0].attempts), (first.id, 2));
    store.close();
    drop(store);

    server.restart();
    server.clock.advance(TimeDelta::minutes(3));

    let letters = relay.wait_for(1);
    assert!(header(&letters[0], "Message-ID").contains(&first.id.to_string()));
    let row = ended(&server, notice);
    assert_eq!(
        (row.outcome, row.attempts),
        (Some(Key(Outcome::Delivered)), 3)
    );
    // The dead one comes back and says that it failed: it is no more its to say.
    let late = taken.0[0].clone();
    let noted = server.state().store.write(move |db| {
        let failed = deliveries::Attempt::Failed(now, "late".to_owned());
        deliveries::note(db, &late, failed, now)
    });
    assert!(!noted.unwrap_or_else(|error: StoreError| panic!("{error}")));
}

#[test]
fn two_servers_on_one_database_send_each_letter_once() {
    let relay = Relay::start(&[]);
    let server = server_with(Database::Postgres, &relay);
    let scene = Scene::on(&server);
    let (_vet, _) = scene.vet(&server);
    let _replica = server.replica();
    for _ in 0..5 {
        let batch: Vec<SignedEvent> = (0..8).map(|_| scene.nail().sign()).collect();
        assert_eq!(push(&scene.hand, &batch).len(), 8);
    }

    let letters = relay.wait_for(80);
    until("all are noted", || {
        let open = notices(&scene.yard.owner);
        let rows = open.iter().flat_map(|one| rows(&server, one.id));
        rows.map(|row| row.ended_at)
            .all(|at| at.is_some())
            .then_some(())
    });

    let ids: BTreeSet<&str> = letters
        .iter()
        .map(|one| header(one, "Message-ID"))
        .collect();
    assert_eq!((relay.letters().len(), ids.len()), (80, 80));
}
