//! Every field of every request: none is taken that nobody described, and any text in one is taken whole or refused.

use std::fmt::Write as _;

use chrono::TimeDelta;
use naughty_strings::BLNS;
use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::details::example;
use whorl_care::kind::{Kind, Role};
use whorl_contract::path;
use whorl_contract::sync::Outcome;
use whorl_store::{Db, StoreError, throttle};
use whorl_tests::ledger::{pull_all, push};
use whorl_tests::pen::Pen;
use whorl_tests::{Answer, Browser, Person, TestServer, on_both};

use crate::access_matrix::calls::Calls;
use crate::access_matrix::people::Stable;
use crate::access_matrix::status;
use crate::access_matrix::target::{Body, Target, send};
use crate::kinds::yard_of_all_roles;
use crate::openapi::operations;

/// What only the server knows or decides.
const NOT_THE_CALLERS: [&str; 6] = [
    "owner_id",
    "account_id",
    "role",
    "seq",
    "received_at",
    "head",
];

/// So many texts stand in each place of a request, the next ones each time: all of them in all of them would take hours.
const TEXTS_A_PLACE: usize = 8;

/// The places in a document, as JSON pointers, that hold what `wanted` says.
fn places(document: &Value, wanted: fn(&Value) -> bool) -> Vec<String> {
    fn walk(value: &Value, at: &str, wanted: fn(&Value) -> bool, found: &mut Vec<String>) {
        if wanted(value) {
            found.push(at.to_owned());
        }
        match value {
            Value::Object(fields) => {
                for (name, value) in fields {
                    walk(value, &format!("{at}/{name}"), wanted, found);
                }
            }
            Value::Array(values) => {
                for (place, value) in values.iter().enumerate() {
                    walk(value, &format!("{at}/{place}"), wanted, found);
                }
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(document, "", wanted, &mut found);
    found
}

/// A document in which another value stands at a place.
fn put(document: &Value, place: &str, value: Value) -> Value {
    let mut changed = document.clone();
    *changed.pointer_mut(place).expect("the place is there") = value;
    changed
}

/// A text as it stands in an address.
pub(crate) fn percent(text: &str) -> String {
    text.bytes().fold(String::new(), |mut address, byte| {
        let _ = write!(address, "%{byte:02X}");
        address
    })
}

/// An operation of the description.
struct Operation {
    name: String,
    method: Method,
    path: String,
    described: Value,
}

impl Operation {
    fn takes_json(&self) -> bool {
        let json = "/requestBody/content/application~1json";
        self.described.pointer(json).is_some()
    }

    /// The names of what may stand in its query.
    fn query(&self) -> impl Iterator<Item = &str> {
        let parameters = self.described["parameters"].as_array();
        let parameters = parameters.into_iter().flatten();
        parameters
            .filter(|parameter| parameter["in"] == "query")
            .map(|parameter| parameter["name"].as_str().expect("a name"))
    }

    fn call(&self, person: &Person, target: &Target) -> Answer {
        send(person, &self.method, &self.path, target)
    }
}

fn all_operations() -> impl Iterator<Item = Operation> {
    operations().into_iter().map(|(method, path, described)| {
        let name = described["operationId"].as_str().expect("a name");
        Operation {
            name: name.to_owned(),
            method: Method::from_bytes(method.to_uppercase().as_bytes()).expect("a method"),
            path,
            described,
        }
    })
}

on_both!(no_body_takes_a_field_that_isnt_the_callers, |server| {
    let stable = Stable::of(server);
    let calls = Calls::new(server, &stable);
    let (owner, person) = (stable.who("ownr"), stable.person("ownr"));
    let mut tried = 0;
    for operation in all_operations().filter(Operation::takes_json) {
        let name = &operation.name;
        let target = calls.target(name, owner);
        let Body::Json(body) = &target.body else {
            panic!("{name} is called without its body");
        };
        for place in places(body, Value::is_object) {
            for field in NOT_THE_CALLERS {
                let mut object = body.pointer(&place).expect("an object").clone();
                if object.get(field).is_some() {
                    continue;
                }
                object[field] = json!(1);
                let more = target.clone().with(put(body, &place, object));
                let answer = operation.call(person, &more);
                let told = format!("{name} with {field} in {place:?}: {answer:?}");
                assert_eq!(status(&answer), 422, "{told}");
                // What is within an event belongs to its signature, or to its hash.
                if !place.contains("/envelope") && !place.contains("/content") {
                    assert!(answer.text().contains(field), "{told}");
                }
                tried += 1;
            }
        }
    }
    assert!(tried > 150, "{tried}");
});

/// Lets everybody try passwords and codes as if nobody had failed.
fn forget_failures(server: &TestServer) {
    let later = (server.now() + TimeDelta::days(1)).naive_utc();
    let all = move |db: &mut Db| throttle::sweep(db, later);
    let swept: Result<usize, StoreError> = server.state().store.write(all);
    swept.expect("forgotten");
}

/// Whether a text is taken or refused as it ought to be.
fn no_fault(what: &str, answer: &Answer) {
    let status = status(answer);
    assert!(status < 500, "{what}: {answer:?}");
    if answer.status >= 400 {
        assert_eq!(answer.problem().status, answer.status, "{what}");
    }
}

on_both!(
    any_text_anywhere_in_a_request_is_taken_or_refused,
    |server| {
        let stable = Stable::of(server);
        let calls = Calls::new(server, &stable);
        let (owner, person) = (stable.who("ownr"), stable.person("ownr"));
        let mut texts = BLNS.iter().copied().cycle();
        let mut tried = 0;
        for operation in all_operations() {
            let name = &operation.name;
            let mut target = calls.target(name, owner);
            // What is done to a thing is done once, so each success needs another.
            let mut ask = |what: &str, change: &dyn Fn(&Target) -> Target| {
                let answer = operation.call(person, &change(&target));
                no_fault(&format!("{name}, {what}"), &answer);
                // Wrong passwords and codes make nobody wait here.
                forget_failures(server);
                if operation.method != Method::GET && status(&answer) < 400 {
                    target = calls.target(name, owner);
                }
                tried += 1;
            };
            let sound = calls.target(name, owner);
            if let Body::Json(body) = &sound.body {
                for place in places(body, Value::is_string) {
                    for text in texts.by_ref().take(TEXTS_A_PLACE) {
                        ask(&format!("{text:?} at {place}"), &|target| {
                            let Body::Json(body) = &target.body else {
                                unreachable!("the same operation")
                            };
                            let body = put(body, &place, json!(text));
                            target.clone().with(body)
                        });
                    }
                }
            }
            for place in 0..sound.ids.len() {
                for text in texts.by_ref().take(TEXTS_A_PLACE) {
                    ask(&format!("{text:?} in the address"), &|target| {
                        let mut other = target.clone();
                        other.ids[place] = percent(text);
                        other
                    });
                }
            }
            for field in operation.query() {
                let others = sound.query.trim_start_matches('?').split('&');
                let others = others.filter(|pair| !pair.starts_with(&format!("{field}=")));
                let others = others.collect::<Vec<_>>().join("&");
                for text in texts.by_ref().take(TEXTS_A_PLACE) {
                    let query = format!("?{others}&{field}={}", percent(text));
                    ask(&format!("{text:?} as {field}"), &|target| {
                        target.clone().asking(&query)
                    });
                }
            }
        }
        // Each at least once.
        assert!(tried > BLNS.len(), "{tried}");
    }
);

on_both!(
    any_text_in_an_entry_is_taken_whole_and_shown_everywhere,
    |server| {
        let (_, horse, person) = yard_of_all_roles(server);
        let pen = Pen::of(&person, Role::Vet);
        let mut texts = BLNS.iter().copied().cycle();
        let mut taken = Vec::new();
        for kind in Kind::ALL.iter().filter(|kind| !kind.is_about_another()) {
            let details = example(*kind);
            let mut events = Vec::new();
            for place in places(&details, Value::is_string) {
                for text in texts.by_ref().take(TEXTS_A_PLACE) {
                    let draft = pen.draft(horse, *kind);
                    let draft = draft.details(put(&details, &place, json!(text)));
                    events.push((place.clone(), text, draft.sign()));
                }
            }
            let signed: Vec<_> = events.iter().map(|(_, _, event)| event.clone()).collect();
            for ((place, text, event), outcome) in events.iter().zip(push(&person, &signed)) {
                match outcome {
                    Outcome::Accepted { .. } => taken.push(event.content.get().to_owned()),
                    Outcome::Refused { problem } => {
                        assert_eq!(
                            problem.status, 422,
                            "{kind}, {text:?} at {place}: {problem:?}"
                        );
                    }
                    other => panic!("{kind}, {text:?} at {place}: {other:?}"),
                }
            }
        }
        assert!(taken.len() > 100, "{} make no test", taken.len());
        // It comes back to the letter …
        let copy = pull_all(&person, horse, 500);
        let read: Vec<_> = copy
            .events
            .iter()
            .filter_map(|event| event.content.as_ref())
            .map(|content| content.get().to_owned())
            .collect();
        for content in &taken {
            assert!(read.contains(content), "{content} is gone");
        }
        // … and nothing that shows it breaks.
        let (history, browser) = (path::history(horse), Browser::of(server, &person));
        for address in [
            history.clone(),
            format!("{history}?format=csv"),
            format!("{history}.pdf"),
            path::horse_due(horse),
        ] {
            let answer = person.get(&address);
            assert_eq!(answer.status, 200, "{address}: {answer:?}");
        }
        for page in ["", "/history", "/entry"] {
            let address = format!("/horses/{horse}{page}");
            let answer = browser.get(&address);
            assert_eq!(answer.status, 200, "{address}: {}", answer.text());
            assert!(!answer.text().contains("<script"), "{address}");
        }
    }
);
