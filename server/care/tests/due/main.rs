//! The figure `due` against published schedules, each row with its source, and against its own promises.

mod answer;
mod feet_and_teeth;
mod foals;
mod grown;
mod mares;
mod orders;
mod promises;
mod seasons_and_wounds;
mod worms;

use std::sync::LazyLock;

use serde_json::{Value, json};
use whorl_care::figure::run;
use whorl_care::rules::Rules;

static RULES: LazyLock<Rules> = LazyLock::new(|| Rules::built_in().expect("the built-in packs"));

fn due(document: &Value) -> Value {
    run("due", document, &RULES)
        .expect("the figure")
        .unwrap_or_else(|faults| panic!("{faults}\n{document}"))
}

fn refused(document: &Value) -> String {
    let answer = run("due", document, &RULES).expect("the figure");
    answer.expect_err("faults").to_string()
}

fn event(kind: &str, day: &str, details: Value) -> Value {
    let mut event = json!({"kind": kind, "performed_on": day});
    event["details"] = details;
    event
}

fn dose(disease: &str, day: &str) -> Value {
    event("vaccination", day, json!({"targets": [disease]}))
}

fn doses(disease: &str, days: &[&str]) -> Vec<Value> {
    days.iter().map(|day| dose(disease, day)).collect()
}

fn ask(horse: Value, events: impl IntoIterator<Item = Value>, on: &str) -> Value {
    let events: Vec<Value> = events.into_iter().collect();
    let mut document = json!({"events": events, "on": on, "barn": {"time_zone": "Europe/London"}});
    document["horse"] = horse;
    document
}

fn grown() -> Value {
    json!({"name": "Marram", "sex": "gelding", "foaled_on": "2015-04-12"})
}

fn item(answer: &Value, code: &str) -> Value {
    let items = answer["items"].as_array().expect("items");
    let found: Vec<&Value> = items.iter().filter(|item| item["code"] == code).collect();
    assert_eq!(found.len(), 1, "{code} in {answer:#}");
    found[0].clone()
}

fn has(answer: &Value, code: &str) -> bool {
    let items = answer["items"].as_array().expect("items");
    items.iter().any(|item| item["code"] == code)
}

#[track_caller]
fn assert_item(item: &Value, status: &str, from: Option<&str>, by: Option<&str>) {
    assert_eq!(item["status"], status, "{item:#}");
    assert_eq!(item["due_from"].as_str(), from, "{item:#}");
    assert_eq!(item["due_by"].as_str(), by, "{item:#}");
}

#[track_caller]
fn assert_reason(item: &Value, words: &str) {
    let reason = item["reason"].as_str().expect("a reason");
    assert!(reason.contains(words), "{words} is not in: {reason}");
}

fn vaccine(horse: Value, events: Vec<Value>, on: &str, disease: &str) -> Value {
    item(
        &due(&ask(horse, events, on)),
        &format!("vaccination.{disease}"),
    )
}

fn foal(dam: Value) -> Value {
    let mut horse = json!({"name": "Samphire", "sex": "filly", "foaled_on": "2026-04-01"});
    horse["dam_vaccinated"] = dam;
    horse
}

fn wormed(active: &str, day: &str) -> Value {
    event("deworming", day, json!({"actives": [active]}))
}

fn counted(epg: f64, day: &str) -> Value {
    event(
        "egg_count",
        day,
        json!({"method": "mcmaster", "strongyle_epg": epg}),
    )
}

fn trimmed(day: &str, weeks: Option<u32>) -> Value {
    event(
        "hoof_care",
        day,
        json!({"service": "trim", "next_in_weeks": weeks}),
    )
}
