//! Plans.

use serde_json::{Value, json};

use crate::*;

#[test]
fn a_lapsed_horse_needs_one_booster_in_time_for_the_arrival() {
    let answer = flu_days("fei-influenza", &COURSE, "2026-11-20");
    assert_not(&answer, "was good until 2026-10-22");
    assert_eq!(answer["earliest_eligible_on"], "2026-11-20");
    let plan = &answer["plan"];
    // Six months and 21 days from 30 April reach 20 November; seven days before it is 13 November.
    assert_eq!(plan[0]["from"], "2026-04-30");
    assert_eq!(plan[0]["until"], "2026-11-13");
    assert_eq!(plan.as_array().map(Vec::len), Some(1));
}

#[test]
fn today_bounds_the_plan() {
    let mut document = ask(
        "fei-influenza",
        COURSE.iter().map(|day| flu(day)),
        "2026-11-20",
    );
    document["on"] = json!("2026-11-18");
    let answer = entry(&document);
    assert_eq!(answer["earliest_eligible_on"], "2026-11-25");
    assert_eq!(answer["plan"][0]["from"], "2026-11-18");
    assert_eq!(answer["plan"][0]["until"], "2027-04-01");
}

#[test]
fn an_unvaccinated_horse_gets_a_whole_course_planned() {
    let answer = flu_days("fei-influenza", &[], "2026-06-01");
    assert_not(&answer, "no influenza dose");
    assert_eq!(answer["earliest_eligible_on"], "2026-06-29");
    assert_eq!(answer["plan"][0]["from"], "2026-06-01");
    assert_eq!(answer["plan"][0]["until"], Value::Null);
    assert_eq!(answer["plan"][1]["from"], "2026-06-22");
    assert_eq!(answer["plan"][1]["until"], "2026-07-31");
}

#[test]
fn several_rule_sets_are_planned_together() {
    let document = json!({
        "horse": {}, "events": [flu("2026-03-01")], "arrives_on": "2026-03-20",
        "rules": ["fei-influenza", "germany-lpo-influenza", "eia-6-months",
            "health-certificate-30-days", "microchip-iso-11784"],
    });
    let answer = entry(&document);
    // 28 days to the second dose and 14 after it are the slowest.
    assert_eq!(answer["earliest_eligible_on"], "2026-04-12");
    let whats = answer["plan"].to_string();
    for what in ["second dose", "EIA test", "health certificate", "microchip"] {
        assert!(whats.contains(what), "{what}: {answer:#}");
    }
    assert_eq!(answer["checks"].as_array().map(Vec::len), Some(9));
}

/// The golden file is made by `tests/oracles/entry_rules.py`, which states the rules anew in another language and finds
/// the earliest day by trying every day for up to two doses.
#[test]
fn agrees_with_the_rules_as_another_program_states_them() {
    let cases: Vec<Value> =
        serde_json::from_str(include_str!("../golden/entry.json")).expect("the golden file");
    for case in &cases {
        let days: Vec<&str> = case["doses"]
            .as_array()
            .expect("doses")
            .iter()
            .filter_map(Value::as_str)
            .collect();
        let arrives = case["arrives"].as_str().expect("a day");
        let rules = case["rules"].as_str().expect("a rule set");
        let mut document = ask(rules, days.iter().map(|day| flu(day)), arrives);
        document["on"] = json!(arrives);
        let answer = entry(&document);
        assert_eq!(answer["eligible"], case["eligible"], "{case}\n{answer:#}");
        if let Some(earliest) = case.get("earliest") {
            assert_eq!(
                &answer["earliest_eligible_on"], earliest,
                "{case}\n{answer:#}"
            );
        }
    }
    assert!(cases.len() > 2000);
}
