//! Every operation of the published description refuses whoever isn't signed in, but for those that `anonymous.txt` lists.

use std::collections::BTreeMap;

use reqwest::Method;
use reqwest::header::{AUTHORIZATION, CONTENT_TYPE};
use serde_json::Value;
use whorl_contract::problem::Kind;
use whorl_tests::{Answer, TestServer, on_both};

use crate::openapi::operations;

const LIST: &str = include_str!("anonymous.txt");

/// The exceptions: method and address, with the reason.
fn exceptions() -> BTreeMap<(String, String), String> {
    let lines = LIST.lines().map(str::trim);
    lines
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(|line| {
            let mut words = line.splitn(3, ' ').map(str::to_owned);
            let mut word = || words.next().expect("METHOD /address reason");
            ((word().to_lowercase(), word()), word())
        })
        .collect()
}

/// An address with every place in it filled.
pub(crate) fn filled(path: &str) -> String {
    let parts = path.split('/').map(|part| match part {
        "{name}" => "dose".to_owned(),
        "{sha256}" => "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855".to_owned(),
        part if part.starts_with('{') => uuid::Uuid::now_v7().to_string(),
        part => part.to_owned(),
    });
    parts.collect::<Vec<_>>().join("/")
}

/// Calls an operation with a sound body, and with what stands in `Authorization`, if anything.
fn call(
    server: &TestServer,
    method: &str,
    path: &str,
    operation: &Value,
    authorization: Option<&str>,
) -> Answer {
    let anonymous = server.anonymous();
    let method = Method::from_bytes(method.to_uppercase().as_bytes()).expect("a method");
    let mut request = anonymous.request(method, &filled(path));
    if let Some(value) = authorization {
        request = request.header(AUTHORIZATION, value);
    }
    let bodies = operation["requestBody"]["content"].as_object();
    if let Some((media_type, content)) = bodies.and_then(|bodies| bodies.iter().next()) {
        let example = content["examples"]
            .as_object()
            .and_then(|examples| examples.values().next())
            .map_or(&content["example"], |example| &example["value"]);
        request = request
            .header(CONTENT_TYPE, media_type)
            .body(example.to_string());
    }
    anonymous.send(request)
}

on_both!(
    whoever_is_not_signed_in_is_refused_everywhere_else,
    |server| {
        let (exceptions, wren) = (exceptions(), server.account("Wren"));
        let mut refused = 0;
        for (method, path, operation) in operations() {
            let open = exceptions.contains_key(&(method.clone(), path.clone()));
            for authorization in [
                None,
                Some("Bearer nonsense"),
                Some("Bearer eyJ0eXAiOiJhdCtqd3QiLCJhbGciOiJub25lIn0.e30."),
                Some("Basic d2hvcmw6d2hvcmw="),
                Some("Bearer"),
            ] {
                let answer = call(server, &method, &path, &operation, authorization);
                let told = format!("{method} {path} with {authorization:?}: {answer:?}");
                if open {
                    // A list that names too much would hide what isn't guarded: where the answer is "sign in", it is about
                    // the body, and somebody who is signed in gets it too.
                    if answer.status == 401 && answer.problem().kind == Kind::Unauthenticated {
                        let token = format!("Bearer {}", wren.session.access_token);
                        let signed_in = call(server, &method, &path, &operation, Some(&token));
                        assert_eq!(signed_in.status, 401, "{told}");
                    }
                    assert!(answer.status < 500, "{told}");
                } else {
                    assert_eq!(answer.status, 401, "{told}");
                    assert_eq!(answer.problem().kind, Kind::Unauthenticated, "{told}");
                    assert_eq!(answer.header("www-authenticate"), Some("Bearer"), "{told}");
                    refused += 1;
                }
            }
        }
        let guarded = operations().len() - exceptions.len();
        assert_eq!(refused, guarded * 5);
        assert!(guarded > 25, "only {guarded} operations are guarded");
    }
);

#[test]
fn the_exceptions_are_operations_with_a_reason() {
    let described: Vec<(String, String)> = operations()
        .into_iter()
        .map(|(method, path, _)| (method, path))
        .collect();
    let exceptions = exceptions();
    assert!(!exceptions.is_empty());
    for (operation, reason) in &exceptions {
        assert!(described.contains(operation), "{operation:?} is not there");
        assert!(!reason.is_empty(), "{operation:?} has no reason");
    }
}
