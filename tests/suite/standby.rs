//! A PostgreSQL that dies, and the standby that takes over.

use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use serde_json::Value;
use tempfile::TempDir;
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_contract::sync::Push;
use whorl_tests::cluster::Cluster;
use whorl_tests::hand::Hand;
use whorl_tests::ledger::heads;
use whorl_tests::pen::Pen;
use whorl_tests::process::{Place, program};
use whorl_tests::told::{Told, logs};
use whorl_tests::waiting::{ready, wait_for};
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Person};

/// A primary that acknowledges only what its standby has too, and that standby.
fn synchronous() -> (Cluster, Cluster) {
    let primary = Cluster::start(&["synchronous_standby_names=ANY 1 (b)"]);
    let standby = primary.standby("b", &[]);
    wait_for("the standby follows", || {
        primary.ask("SELECT sync_state FROM pg_stat_replication") == "quorum"
    });
    (primary, standby)
}

/// A server that looks for the primary among both.
fn place(primary: &Cluster, standby: &Cluster) -> Place {
    let hosts = format!("127.0.0.1:{},127.0.0.1:{}", primary.port(), standby.port());
    let url = format!("postgres://whorl@{hosts}/postgres?target_session_attrs=read-write");
    let mut place = Place::on(url);
    place.set("WHORL_DATABASE_SECONDS", "2");
    place.set("WHORL_SHUTDOWN_SECONDS", "1");
    place
}

fn epoch(place: &Place) -> uuid::Uuid {
    let anonymous = place.anonymous();
    anonymous.get(path::SERVER).read::<ServerInfo>().epoch
}

/// Somebody's client: the real program.
struct Client(TempDir);

impl Client {
    fn run(&self, args: &[&str]) -> Output {
        let mut command: Command = program("whorl");
        command
            .args(args)
            .env("WHORL_HOME", self.0.path().join("home"))
            .env("WHORL_PASSWORD", "three geldings by the sluice");
        command.output().expect("a process")
    }

    fn ok(&self, args: &[&str]) -> Output {
        let done = self.run(args);
        assert!(done.status.success(), "{args:?}: {done:?}");
        done
    }

    fn sync(&self) -> (Value, String) {
        let done = self.ok(&["--json", "sync"]);
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        (serde_json::from_slice(&done.stdout).expect("JSON"), said)
    }

    /// Joins a server, opens a yard there and brings a horse in.
    fn join(place: &Place) -> Self {
        let client = Self(TempDir::new().expect("a folder"));
        let email = [
            "--email",
            "wren.hale@saltmarsh.example",
            "--name",
            "Wren Hale",
        ];
        client.ok(&[&["join", &place.url()], &email[..]].concat());
        client.ok(&["barn", "add", "Sluice Yard", "--time-zone", "Europe/London"]);
        client.ok(&["horse", "add", "Plover", "--sex", "mare"]);
        assert_eq!(client.sync().0["accepted"], 1);
        client
    }

    fn record(&self, texts: &[&str]) {
        for text in texts {
            self.ok(&["record", "observation", "Plover", "--text", text]);
        }
    }
}

#[test]
fn a_promoted_standby_has_all_that_was_acknowledged_and_is_a_new_epoch() {
    let (primary, standby) = synchronous();
    let place = place(&primary, &standby);
    let server = place.start();
    let yard = Yard::of(Person::open(&place.anonymous(), "Maren Oduya", true));
    let horses: Vec<HorseId> = (0..3).map(|_| yard.horse()).collect();
    let client = Client::join(&place);
    client.record(&["a cough at rest"]);
    client.sync();
    let people = [
        yard.owner.clone(),
        yard.owner.elsewhere(true),
        yard.owner.elsewhere(true),
    ];
    let mut hands = people.map(|person| {
        let pen = Pen::of(&person, Role::Owner);
        Hand::new(Caller::clone(&person), pen, &horses)
    });
    let before = epoch(&place);
    let (over, acknowledged) = (AtomicBool::new(false), AtomicUsize::new(0));
    let at_the_end = std::thread::scope(|scope| {
        let more = |events: usize| {
            let before = acknowledged.load(Ordering::SeqCst);
            wait_for("events are acknowledged", || {
                acknowledged.load(Ordering::SeqCst) >= before + events
            });
        };
        let (over, acknowledged) = (&over, &acknowledged);
        for hand in &mut hands {
            scope.spawn(move || hand.work(over, acknowledged));
        }
        more(60);
        primary.kill();
        let at_the_end = acknowledged.load(Ordering::SeqCst);
        standby.promote();
        more(60);
        over.store(true, Ordering::SeqCst);
        at_the_end
    });
    assert!(at_the_end >= 60);
    let mut told = Told::default();
    // What was acknowledged under the new epoch came after all that was under the old one, and nobody saw a third.
    let after = epoch(&place);
    assert_ne!(before, after);
    for hand in hands {
        let mut epochs = hand.epochs;
        epochs.dedup();
        assert_eq!(epochs, [before, after]);
        told.join(hand.told);
    }
    assert_eq!(told.check(&logs(&yard.owner, &horses)), Ok(()));
    let why = standby.ask("SELECT reason FROM ledger_epoch ORDER BY began_at DESC LIMIT 1");
    assert!(why.contains("timeline 00000002 answers"), "{why}");
    assert!(why.contains("timeline 00000001 did before"), "{why}");

    // The client is told, compares, and has nothing to give back.
    client.record(&["no cough"]);
    let (report, said) = client.sync();
    assert!(said.contains("began anew"), "{said}");
    assert_eq!(
        (&report["accepted"], &report["given_back"]),
        (&1.into(), &0.into())
    );
    let (report, said) = client.sync();
    assert!(!said.contains("began anew"), "{said} {report}");

    // A server that starts now goes on in the same life.
    assert!(server.stop());
    let again = place.start();
    assert_eq!(epoch(&place), after);
    assert!(again.stop());
    let said = place.verify().expect("a record that verifies");
    let entries = format!("4 horses, {} entries", told.accepted.len() + 3);
    assert!(said.contains(&entries), "{said}");
}

#[test]
fn what_a_standby_lacked_comes_back_from_the_clients_copy() {
    let primary = Cluster::start(&[]);
    let standby = primary.standby("b", &[]);
    let place = place(&primary, &standby);
    let server = place.start();
    let client = Client::join(&place);
    client.record(&["sound in trot"]);
    client.sync();
    let before = epoch(&place);
    let caught_up =
        "SELECT count(*) FROM pg_stat_replication WHERE replay_lsn >= pg_current_wal_lsn()";
    wait_for("the standby follows", || primary.ask(caught_up) == "1");
    // Its line is cut, and the primary goes on without it.
    let _ = standby.ask("ALTER SYSTEM SET primary_conninfo = ''");
    let _ = standby.ask("SELECT pg_reload_conf()");
    wait_for("the line is cut", || {
        primary.ask("SELECT count(*) FROM pg_stat_replication") == "0"
    });
    client.record(&["off hind warm", "off hind cool again", "sound"]);
    let (report, _) = client.sync();
    assert_eq!(
        (&report["accepted"], &report["pulled"]),
        (&3.into(), &3.into())
    );
    let counted = "SELECT count(*) FROM event";
    assert_eq!(primary.ask(counted), "5");
    let head = primary.ask("SELECT encode(head, 'hex') FROM horse");
    primary.kill();
    standby.promote();
    assert_eq!(standby.ask(counted), "2", "acknowledged, and lost");
    wait_for("the server finds the standby", || ready(&place.anonymous()));
    assert_ne!(epoch(&place), before);
    let (report, said) = client.sync();
    assert!(said.contains("began anew"), "{said}");
    assert_eq!(report["given_back"], 3, "{report} {said}");
    assert_eq!(standby.ask(counted), "5");
    // The same entries at the same places: the same chain.
    assert_eq!(standby.ask("SELECT encode(head, 'hex') FROM horse"), head);
    assert!(server.stop());
    let said = place.verify().expect("a record that verifies");
    assert!(said.contains("1 horse, 5 entries"), "{said}");
}

#[test]
fn without_its_standby_nothing_is_acknowledged_and_everybody_is_told_to_come_back() {
    let (primary, standby) = synchronous();
    let mut place = place(&primary, &standby);
    place.set("WHORL_CONNECTIONS", "4");
    let server = place.start();
    let yard = Yard::of(Person::open(&place.anonymous(), "Maren Oduya", true));
    let horses = [yard.horse(), yard.horse()];
    let others: Vec<HorseId> = (0..4).map(|_| yard.horse()).collect();
    let mut hand = Hand::new(Caller::clone(&yard.owner), yard.pen(), &horses);
    let first = hand.record(2);
    let _ = hand.push_until_answered(&first);
    standby.freeze();
    let second = hand.record(1);
    let told_to_come_back = || {
        let events = vec![second[0].2.clone()];
        let request = yard.owner.request(reqwest::Method::POST, path::EVENTS);
        let answer = yard.owner.send(request.json(&Push { events }));
        assert_eq!(answer.status, 503, "{answer:?}");
        assert!(answer.header("retry-after").is_some(), "{answer:?}");
    };
    // The first waits for the standby; it stays unseen, and those that come after it wait for its horse.
    for _ in 0..3 {
        told_to_come_back();
    }
    // However many wait, for as many horses as there are connections …
    let more = Hand::new(Caller::clone(&yard.owner), yard.pen(), &others).record(4);
    std::thread::scope(|scope| {
        for event in &more {
            let (mut hand, batch) = (hand.clone(), vec![event.clone()]);
            scope.spawn(move || assert_eq!(hand.push(&batch), Err(Some(503))));
        }
    });
    // … whoever reads goes on reading, and sees what is durable on both.
    let seen: i64 = heads(&yard.owner).values().map(|(seq, _)| seq).sum();
    assert_eq!(seen, 2);
    // Cut off by hand, it is there, on one machine alone: still nobody is told that it is taken.
    let counted = "SELECT count(*) FROM event";
    wait_for("the wait is cut off", || {
        let _ = primary.ask(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE wait_event = 'SyncRep'",
        );
        primary.ask(counted) != "2"
    });
    told_to_come_back();
    // Nor does a server that is asked to end wait for ever; what it didn't acknowledge is known to the next one.
    assert!(server.stop());
    let server = place.launch();
    standby.thaw();
    wait_for("a server starts", || ready(&place.anonymous()));
    for batch in [second, more] {
        let _ = hand.push_until_answered(&batch);
    }
    assert!(hand.told.refused.is_empty());
    let all = [&horses[..], &others].concat();
    assert_eq!(hand.told.check(&logs(&yard.owner, &all)), Ok(()));
    assert!(server.stop());
}

#[test]
fn a_standby_is_not_served() {
    let primary = Cluster::start(&[]);
    let standby = primary.standby("b", &[]);
    let place = Place::on(standby.url());
    let why = place.verify().expect_err("a standby");
    assert!(why.contains("is a standby"), "{why}");
}
