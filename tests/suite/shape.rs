//! The direction of dependencies, as DEVELOPERS.md states it: read from `cargo metadata`, so that it can't rot unseen.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Who may depend on whom among our own crates.
const ALLOWED: &[(&str, &[&str])] = &[
    ("whorl-care", &[]),
    ("whorl-contract", &["whorl-care"]),
    ("whorl-store", &["whorl-care"]),
    (
        "whorl-http",
        &["whorl-care", "whorl-contract", "whorl-store"],
    ),
    ("whorl-cli", &["whorl-care", "whorl-contract"]),
    (
        "whorl-tests",
        &[
            "whorl-care",
            "whorl-cli",
            "whorl-contract",
            "whorl-http",
            "whorl-store",
        ],
    ),
    ("whorl-fuzz", &["whorl-care", "whorl-cli", "whorl-contract"]),
    (
        "whorl-load",
        &["whorl-care", "whorl-contract", "whorl-store"],
    ),
];

/// What must not come near a crate.
const KEPT_OUT: &[(&str, &[&str])] = &[
    (
        "whorl-care",
        &[
            "actix-web",
            "diesel",
            "reqwest",
            "tokio",
            "getrandom",
            "rusqlite",
        ],
    ),
    (
        "whorl-contract",
        &["actix-web", "diesel", "reqwest", "tokio"],
    ),
    ("whorl-store", &["actix-web", "reqwest", "serde_json"]),
    ("whorl-http", &["diesel"]),
    ("whorl-cli", &["actix-web"]),
];

fn direct_dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo metadata runs");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    let text = |value: &Value| value.as_str().expect("a name").to_owned();
    packages
        .iter()
        .map(|package| {
            let dependencies = package["dependencies"]
                .as_array()
                .expect("dependencies")
                .iter();
            // What tests alone use is their own matter.
            let normal = dependencies.filter(|dependency| dependency["kind"].is_null());
            (
                text(&package["name"]),
                normal.map(|dependency| text(&dependency["name"])).collect(),
            )
        })
        .collect()
}

#[test]
fn dependencies_point_one_way() {
    let found = direct_dependencies();
    assert_eq!(
        found.len(),
        ALLOWED.len(),
        "a crate is missing from the table or from the workspace"
    );
    for (name, allowed) in ALLOWED {
        let ours: BTreeSet<&str> = found[*name]
            .iter()
            .map(String::as_str)
            .filter(|dependency| dependency.starts_with("whorl-"))
            .collect();
        let allowed: BTreeSet<&str> = allowed.iter().copied().collect();
        assert!(ours.is_subset(&allowed), "{name} depends on {ours:?}");
    }
}

#[test]
fn rooms_keep_out_what_is_not_theirs() {
    let found = direct_dependencies();
    for (name, kept_out) in KEPT_OUT {
        for dependency in *kept_out {
            assert!(
                !found[*name].contains(*dependency),
                "{name} depends on {dependency}"
            );
        }
    }
}

#[test]
fn both_databases_have_the_same_migrations() {
    let folder = |name: &str| {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../migrations")
            .join(name);
        let mut found = BTreeMap::new();
        for entry in std::fs::read_dir(&root).expect("the folder") {
            let path = entry.expect("an entry").path();
            for file in ["up.sql", "down.sql"] {
                let text = std::fs::read_to_string(path.join(file)).expect("SQL");
                found.insert((path.file_name().expect("a name").to_owned(), file), text);
            }
        }
        found
    };
    let (sqlite, postgres) = (folder("sqlite"), folder("postgres"));
    assert!(!sqlite.is_empty());
    assert_eq!(sqlite, postgres);
}
