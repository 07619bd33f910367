//! The published description: the same as the code, with an example for every body.

use std::path::PathBuf;

use serde_json::Value;

fn checked_in() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json")
}

#[test]
fn the_checked_in_description_is_that_of_the_code() {
    // Both are read from text, so that each number is the one that a reader of the file gets.
    let code = whorl_http::description::openapi().to_string();
    let code: Value = serde_json::from_str(&code).expect("JSON");
    let file = std::fs::read_to_string(checked_in()).expect("openapi/openapi.json");
    let file: Value = serde_json::from_str(&file).expect("JSON");
    // Compared in parts, so that a difference names the place.
    let paths = |document: &Value| document["paths"].as_object().expect("paths").clone();
    let remedy = "run `cargo run --bin whorl-server -- openapi > openapi/openapi.json`";
    for (path, operations) in paths(&code) {
        assert_eq!(
            file["paths"].get(&path),
            Some(&operations),
            "{path}: {remedy}"
        );
    }
    assert_eq!(paths(&file).len(), paths(&code).len(), "{remedy}");
    assert_eq!(file, code, "{remedy}");
}

/// Every operation of the description: method, path and what is said of it.
pub(crate) fn operations() -> Vec<(String, String, Value)> {
    let document = whorl_http::description::openapi();
    let paths = document["paths"].as_object().expect("paths").clone();
    paths
        .into_iter()
        .flat_map(|(path, operations)| {
            let operations = operations.as_object().expect("operations").clone();
            operations
                .into_iter()
                .map(move |(method, operation)| (method, path.clone(), operation))
        })
        .collect()
}

#[test]
fn every_body_has_an_example() {
    let operations = operations();
    assert!(
        operations.len() > 30,
        "only {} operations",
        operations.len()
    );
    for (method, path, operation) in operations {
        let answers = operation["responses"]
            .as_object()
            .expect("responses")
            .values();
        let bodies: Vec<&Value> = answers.chain(operation.get("requestBody")).collect();
        for body in bodies {
            for (media_type, content) in body["content"].as_object().into_iter().flatten() {
                if media_type.ends_with("json") {
                    let example = content.get("example").or(content.get("examples"));
                    assert!(
                        example.is_some_and(|example| !example.is_null()),
                        "{method} {path} {media_type}"
                    );
                }
            }
        }
    }
}

#[test]
fn every_operation_says_what_may_go_wrong_and_has_a_name_of_its_own() {
    let mut names = std::collections::BTreeSet::new();
    for (method, path, operation) in operations() {
        let name = operation["operationId"]
            .as_str()
            .expect("a name")
            .to_owned();
        assert!(names.insert(name.clone()), "{name} twice");
        assert!(
            !operation["summary"].as_str().unwrap_or_default().is_empty(),
            "{method} {path} has no summary"
        );
        if !path.starts_with("/health") {
            let answers = operation["responses"].as_object().expect("responses");
            assert!(
                answers.keys().any(|status| status.starts_with('4')),
                "{method} {path} never fails"
            );
        }
    }
}

/// Two types of one name would be published as one of them: `Horse` once was.
#[test]
fn a_horse_is_published_as_it_is_answered() {
    let document = whorl_http::description::openapi();
    let horse = &document["components"]["schemas"]["Horse"]["properties"];
    for field in ["id", "barn_id", "owner_id", "roles", "seq", "profile"] {
        assert!(horse[field].is_object(), "{field} is missing");
    }
    let handling = &document["components"]["schemas"]["Handling"]["properties"];
    assert!(handling.is_object());
}
