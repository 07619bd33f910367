//! Logs: each line is JSON, each request can be found by the id that its answer carries, and no secret is ever in them.

use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::kind::Role;
use whorl_contract::path;
use whorl_contract::session::Session;
use whorl_tests::alone;
use whorl_tests::ledger::{push, push_texts};
use whorl_tests::person::password;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Database, TestServer};

/// A word that stands in a note, in a query and in bodies that can't be read.
const CANARY: &str = "canary-in-the-tack-room";

/// Does what people do, and what goes wrong; prints every secret that came up.
fn live_and_tell() {
    let _logging = whorl_http::logging::start("debug", None).expect("a log");
    let server = TestServer::start(Database::Sqlite);
    let yard = Yard::open(&server);
    let horse = yard.horse();
    let mut vet = server.device_account("Senna Quill");
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let _ = push(
        &yard.owner,
        &[yard.pen().weight(horse, 500.0).note(CANARY).sign()],
    );
    let _ = push_texts(
        &yard.owner,
        &[format!("{{\"{CANARY}\": 1}}"), format!("\"{CANARY}")],
    );
    let wrong = json!({"email": yard.owner.email, "password": format!("{CANARY} and more of it")});
    let _ = server.anonymous().post(path::SESSIONS, &wrong);
    let _ = yard
        .owner
        .get(&format!("{}?{CANARY}={CANARY}", path::horse(horse)));
    let _ = yard.owner.get(&format!("/v1/{CANARY}"));
    let before: Session = vet.session.clone();
    assert_eq!(vet.refresh(&server).status, 200);
    let share = yard.owner.post(&path::shares(horse), &json!({"days": 1}));
    let share: Value = share.read();
    let request = yard.owner.request(Method::GET, &path::horse(horse));
    let answer = yard.owner.send(request.header("x-request-id", "aisle-7"));
    assert_eq!(answer.header("x-request-id"), Some("aisle-7"));
    let owner = &yard.owner;
    let mut secrets = vec![
        CANARY.to_owned(),
        owner.email.clone(),
        vet.email.clone(),
        password("Maren Oduya"),
        password("Senna Quill"),
        owner.session.access_token.clone(),
        owner.session.refresh_token.clone(),
        before.access_token,
        before.refresh_token,
        vet.session.refresh_token.clone(),
        "SV-20418".to_owned(),
        "Maren".to_owned(),
    ];
    let link = share["url"].as_str().expect("a link");
    secrets.push(link.rsplit('/').next().expect("a secret").to_owned());
    for secret in secrets {
        alone::tell(&secret);
    }
    server.stop();
}

#[test]
fn every_line_is_json_and_none_holds_a_secret() {
    if alone::is_alone() {
        live_and_tell();
        return;
    }
    let told = alone::run("logs::every_line_is_json_and_none_holds_a_secret", &[]);
    let log = &told.log;
    let lines: Vec<Value> = log
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}")))
        .collect();
    for line in &lines {
        for field in ["timestamp", "level", "target"] {
            assert!(line[field].is_string(), "{field}: {line}");
        }
    }
    let requests: Vec<&Value> = lines
        .iter()
        .filter(|line| line["target"] == "whorl_http::access")
        .collect();
    assert!(requests.len() > 15, "{}", requests.len());
    for request in &requests {
        assert!(request["span"]["request_id"].is_string(), "{request}");
        assert!(
            request["status"].is_u64() && request["milliseconds"].is_u64(),
            "{request}"
        );
    }
    assert!(
        requests
            .iter()
            .any(|one| one["span"]["request_id"] == "aisle-7"
                && one["route"] == "/v1/horses/{horse}")
    );
    assert!(lines.iter().any(|line| line["event"] == "sign_in_failed"));
    let secrets = told.secrets();
    assert_eq!(secrets.len(), 13, "{secrets:?}");
    for secret in secrets {
        assert!(!log.contains(secret), "{secret} in {log}");
    }
}
