//! Feet, teeth, weights.

use serde_json::{Value, json};

use crate::*;

#[test]
fn the_farriers_own_word_comes_first() {
    let at = |horse: Value, events: Vec<Value>, on: &str| {
        item(&due(&ask(horse, events, on)), "hoof.trim")
    };
    let own = at(grown(), vec![trimmed("2026-06-01", Some(5))], "2026-06-20");
    assert_item(&own, "upcoming", Some("2026-06-29"), Some("2026-07-06"));
    assert_reason(
        &own,
        "the farrier wants to come back 5 weeks after 2026-06-01",
    );
    assert_eq!(own["who"], json!(["farrier", "vet"]));
    // Commonly 6 to 8 weeks barefoot, 8 to 10 in winter (trade pages); 6, overdue beyond 10, with shoes.
    let class = |horse: Value, day: &str| {
        let item = at(horse, vec![trimmed(day, None)], day);
        (item["due_from"].clone(), item["due_by"].clone())
    };
    let days = |from: &str, by: &str| (json!(from), json!(by));
    assert_eq!(
        class(grown(), "2026-06-01"),
        days("2026-07-13", "2026-07-27")
    );
    assert_eq!(
        class(grown(), "2026-12-01"),
        days("2027-01-26", "2027-02-09")
    );
    let mut shod = grown();
    shod["shod"] = json!(true);
    assert_eq!(class(shod, "2026-06-01"), days("2026-07-13", "2026-08-10"));
    // A repair is no trim, unless the farrier then names a day.
    let repair = event("hoof_care", "2026-06-20", json!({"service": "repair"}));
    let after = at(
        grown(),
        vec![trimmed("2026-06-01", None), repair],
        "2026-06-21",
    );
    assert_eq!(after["last_on"], "2026-06-01");
    assert_item(
        &at(grown(), vec![], "2026-06-01"),
        "due",
        Some("2026-06-01"),
        None,
    );
}

/// Foals: first look at about a month, every 3 to 4 weeks to weaning, 4 to 6 to two years.
#[test]
fn foals_feet_are_seen_early_and_often() {
    let at =
        |events: Vec<Value>, on: &str| item(&due(&ask(foal(json!(true)), events, on)), "hoof.trim");
    assert_item(
        &at(vec![], "2026-04-10"),
        "upcoming",
        Some("2026-04-29"),
        Some("2026-05-13"),
    );
    assert_item(
        &at(vec![trimmed("2026-05-01", None)], "2026-05-10"),
        "upcoming",
        Some("2026-05-22"),
        Some("2026-05-29"),
    );
    assert_item(
        &at(vec![trimmed("2026-11-01", None)], "2026-11-10"),
        "upcoming",
        Some("2026-11-29"),
        Some("2026-12-13"),
    );
}

/// AAEP: at least yearly, more often from 2 to 5 years and beyond 20; clinics: first look at 6 to 12 months.
#[test]
fn teeth_are_seen_at_least_yearly() {
    let looked = |months: Option<u32>| {
        event(
            "dental",
            "2026-03-10",
            json!({"procedure": "exam", "next_in_months": months}),
        )
    };
    let at = |foaled: &str, events: Vec<Value>| {
        let horse = json!({"sex": "gelding", "foaled_on": foaled});
        item(&due(&ask(horse, events, "2026-04-01")), "dental.exam")
    };
    assert_item(
        &at("2015-04-12", vec![looked(None)]),
        "up_to_date",
        Some("2027-02-10"),
        Some("2027-03-10"),
    );
    assert_item(
        &at("2023-01-01", vec![looked(None)]),
        "up_to_date",
        Some("2026-09-10"),
        Some("2027-03-10"),
    );
    assert_item(
        &at("2005-01-01", vec![looked(None)]),
        "up_to_date",
        Some("2026-09-10"),
        Some("2027-03-10"),
    );
    assert_item(
        &at("2015-04-12", vec![looked(Some(6))]),
        "up_to_date",
        Some("2026-08-11"),
        Some("2026-09-10"),
    );
    assert_item(
        &at("2025-12-01", vec![]),
        "up_to_date",
        Some("2026-06-01"),
        Some("2026-12-01"),
    );
    assert_item(&at("2015-04-12", vec![]), "due", Some("2026-04-01"), None);
}

/// Sixty days for grown horses and 14 for foals are our own proposal.
#[test]
fn a_weight_grows_too_old_to_dose_by() {
    let weighed = |day: &str, method: &str| {
        event("weight", day, json!({"weight_kg": 300.0, "method": method}))
    };
    let at = |horse: Value, events: Vec<Value>| {
        item(&due(&ask(horse, events, "2026-06-01")), "weight.measure")
    };
    assert_item(
        &at(grown(), vec![weighed("2026-05-01", "tape")]),
        "upcoming",
        Some("2026-06-30"),
        None,
    );
    assert_item(
        &at(grown(), vec![weighed("2026-04-02", "tape")]),
        "due",
        Some("2026-06-01"),
        None,
    );
    assert_item(
        &at(foal(json!(true)), vec![weighed("2026-05-17", "scale")]),
        "due",
        Some("2026-05-31"),
        None,
    );
    assert_reason(
        &at(grown(), vec![weighed("2026-05-30", "visual")]),
        "judged by eye",
    );
    assert_item(&at(grown(), vec![]), "due", Some("2026-06-01"), None);
}
