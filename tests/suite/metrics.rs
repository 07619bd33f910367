//! Metrics: what Prometheus' own parser makes of them, that they name nobody, and that the dashboard and the alerts ask for
//! nothing that isn't there.

use std::collections::BTreeSet;
use std::net::{SocketAddr, TcpListener};

use serde_json::{Value, json};
use whorl_contract::path;
use whorl_tests::ledger::push;
use whorl_tests::python::judged;
use whorl_tests::yard::Yard;
use whorl_tests::{Answer, Caller, Database, TestServer};

/// An address that nobody listens on.
fn free() -> SocketAddr {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a socket");
    listener.local_addr().expect("an address")
}

/// A server with metrics, and whoever fetches them.
fn watched(database: Database) -> (TestServer, Caller) {
    let address = free();
    let server = TestServer::start_with(database, |config| config.metrics_listen = Some(address));
    (server, Caller::new(format!("http://{address}"), None))
}

/// Fetches; the server may be about to listen.
fn fetch(watcher: &Caller) -> Answer {
    let answer = watcher.get("/metrics");
    assert_eq!(answer.status, 200, "{answer:?}");
    assert_eq!(
        answer.header("content-type"),
        Some("application/openmetrics-text; version=1.0.0; charset=utf-8")
    );
    answer
}

/// Lives a little: people, horses, entries, and what goes wrong.
fn live(server: &TestServer) -> (Yard, Vec<String>) {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let events: Vec<_> = (0..5)
        .map(|n| yard.pen().weight(horse, 500.0 + f64::from(n)).sign())
        .collect();
    let _ = push(&yard.owner, &events);
    let _ = push(&yard.owner, &events[..2]);
    let stranger = server.device_account("Idris Vale");
    let refused = whorl_tests::pen::Pen::of(&stranger, whorl_care::kind::Role::Owner);
    let _ = push(&stranger, &[refused.weight(horse, 480.0).sign()]);
    let wrong = json!({"email": yard.owner.email, "password": "not the right one at all"});
    assert_eq!(server.anonymous().post(path::SESSIONS, &wrong).status, 401);
    assert_eq!(yard.owner.get(&path::horse(horse)).status, 200);
    assert_eq!(yard.owner.get("/v1/nothing/made-up-7Gq").status, 404);
    let told = vec![
        horse.to_string(),
        yard.barn.to_string(),
        yard.owner.account().to_string(),
        yard.owner.device().to_string(),
        yard.owner.email.clone(),
        yard.owner.session.access_token.clone(),
        server.url().trim_start_matches("http://").to_owned(),
        "made-up-7Gq".to_owned(),
        "Maren".to_owned(),
    ];
    (yard, told)
}

/// The sum of the samples of one name that carry these labels.
fn sum(samples: &Value, name: &str, labels: &Value) -> f64 {
    let wanted = labels.as_object().expect("labels");
    samples
        .as_array()
        .expect("samples")
        .iter()
        .filter(|one| one["name"] == name)
        .filter(|one| {
            wanted
                .iter()
                .all(|(key, value)| one["labels"][key] == *value)
        })
        .map(|one| one["value"].as_f64().expect("a number"))
        .sum()
}

fn counts_and_names_nobody(database: Database) {
    let (server, watcher) = watched(database);
    let (_yard, secrets) = live(&server);

    let answer = fetch(&watcher);

    let samples = judged("read_metrics.py", &answer.body);
    let count = |name: &str, labels: Value| sum(&samples, name, &labels);
    let pushed = |outcome: &str| {
        count(
            "whorl_pushed_events_total",
            json!({"kind": "weight", "outcome": outcome}),
        )
    };
    for (outcome, events) in [("accepted", 5.0), ("known", 2.0), ("refused", 1.0)] {
        assert!(
            (pushed(outcome) - events).abs() < 0.5,
            "{outcome}: {answer:?}"
        );
    }
    let is = |name: &str, labels: Value, wanted: f64| {
        let found = count(name, labels.clone());
        assert!((found - wanted).abs() < 0.5, "{name} {labels}: {found}");
    };
    is("whorl_sign_ins_total", json!({"outcome": "opened"}), 2.0);
    is("whorl_sign_ins_total", json!({"outcome": "failed"}), 1.0);
    is("whorl_sign_ins_total", json!({"outcome": "throttled"}), 0.0);
    for by in ["account", "share", "calendar"] {
        is("whorl_limited_requests_total", json!({"by": by}), 0.0);
    }
    is("whorl_horses", json!({}), 1.0);
    is("whorl_log_events", json!({}), 5.0);
    let events = json!({"method": "POST", "route": "/v1/events"});
    is("whorl_requests_total", events.clone(), 3.0);
    is("whorl_request_duration_seconds_count", events, 3.0);
    let one = json!({"method": "GET", "route": "/v1/horses/{horse}", "status": "200"});
    is("whorl_requests_total", one, 1.0);
    let nothing = json!({"method": "GET", "route": "none", "status": "404"});
    is("whorl_requests_total", nothing, 1.0);
    is(
        "whorl_build_info",
        json!({"version": env!("CARGO_PKG_VERSION")}),
        1.0,
    );
    for name in [
        "whorl_commit_writes_count",
        "whorl_commit_duration_seconds_count",
        "whorl_connection_wait_seconds_count",
        "whorl_connections",
        "process_resident_memory_bytes",
        "process_open_fds",
        "process_max_fds",
    ] {
        assert!(count(name, json!({})) > 0.0, "{name}: {answer:?}");
    }
    let text = answer.text();
    for secret in secrets {
        assert!(!text.contains(&secret), "{secret}: {text}");
    }
    let keys: BTreeSet<&str> = samples
        .as_array()
        .expect("samples")
        .iter()
        .flat_map(|one| one["labels"].as_object().expect("labels").keys())
        .map(String::as_str)
        .collect();
    let known = [
        "by", "kind", "le", "method", "outcome", "route", "status", "version",
    ];
    assert_eq!(keys, BTreeSet::from(known));
    assert_eq!(watcher.get("/").status, 404);
}

#[test]
fn metrics_count_what_happens_and_name_nobody_on_sqlite() {
    counts_and_names_nobody(Database::Sqlite);
}

#[test]
fn metrics_count_what_happens_and_name_nobody_on_postgres() {
    counts_and_names_nobody(Database::Postgres);
}

#[test]
fn they_are_never_where_people_are() {
    let (server, watcher) = watched(Database::Sqlite);
    let wren = server.account("Wren");
    for who in [&server.anonymous(), &*wren] {
        assert_eq!(who.get("/metrics").status, 404);
    }
    assert_eq!(watcher.get(path::SERVER).status, 404);
}

/// The names of metrics that a query asks for.
fn asked_for(query: &str, names: &mut BTreeSet<String>) {
    let words = query.split(|one: char| !(one.is_ascii_alphanumeric() || one == '_'));
    let ours = words.filter(|word| word.starts_with("whorl_") || word.starts_with("process_"));
    names.extend(ours.map(str::to_owned));
}

fn queries(document: &Value, names: &mut BTreeSet<String>) {
    match document {
        Value::Object(fields) => {
            for (key, value) in fields {
                match value {
                    Value::String(query) if key == "expr" => asked_for(query, names),
                    _ => queries(value, names),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| queries(item, names)),
        _ => {}
    }
}

#[test]
fn the_dashboard_and_the_alerts_ask_for_what_there_is() {
    let file = |name: &str| {
        let place = format!("{}/../deploy/watch/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(place).expect("a file")
    };
    let mut names = BTreeSet::new();
    let dashboard: Value = serde_json::from_str(&file("dashboard.json")).expect("JSON");
    queries(&dashboard, &mut names);
    assert!(names.len() > 10, "{names:?}");
    let before = names.len();
    // Read as text: whatever looks like the name of a metric of ours must be one.
    asked_for(&file("alerts.yml"), &mut names);
    assert!(names.len() <= before + 3, "{names:?}");
    let (server, watcher) = watched(Database::Sqlite);
    let _ = live(&server);

    let samples = judged("read_metrics.py", &fetch(&watcher).body);

    let there: BTreeSet<&str> = samples
        .as_array()
        .expect("samples")
        .iter()
        .map(|one| one["name"].as_str().expect("a name"))
        .collect();
    for name in names {
        assert!(
            there.contains(name.as_str()),
            "{name} isn't among {there:?}"
        );
    }
}
