//! The figure `entry` against worked examples, published where they are, and against its own promises.

mod evidence;
mod examples;
mod limits;
mod organiser;
mod plans;
mod promises;

use std::sync::LazyLock;

use serde_json::{Value, json};
use whorl_care::figure::run;
use whorl_care::rules::Rules;

static RULES: LazyLock<Rules> = LazyLock::new(|| Rules::built_in().expect("the built-in packs"));

fn entry(document: &Value) -> Value {
    run("entry", document, &RULES)
        .expect("the figure")
        .unwrap_or_else(|faults| panic!("{faults}\n{document}"))
}

fn refused(document: &Value) -> String {
    let answer = run("entry", document, &RULES).expect("the figure");
    answer.expect_err("faults").to_string()
}

fn flu(day: &str) -> Value {
    json!({"kind": "vaccination", "performed_on": day, "details": {"targets": ["influenza"]}})
}

fn herpes(day: &str) -> Value {
    json!({"kind": "vaccination", "performed_on": day, "details": {"targets": ["ehv_1_4"]}})
}

fn eia(drawn: &str) -> Value {
    json!({"kind": "laboratory_test", "performed_on": drawn,
        "details": {"test": "eia_agid", "drawn_on": drawn, "result": "negative"}})
}

fn ask(rules: &str, events: impl IntoIterator<Item = Value>, arrives: &str) -> Value {
    json!({"horse": {"name": "Marram"}, "events": events.into_iter().collect::<Vec<_>>(), "rules": rules, "arrives_on": arrives})
}

fn flu_days(rules: &str, days: &[&str], arrives: &str) -> Value {
    entry(&ask(rules, days.iter().map(|day| flu(day)), arrives))
}

#[track_caller]
fn assert_eligible(answer: &Value) {
    assert_eq!(answer["eligible"], true, "{answer:#}");
}

#[track_caller]
fn assert_not(answer: &Value, reason: &str) {
    assert_eq!(answer["eligible"], false, "{answer:#}");
    let reasons = answer["checks"].to_string();
    assert!(reasons.contains(reason), "{reason} is not in {answer:#}");
}

const COURSE: [&str; 3] = ["2025-09-01", "2025-10-06", "2026-04-01"];
