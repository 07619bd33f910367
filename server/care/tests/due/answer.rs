//! The answer as a whole, and bad input.

use serde_json::{Value, json};

use crate::*;

#[test]
fn the_most_pressing_comes_first_and_every_source_is_named() {
    let answer = due(&ask(
        grown(),
        doses("tetanus", &["2024-01-10", "2024-02-14"]),
        "2025-03-01",
    ));
    let items = answer["items"].as_array().expect("items");
    assert_eq!(items[0]["code"], "vaccination.tetanus");
    assert_eq!(items[0]["status"], "overdue");
    let order = ["overdue", "ask_vet", "due", "upcoming", "up_to_date"];
    let ranks: Vec<_> = items
        .iter()
        .map(|item| order.iter().position(|status| item["status"] == *status))
        .collect();
    assert!(ranks.is_sorted());
    let sources = answer["sources"].to_string();
    for item in items {
        assert!(sources.contains(&item["source"].to_string()), "{item}");
        assert_ne!(item["reason"], "");
    }
    assert!(answer["cautions"].to_string().contains("from memory"));
}

#[test]
fn bad_input_is_refused_with_a_pointer() {
    let with = |field: &str, value: Value| {
        let mut document = ask(grown(), [], "2026-06-10");
        document[field] = value;
        refused(&document)
    };
    assert!(with("programme", json!({"parasite": "monthly"})).contains(
        "/programme/parasite: there is no programme `monthly` here; there is evidence, interval"
    ));
    assert!(with("programme", json!({"vaccination": "none"})).contains("/programme/vaccination"));
    assert!(with("barn", json!({"time_zone": "Saltmarsh"})).contains("/barn/time_zone"));
    assert!(with("on", json!("today")).contains("/on"));
    assert!(with("horses", json!([])).contains("horses"));
}

#[test]
fn undated_and_later_events_count_for_nothing() {
    let undated = json!({"kind": "vaccination", "details": {"targets": ["rabies"]}});
    let answer = due(&ask(
        grown(),
        [undated, dose("rabies", "2026-07-01")],
        "2026-06-10",
    ));
    let rabies = item(&answer, "vaccination.rabies");
    assert_eq!(rabies["dose_number"], 1);
    assert_reason(&rabies, "a dose without a day");
    assert_eq!(answer["warnings"][0]["code"], "undated");
}
