//! Several servers on one PostgreSQL, as separate processes behind the proxy of `deploy/haproxy.cfg`.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_contract::grant::NewInvitation;
use whorl_contract::key::Purpose;
use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_contract::session::{Refresh, Session, refresh_message};
use whorl_contract::sync::Outcome;
use whorl_http::clock::Clock;
use whorl_tests::hand::Hand;
use whorl_tests::ledger::heads;
use whorl_tests::pen::Pen;
use whorl_tests::person::sign_in;
use whorl_tests::process::{Place, Process};
use whorl_tests::proxy::Proxy;
use whorl_tests::told::{Told, logs};
use whorl_tests::waiting::{ready, wait_for};
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Database, Own, Person};

/// Three servers with the same keys.
struct Herd {
    proxy: Proxy,
    running: [Option<Process>; 3],
    places: [Place; 3],
    // Dropped last.
    _database: Own,
}

impl Herd {
    /// Starts all three at once on an empty database.
    fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let database = Own::make(Database::Postgres, folder.path());
        let mut places = [0, 1, 2].map(|_| Place::on(database.url().to_owned()));
        let keys = places[0].folder().join("whorl.keys");
        for place in &mut places {
            place.set("WHORL_KEYS", keys.to_str().expect("UTF-8"));
            place.set("WHORL_TRUSTED_PROXIES", "127.0.0.1");
        }
        let running = places.each_ref().map(|place| Some(place.launch()));
        for place in &places {
            wait_for("a server starts", || ready(&place.anonymous()));
        }
        let addresses = places.each_ref().map(|place| {
            let url = place.url();
            url.trim_start_matches("http://").to_owned()
        });
        let proxy = Proxy::balancing(&addresses);
        wait_for("the proxy finds a server", || ready(&proxy.anonymous()));
        Self {
            proxy,
            running,
            places,
            _database: database,
        }
    }

    /// Somebody at one server, past the proxy.
    fn at(&self, n: usize, person: &Person) -> Caller {
        Caller::new(
            self.places[n].url(),
            Some(person.session.access_token.clone()),
        )
    }

    fn everywhere(&self, person: &Person) -> [Caller; 3] {
        [0, 1, 2].map(|n| self.at(n, person))
    }

    fn start_again(&mut self, n: usize) {
        self.running[n] = Some(self.places[n].launch());
        let anonymous = self.places[n].anonymous();
        wait_for("a server starts", || ready(&anonymous));
    }
}

/// Lets somebody work on all horses of a yard.
fn hired(herd: &Herd, yard: &Yard, name: &str) -> (Person, whorl_contract::grant::Grant) {
    let person = Person::open(&herd.proxy.anonymous(), name, true);
    let grant = yard.invite(
        &person,
        &NewInvitation {
            horse_id: None,
            barn_id: Some(yard.barn),
            role: Role::BarnStaff,
            from: None,
            until: None,
            kinds: None,
        },
    );
    (person, grant)
}

/// What somebody whose grant ends meanwhile was told, at one server.
#[derive(Default)]
struct Stray {
    told: Told,
    /// Pushes that were begun after the revocation had been answered, and were refused.
    refused_after: usize,
}

fn stray(mut hand: Hand, revoked: &AtomicBool) -> Stray {
    let mut refused_after = 0;
    while refused_after < 3 {
        let over = revoked.load(Ordering::SeqCst);
        let batch = hand.record(1);
        let outcome = hand.push_until_answered(&batch).remove(0);
        if over {
            assert!(matches!(outcome, Outcome::Refused { .. }), "{outcome:?}");
            assert_eq!(heads(&hand.caller).len(), 0);
            refused_after += 1;
        }
    }
    Stray {
        told: hand.told,
        refused_after,
    }
}

#[test]
fn nothing_is_lost_doubled_or_let_in_while_servers_die_and_a_grant_ends() {
    let mut herd = Herd::start();
    let infos = herd
        .places
        .each_ref()
        .map(|place| place.anonymous().get(path::SERVER).read::<ServerInfo>());
    // Started at once on an empty database, they are one server.
    for info in &infos {
        assert_eq!((info.epoch, info.key), (infos[0].epoch, infos[0].key));
    }
    let yard = Yard::of(Person::open(&herd.proxy.anonymous(), "Maren Oduya", true));
    let horses: Vec<HorseId> = (0..4).map(|_| yard.horse()).collect();
    let mut hands = vec![Hand::new(Caller::clone(&yard.owner), yard.pen(), &horses)];
    for name in ["Tam Brisling", "Idris Fenn", "Jory Vale"] {
        let (person, _) = hired(&herd, &yard, name);
        let pen = Pen::of(&person, Role::BarnStaff);
        hands.push(Hand::new(Caller::clone(&person), pen, &horses));
    }
    let (straying, grant) = hired(&herd, &yard, "Sorrel Pike");
    let (over, revoked) = (AtomicBool::new(false), AtomicBool::new(false));
    let acknowledged = AtomicUsize::new(0);
    let mut told = Told::default();
    let mut ended_at = BTreeMap::new();
    std::thread::scope(|scope| {
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
        let strays = herd.everywhere(&straying).map(|caller| {
            let pen = Pen::of(&straying, Role::BarnStaff);
            let (hand, revoked) = (Hand::new(caller, pen, &horses), &revoked);
            scope.spawn(move || stray(hand, revoked))
        });
        more(40);
        let [at_first, at_second, _] = herd.everywhere(&yard.owner);
        assert_eq!(at_first.delete(&path::grant(grant.id)).status, 204);
        revoked.store(true, Ordering::SeqCst);
        // What the grant let in is at or before these places.
        ended_at.extend(heads(&at_second));
        for stray in strays {
            let stray = stray.join().expect("a stray's answers");
            assert_eq!(stray.refused_after, 3);
            for (horse, seq) in stray.told.accepted.values() {
                assert!(*seq <= ended_at[horse].0, "place {seq} of {horse}");
            }
            told.join(stray.told);
        }
        more(40);
        herd.running[0].take().expect("a server").kill();
        more(60);
        assert!(herd.running[1].take().expect("a server").stop());
        more(60);
        herd.start_again(0);
        herd.start_again(1);
        more(40);
        over.store(true, Ordering::SeqCst);
    });
    for hand in hands {
        told.join(hand.told);
    }
    assert!(told.refused.len() >= 9);
    // The same from each server, to the last head.
    for owner in herd.everywhere(&yard.owner) {
        let logs = logs(&owner, &horses);
        assert_eq!(told.check(&logs), Ok(()));
    }
    let said = herd.places[2].verify().expect("a record that verifies");
    let entries = format!("4 horses, {} entries", told.accepted.len());
    assert!(said.contains(&entries), "{said}");
}

/// New tokens for somebody, asked for at a server.
fn refresh(at: &Caller, person: &Person) -> whorl_tests::Answer {
    let (token, signed_at) = (&person.session.refresh_token, Clock::system().now());
    let key = person.key.as_ref().expect("a device's key");
    at.post(
        path::REFRESH,
        &Refresh {
            refresh_token: token.clone(),
            signed_at: Some(signed_at),
            proof: Some(key.sign(Purpose::Refresh, &refresh_message(token, signed_at))),
        },
    )
}

#[test]
fn who_is_signed_in_and_who_is_not_is_the_same_at_every_server() {
    let herd = Herd::start();
    let anonymous = herd.places.each_ref().map(Place::anonymous);
    let answers = |person: &Person| {
        herd.everywhere(person)
            .map(|caller| caller.get(path::BARNS).status)
    };
    let owner = Person::open(&anonymous[0], "Maren Oduya", true);
    assert_eq!(answers(&owner), [200; 3]);

    // Tokens of one server are another's, and old ones are used up everywhere.
    let session: Session = refresh(&anonymous[1], &owner).read();
    let mut now = owner.clone();
    now.session = session;
    assert_eq!(answers(&now), [200; 3]);
    let mut later = owner.clone();
    later.session = refresh(&anonymous[2], &now).read();
    assert_eq!(refresh(&anonymous[0], &owner).status, 401);
    // An old one that comes back ends them all, at once.
    assert_eq!(answers(&later), [401; 3]);

    let phone = owner.elsewhere(true);
    assert_eq!(answers(&phone), [200; 3]);
    let [_, at_second, _] = herd.everywhere(&phone);
    assert_eq!(at_second.delete(path::CURRENT_SESSION).status, 204);
    assert_eq!(answers(&phone), [401; 3]);
    assert_eq!(refresh(&anonymous[0], &phone).status, 401);

    let (kept, lost) = (owner.elsewhere(true), owner.elsewhere(true));
    let [_, _, at_third] = herd.everywhere(&kept);
    assert_eq!(at_third.delete(&path::device(lost.device())).status, 204);
    assert_eq!(answers(&lost), [401; 3]);
    assert_eq!(refresh(&anonymous[1], &lost).status, 401);
    assert_eq!(answers(&kept), [200; 3]);

    // Wrong passwords are counted together: each server by itself would let five through.
    let mut let_through = 0;
    for at in anonymous.iter().cycle() {
        let wrong = sign_in(at, &owner.email, "not the tidal gate, not at all", None);
        match wrong.status {
            429 => break,
            status => assert_eq!(status, 401, "{wrong:?}"),
        }
        let_through += 1;
        assert!(let_through < 12, "nobody counts");
    }
    assert!(let_through >= 5);
    // Nobody else waits.
    let other = json!({"email": "idris.fenn@saltmarsh.example", "name": "Idris Fenn", "password": "the tidal gate, twice a day"});
    assert_eq!(anonymous[1].post(path::ACCOUNTS, &other).status, 201);
}
