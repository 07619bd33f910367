//! The security events that `deploy/watch/security-events.md` lists: each is caused here and must be in the log as listed, and the code
//! has no other.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::kind::Role;
use whorl_contract::grant::Grant;
use whorl_contract::licence::Licence;
use whorl_contract::path;
use whorl_contract::session::Refresh;
use whorl_contract::share::Share;
use whorl_contract::transfer::Transfer;
use whorl_contract::webhook::Webhook;
use whorl_http::operate;
use whorl_http::rate::Allowance;
use whorl_tests::alone;
use whorl_tests::paddock::{self, to_horse};
use whorl_tests::yard::Yard;
use whorl_tests::{Browser, Database, Person, TestServer};

/// What isn't caused here: fifty thousand readings that can't be written. `server/http/src/readings.rs` tries the count.
const NOT_CAUSED: &str = "readings_dropped";

/// A line of the list.
#[derive(Debug, PartialEq, Eq)]
struct Listed {
    level: String,
    fields: BTreeSet<String>,
}

fn root() -> PathBuf {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/..")).to_owned()
}

fn list() -> BTreeMap<String, Listed> {
    let file = root().join("deploy/watch/security-events.md");
    let text = fs::read_to_string(file).expect("the list");
    let rows = text.lines().filter(|line| line.starts_with("| `"));
    rows.map(|row| {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let [event, level, _, fields] = cells[..] else {
            panic!("{row}");
        };
        let fields = fields.split('`').skip(1).step_by(2).map(str::to_owned);
        let listed = Listed {
            level: level.to_uppercase(),
            fields: fields.collect(),
        };
        (event.trim_matches('`').to_owned(), listed)
    })
    .collect()
}

fn sources(folder: &Path, found: &mut Vec<String>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|kind| kind == "rs") {
            found.push(fs::read_to_string(&path).expect("a file"));
        }
    }
}

#[test]
fn the_list_names_what_the_code_logs() {
    let mut texts = Vec::new();
    for room in ["server/http/src", "server/store/src", "server/care/src"] {
        sources(&root().join(room), &mut texts);
    }
    let mut logged = BTreeSet::new();
    for text in &texts {
        for rest in text.split("target: \"security\"").skip(1) {
            let rest: String = rest.split_whitespace().collect::<Vec<_>>().join(" ");
            let name = rest
                .strip_prefix(", event = \"")
                .and_then(|rest| rest.split('"').next());
            logged.insert(
                name.unwrap_or_else(|| panic!("without a name: {rest:.80}"))
                    .to_owned(),
            );
        }
    }
    let listed: BTreeSet<String> = list().into_keys().collect();
    assert_eq!(logged, listed);
    assert!(listed.len() > 25);
}

/// Causes every event of the list but one.
fn cause_them_all() {
    let _log = whorl_http::logging::start("info", None).expect("a log");
    let server = TestServer::start_with(Database::Sqlite, |config| {
        config.webhooks.origins = vec!["https://hooks.example".parse().expect("an origin")];
    });
    let yard = Yard::open(&server);
    let (owner, horse) = (&yard.owner, yard.horse());
    let buyer = server.account("Perran Voss");
    sessions(&server, owner);
    forms(&server, owner);
    rights(&server, &yard, &buyer);
    for new in [json!({"days": 1}), json!({"days": 2})] {
        let share: Share = owner.post(&path::shares(horse), &new).read();
        assert_eq!(owner.delete(&path::share(horse, share.id)).status, 204);
    }
    assert_eq!(owner.post(&path::bundle(horse), &json!({})).status, 200);
    let hook: Webhook = owner
        .post(path::WEBHOOKS, &json!({"url": "https://hooks.example/in"}))
        .read();
    let turned = owner.post(&path::webhook_rotate(hook.id), &json!({}));
    assert_eq!(turned.status, 200, "{turned:?}");
    assert_eq!(owner.get(path::ACCOUNT_EXPORT).status, 200);
    let (_, code) = operate::offer_reset(&server.state(), &buyer.email).expect("a code");
    let reset = json!({"email": buyer.email, "code": code, "new": "samphire grows by the slipway"});
    let mut tries = (0..2).map(|_| server.anonymous().post(path::PASSWORD_RESETS, &reset));
    assert_eq!(tries.next().map(|answer| answer.status), Some(204));
    assert_eq!(tries.next().map(|answer| answer.status), Some(403));
    operate::close(&server.state(), &buyer.email).expect("closed");
    operate::reopen(&server.state(), &buyer.email).expect("open again");
    server.stop();
    let narrow = TestServer::start_with(Database::Sqlite, |config| {
        config.requests = Allowance {
            at_once: 2,
            a_second: 1,
        };
    });
    let rook = narrow.account("Rook");
    for status in [200, 200, 429, 429, 429] {
        assert_eq!(rook.get(path::ACCOUNT).status, status);
    }
    narrow.stop();
}

fn sessions(server: &TestServer, owner: &Person) {
    let anonymous = server.anonymous();
    let again =
        json!({"email": owner.email, "name": "Rook", "password": "heron on the weir at noon"});
    assert_eq!(anonymous.post(path::ACCOUNTS, &again).status, 409);
    let other = server.device_account("Idris Vale");
    let wrong = json!({"email": other.email, "password": "not the right one at all"});
    let statuses = (0..6).map(|_| anonymous.post(path::SESSIONS, &wrong).status);
    assert_eq!(statuses.collect::<Vec<_>>(), [401, 401, 401, 401, 401, 429]);
    let change = |current: &str| json!({"current": current, "new": "samphire grows by the slipway", "end_other_sessions": true});
    let changed = |current: &str| other.put(path::PASSWORD, &change(current)).status;
    assert_eq!(changed("not the right one at all"), 403);
    assert_eq!(changed(&other.password), 204);
    let lost = owner.elsewhere(true);
    assert_eq!(owner.delete(&path::device(lost.device())).status, 204);
    let browser = owner.elsewhere(false);
    let copied = Refresh {
        refresh_token: browser.session.refresh_token.clone(),
        signed_at: None,
        proof: None,
    };
    let turn = |token: &str| {
        let asked = Refresh {
            refresh_token: token.to_owned(),
            ..copied.clone()
        };
        anonymous.post(path::REFRESH, &asked)
    };
    let next: Value = turn(&copied.refresh_token).read();
    let next = next["refresh_token"].as_str().expect("a token").to_owned();
    assert_eq!(turn(&next).status, 200);
    assert_eq!(turn(&copied.refresh_token).status, 401);
    let ended = owner.elsewhere(false);
    assert_eq!(ended.delete(path::CURRENT_SESSION).status, 204);
}

fn forms(server: &TestServer, owner: &Person) {
    let browser = Browser::of(server, owner);
    assert_eq!(
        browser
            .post("/sign-out", &[("form_token", "made up")])
            .status,
        403
    );
    let foreign = [("origin", "https://elsewhere.example")];
    let sent = browser.send(Method::POST, "/sign-out", &foreign, Some(&[]));
    assert_eq!(sent.status, 403);
    assert_eq!(browser.submit("/", "/sign-out", &[]).status, 303);
}

fn rights(server: &TestServer, yard: &Yard, buyer: &Person) {
    let (owner, sold) = (&yard.owner, yard.horse());
    let vet = server.account("Senna Quill");
    let grant: Grant = paddock::grant(owner, &vet, &to_horse(sold, Role::Vet));
    let licence: Licence = paddock::licence(&vet, Role::Vet);
    let seen = owner.post(&path::licence_seen(licence.id), &json!({}));
    assert_eq!(seen.status, 200, "{seen:?}");
    assert_eq!(owner.delete(&path::grant(grant.id)).status, 204);
    let offer = json!({"to_email": buyer.email, "password": owner.password});
    let offered: Transfer = owner.post(&path::horse_transfers(sold), &offer).read();
    let barn = paddock::barn(buyer, "Sluice House").id;
    let take = json!({"barn_id": barn, "password": buyer.password});
    let taken = buyer.post(&path::transfer_accept(offered.id), &take);
    assert_eq!(taken.status, 200, "{taken:?}");
}

#[test]
fn each_is_in_the_log_as_the_list_says() {
    if alone::is_alone() {
        cause_them_all();
        return;
    }
    let told = alone::run("security_events::each_is_in_the_log_as_the_list_says", &[]);
    let lines = told
        .log
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok());
    let lines: Vec<Value> = lines.filter(|line| line["target"] == "security").collect();
    let ours = ["timestamp", "level", "target", "event", "span", "message"];
    let (mut list, mut limited) = (list(), 0);
    for line in &lines {
        let event = line["event"].as_str().expect("a name");
        let fields = line.as_object().expect("an object").keys();
        let fields: BTreeSet<String> = fields
            .filter(|name| !ours.contains(&name.as_str()))
            .cloned()
            .collect();
        let listed = &list[event];
        assert_eq!(line["level"], listed.level.as_str(), "{line}");
        assert!(
            fields.is_subset(&listed.fields),
            "{line} has more than {:?}",
            listed.fields
        );
        limited += usize::from(event == "rate_limited");
    }
    // Once, however often it was refused.
    assert_eq!(limited, 1);
    for line in &lines {
        list.remove(line["event"].as_str().expect("a name"));
    }
    assert_eq!(list.into_keys().collect::<Vec<_>>(), [NOT_CAUSED]);
}
