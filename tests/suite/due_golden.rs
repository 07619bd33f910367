//! What is due of every horse of the demo's herd on 20 November 2026: a list that was read line by line against the rules.

use std::fmt::Write as _;
use std::path::PathBuf;

use chrono::NaiveDate;
use serde_json::{Value, json};
use whorl_care::figure;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::rules::Rules;
use whorl_tests::demo::scenario::{Dated, Horse, Scenario};

fn id(n: usize) -> String {
    format!("0199f3a0-7c00-7000-8000-{n:012x}")
}

/// One horse's log, as the figure reads it.
pub(crate) fn log(
    scenario: &Scenario,
    horse: &Horse,
    entries: &[Dated],
    day: NaiveDate,
) -> Vec<Value> {
    let role = |key: &str| {
        scenario
            .people
            .iter()
            .find(|person| person.key == key)
            .map(|person| person.role)
            .expect("a person")
    };
    let identity = json!({
        "id": id(0), "kind": Kind::Identity, "details": Scenario::identity(horse, day), "role": Role::Owner,
        "performed_on": "2024-11-28", "provenance": Provenance::Recorded,
    });
    let numbered = entries
        .iter()
        .enumerate()
        .filter(|(_, entry)| entry.horse == horse.key);
    let events = numbered.map(|(n, entry)| {
        let role = role(&entry.by);
        let provenance = match role {
            _ if entry.transcribed => Provenance::Transcribed,
            Role::Vet | Role::Farrier => Provenance::Attested,
            Role::Owner | Role::BarnStaff => Provenance::Recorded,
        };
        let target = entry.target.as_ref().and_then(|key| entries.iter().position(|one| one.key.as_ref() == Some(key)));
        json!({
            "id": id(n + 1), "kind": entry.kind, "details": entry.details, "role": role, "provenance": provenance,
            "performed_at": entry.at.to_rfc3339(), "target_id": target.map(|n| id(n + 1)),
        })
    });
    std::iter::once(identity).chain(events).collect()
}

/// The list of the whole herd, one line an item.
fn herd() -> String {
    let rules = Rules::built_in().expect("the packs");
    let scenario = Scenario::read();
    let day = NaiveDate::from_ymd_opt(2026, 11, 20).expect("a day");
    let entries = scenario.entries(day);
    let mut list = String::new();
    for horse in &scenario.horses {
        let input = json!({
            "horse": {}, "events": log(&scenario, horse, &entries, day), "on": day,
            "barn": {"time_zone": scenario.barn.time_zone, "region": scenario.barn.region},
        });
        let answer = figure::run("due", &input, &rules)
            .expect("a figure")
            .expect("no fault");
        writeln!(list, "{}", horse.identity["name"].as_str().expect("a name")).expect("text");
        for item in answer["items"].as_array().expect("items") {
            let text = |name: &str| item[name].as_str().unwrap_or("-").to_owned();
            let who: Vec<&str> = item["who"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_str)
                .collect();
            writeln!(
                list,
                "  {:<28} {:<10} {:>10} to {:<10} last {:<10} dose {} by {}\n      {}",
                text("code"),
                text("status"),
                text("due_from"),
                text("due_by"),
                text("last_on"),
                item["dose_number"],
                who.join(", "),
                text("reason"),
            )
            .expect("text");
        }
    }
    list
}

#[test]
fn the_herds_due_list_is_the_one_that_was_reviewed() {
    let golden = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden/due.txt");
    let list = herd();
    if std::env::var_os("WHORL_UPDATE_GOLDEN").is_some() {
        std::fs::write(&golden, &list).expect("the golden file can be written");
    }
    let reviewed = std::fs::read_to_string(&golden).expect("tests/golden/due.txt");
    for (n, (now, then)) in list.lines().zip(reviewed.lines()).enumerate() {
        assert_eq!(
            now,
            then,
            "line {}; review it, then run with WHORL_UPDATE_GOLDEN=1",
            n + 1
        );
    }
    assert_eq!(list.lines().count(), reviewed.lines().count());
}
