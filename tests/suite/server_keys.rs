//! Replacing the server's keys: devices follow where the old key vouches for the new one, and nowhere else.

use serde_json::Value;
use whorl_care::ids::HorseId;
use whorl_contract::key::PublicKey;
use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_http::keys::{Keys, Replaced};
use whorl_tests::field::FieldDevice;
use whorl_tests::ledger::push;
use whorl_tests::yard::Yard;
use whorl_tests::{TestServer, on_both};

fn replace(server: &TestServer, which: Replaced) -> PublicKey {
    let file = server.folder().join("whorl.keys");
    let keys = Keys::replace(&file, which, "saltmarsh.example", server.now()).expect("replaced");
    server.restart();
    keys.heads.public()
}

fn shown(server: &TestServer) -> ServerInfo {
    server.anonymous().get(path::SERVER).read()
}

fn record(device: &FieldDevice, horse: HorseId) {
    let horse = horse.to_string();
    let args = [
        "record", "weight", &horse, "--weight", "502kg", "--method", "scale",
    ];
    let (status, told) = device.ask(&args);
    assert_eq!(status, 0, "{told}");
}

/// What a sync says: its exit status, how many entries the server took, and its notices.
fn sync(device: &FieldDevice) -> (i32, u64, Vec<String>) {
    let (status, told) = device.ask(&["sync"]);
    let notices = told["notices"].as_array().expect("a list");
    let notices = notices
        .iter()
        .filter_map(Value::as_str)
        .map(str::to_owned)
        .collect();
    (
        status,
        told["accepted"].as_u64().expect("a number"),
        notices,
    )
}

on_both!(
    devices_follow_as_many_keys_as_vouch_for_each_other,
    |server| {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let _ = push(&yard.owner, &[yard.pen().weight(horse, 500.0).sign()]);
        let (often, seldom) = (
            FieldDevice::join(&yard.owner, &server.url()),
            FieldDevice::join(&yard.owner, &server.url()),
        );
        let first = shown(server).key;
        let before = often.place("before.whorl.json");
        let exported = often.run(&["export", &horse.to_string(), "--out", &before]);
        assert!(exported.status.success(), "{exported:?}");

        let second = replace(server, Replaced::Heads);
        assert_ne!(first, second);
        record(&often, horse);
        let (status, accepted, notices) = sync(&often);
        assert_eq!((status, accepted), (0, 1), "{notices:?}");
        let says = |notices: &[String], key: &PublicKey| {
            notices
                .iter()
                .filter(|notice| {
                    notice.contains("was replaced") && notice.contains(&key.to_string())
                })
                .count()
        };
        assert_eq!(says(&notices, &second), 1, "{notices:?}");
        assert_eq!(says(&sync(&often).2, &second), 0, "said once");

        let third = replace(server, Replaced::Heads);
        assert_eq!(shown(server).handovers.len(), 2);
        let (status, _, notices) = sync(&seldom);
        assert_eq!((status, says(&notices, &third)), (0, 1), "{notices:?}");

        // The other one asks for a history before it has synced again.
        let after = often.place("after.whorl.json");
        let exported = often.run(&["export", &horse.to_string(), "--out", &after]);
        assert!(exported.status.success(), "{exported:?}");
        for (file, key, status) in [
            (&before, first, 0),
            (&after, third, 0),
            (&before, third, 5),
            (&after, first, 5),
        ] {
            let key = key.to_string();
            let checked = often.run(&["verify", file, "--server-key", &key]);
            assert_eq!(checked.status.code(), Some(status), "{checked:?}");
        }
    }
);

on_both!(a_key_that_nobody_vouches_for_is_an_alarm, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let device = FieldDevice::join(&yard.owner, &server.url());
    record(&device, horse);
    let _ = replace(server, Replaced::Heads);
    let file = server.folder().join("whorl.keys");
    let text = std::fs::read_to_string(&file).expect("the keys");
    // As a thief of the database would show it: keys of their own, and no word of the old one.
    let (own, statement) = text.split_once("[[handovers]]").expect("a statement");
    std::fs::write(&file, own).expect("written");
    server.restart();
    let refused = device.run(&["sync"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(5), "{said}");
    assert!(said.contains("doesn't vouch for it"), "{said}");
    let (_, standing) = device.ask(&["status"]);
    assert_eq!(standing["waiting"], 1, "nothing was sent: {standing}");

    // A statement that was changed is none.
    let changed = statement
        .lines()
        .map(|line| match line.strip_prefix("at = ") {
            Some(_) => "at = \"2020-01-01T00:00:00Z\"".to_owned(),
            None => line.to_owned(),
        })
        .collect::<Vec<_>>()
        .join("\n");
    std::fs::write(&file, format!("{own}[[handovers]]{changed}\n")).expect("written");
    server.restart();
    assert_eq!(device.run(&["sync"]).status.code(), Some(5));

    let joined = device.run(&["join", "--new-key"]);
    assert!(joined.status.success(), "{joined:?}");
    let (_, standing) = device.ask(&["status"]);
    assert_eq!(standing["waiting"], 0, "{standing}");
});

on_both!(
    who_is_signed_in_stays_so_when_the_key_of_tokens_is_replaced,
    |server| {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let heads = shown(server).key;
        for _ in 0..2 {
            assert_eq!(replace(server, Replaced::Tokens), heads);
            assert_eq!(yard.owner.get(&path::horse(horse)).status, 200);
        }
        // Three times within the life of one token: that token is too old a one, and is renewed like any that has run out.
        let _ = replace(server, Replaced::Tokens);
        assert_eq!(yard.owner.get(&path::horse(horse)).status, 401);
        let mut owner = yard.owner;
        assert_eq!(owner.refresh(server).status, 200);
        assert_eq!(owner.get(&path::horse(horse)).status, 200);
    }
);
