//! What counts as evidence, and bad input.

use serde_json::{Value, json};

use crate::*;

#[test]
fn a_transcribed_dose_counts_once_a_vet_countersigns_it() {
    let mut second = flu("2026-02-01");
    second["provenance"] = json!("transcribed");
    second["id"] = json!("01970000-0000-7000-8000-000000000002");
    let mut events = vec![flu("2026-01-01"), second];
    let answer = entry(&ask("fei-influenza", events.clone(), "2026-03-01"));
    assert_not(
        &answer,
        "transcribed and doesn't count until a vet countersigns it",
    );
    assert_eq!(answer["checks"][0]["unknown"], true);
    assert_eq!(answer["earliest_eligible_on"], "2026-03-01");
    assert!(
        answer["plan"][0]["do"]
            .as_str()
            .is_some_and(|text| text.contains("countersign"))
    );

    let countersign = |role: &str| {
        json!({"kind": "countersign", "performed_on": "2026-02-20", "role": role,
            "target_id": "01970000-0000-7000-8000-000000000002", "details": {"statement": "seen"}})
    };
    events.push(countersign("farrier"));
    assert_not(
        &entry(&ask("fei-influenza", events.clone(), "2026-03-01")),
        "countersigns",
    );
    events.push(countersign("vet"));
    let answer = entry(&ask("fei-influenza", events, "2026-03-01"));
    assert_eligible(&answer);
    assert_eq!(answer["checks"][0]["grade"], "countersigned");
}

#[test]
fn a_dose_that_nobody_vouches_for_still_makes_the_horse_wait() {
    let mut fresh = flu("2026-04-20");
    fresh["provenance"] = json!("transcribed");
    let mut events: Vec<Value> = COURSE.iter().map(|day| flu(day)).collect();
    events.push(fresh);
    let answer = entry(&ask("fei-influenza", events, "2026-04-22"));
    assert_not(&answer, "may arrive from 2026-04-27");
}

#[test]
fn a_dose_given_by_the_owner_counts_with_its_lot_where_the_rule_allows_it() {
    let dose = |details: Value| {
        json!({"kind": "vaccination", "performed_on": "2026-03-01", "provenance": "transcribed",
            "role": "owner", "details": details})
    };
    let bare = dose(json!({"targets": ["influenza", "ehv_1_4"]}));
    assert_not(
        &entry(&ask("us-equestrian-vaccination", vec![bare], "2026-06-01")),
        "without product, lot and expiry",
    );
    let full = dose(
        json!({"targets": ["influenza", "ehv_1_4"], "product": "Tidevax",
        "lot_number": "T-1", "expiration_date": "2026-12"}),
    );
    let answer = entry(&ask(
        "us-equestrian-vaccination",
        vec![full.clone()],
        "2026-06-01",
    ));
    assert_eligible(&answer);
    assert_eq!(answer["checks"][0]["grade"], "transcribed");
    assert_eq!(answer["warnings"][0]["code"], "receipt_needed");
    let expired = dose(
        json!({"targets": ["influenza", "ehv_1_4"], "product": "Tidevax",
        "lot_number": "T-1", "expiration_date": "2026-02"}),
    );
    assert_not(
        &entry(&ask(
            "us-equestrian-vaccination",
            vec![expired],
            "2026-06-01",
        )),
        "had expired",
    );
    assert_not(
        &entry(&ask("fei-influenza", vec![full], "2026-06-01")),
        "countersigns",
    );
}

#[test]
fn retracted_and_amended_doses_count_as_they_now_read() {
    let id = "01970000-0000-7000-8000-000000000003";
    let mut last = flu("2026-04-01");
    last["id"] = json!(id);
    let mut events = vec![flu("2025-09-01"), flu("2025-10-06"), last];
    let about = |kind: &str, details: Value| json!({"kind": kind, "performed_on": "2026-04-02", "target_id": id, "role": "vet", "details": details});
    events.push(about(
        "amendment",
        json!({"reason": "wrong vial", "details": {"targets": ["tetanus"]}}),
    ));
    assert_not(
        &entry(&ask("fei-influenza", events.clone(), "2026-05-01")),
        "2026-04-27",
    );
    events.pop();
    events.push(about("retraction", json!({"reason": "another horse"})));
    assert_not(
        &entry(&ask("fei-influenza", events, "2026-05-01")),
        "2026-04-27",
    );
}

#[test]
fn a_dose_without_a_day_is_never_a_pass() {
    let undated = json!({"kind": "vaccination", "details": {"targets": ["influenza"]}});
    let answer = entry(&ask(
        "fei-influenza",
        vec![flu("2026-01-01"), undated.clone()],
        "2026-03-01",
    ));
    assert_not(&answer, "a dose without a day");
    assert_eq!(answer["warnings"][0]["code"], "undated");
    // Even beside a good course: it may have been given the day before.
    let mut events: Vec<Value> = COURSE.iter().map(|day| flu(day)).collect();
    events.push(undated);
    let answer = entry(&ask("fei-influenza", events, "2026-05-01"));
    assert_not(&answer, "may have been given just before");
    assert_eq!(answer["earliest_eligible_on"], Value::Null);
}

#[test]
fn bad_input_is_refused_with_a_pointer() {
    let base = || ask("fei-influenza", vec![flu("2026-03-01")], "2026-06-01");
    let with = |field: &str, value: Value| {
        let mut document = base();
        document[field] = value;
        refused(&document)
    };
    assert!(
        with("rules", json!("fei"))
            .contains("/rules: there is no rule set `fei`; there are fei-influenza")
    );
    assert!(with("rules", json!(["fei-influenza", "x"])).contains("/rules/1"));
    assert!(with("rules", json!([])).contains("at least one"));
    assert!(with("leaves_on", json!("2026-05-01")).contains("/leaves_on"));
    assert!(with("arrives_on", json!("soon")).contains("/arrives_on"));
    assert!(with("arives_on", json!("2026-06-01")).contains("arives_on"));
    let two_days = json!([{"kind": "vaccination", "performed_on": "2026-03-01",
        "performed_at": "2026-03-02T09:00:00Z", "details": {}}]);
    assert!(with("events", two_days).contains("/events/0/performed_on"));
}
