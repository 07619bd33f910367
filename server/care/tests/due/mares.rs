//! Mares in foal.

use serde_json::{Value, json};

use crate::*;

fn mare(covered: Value) -> Value {
    let mut horse = json!({"name": "Eelgrass", "sex": "mare", "foaled_on": "2014-05-01",
        "pregnancy": {}, "risks": ["breeding_farm"]});
    horse["pregnancy"]["covered_on"] = covered;
    horse
}

/// AAEP adult chart: core boosters six to four weeks before foaling; 340 days from covering.
#[test]
fn the_yearly_dose_of_a_mare_in_foal_comes_before_foaling() {
    // Covered on 1 April 2026: expected 7 March 2027, so 24 January to 7 February.
    let core = |on: &str, days: &[&str]| {
        vaccine(
            mare(json!("2026-04-01")),
            doses("tetanus", days),
            on,
            "tetanus",
        )
    };
    let had = ["2024-01-01", "2024-02-01", "2025-02-10", "2026-02-05"];
    let item = core("2026-11-25", &had);
    assert_item(&item, "up_to_date", Some("2027-01-24"), Some("2027-02-07"));
    assert_eq!(item["rule"], "prepartum");
    assert_reason(&item, "expected about 2027-03-07");
    assert_eq!(core("2027-02-08", &had)["status"], "overdue");
    // Given in the window, it counts as the yearly dose.
    let given = [&had[..], &["2027-01-30"]].concat();
    assert_item(
        &core("2027-02-20", &given),
        "up_to_date",
        Some("2027-12-31"),
        Some("2028-01-30"),
    );
    // A yearly dose that falls months before comes first.
    let autumn = core("2026-06-01", &["2024-07-01", "2024-08-01", "2025-08-01"]);
    assert_eq!(autumn["due_by"], "2026-08-01");
    assert_reason(&autumn, "again before foaling");
    // A mare without a course begins it now.
    assert_eq!(core("2026-11-25", &[])["dose_number"], 1);
}

/// AAEP adult chart of 2008 to 2012: herpes in months 5, 7 and 9 of every pregnancy.
#[test]
fn herpes_doses_follow_the_months_of_pregnancy() {
    let at = |on: &str, days: &[&str]| {
        vaccine(
            mare(json!("2026-04-01")),
            doses("ehv_1_4", days),
            on,
            "ehv_1_4",
        )
    };
    let first = at("2026-08-20", &[]);
    assert_item(&first, "upcoming", Some("2026-09-01"), Some("2026-10-01"));
    assert_eq!(first["dose_number"], 1);
    let second = at("2026-10-10", &["2026-09-03"]);
    assert_item(&second, "upcoming", Some("2026-11-01"), Some("2026-12-01"));
    assert_eq!(second["dose_number"], 2);
    let third = at("2026-12-10", &["2026-09-03", "2026-11-05"]);
    assert_item(&third, "upcoming", Some("2027-01-01"), Some("2027-02-01"));
    // Doses of an earlier pregnancy don't count.
    assert_eq!(
        at("2026-09-10", &["2025-09-01", "2025-11-01", "2026-01-01"])["dose_number"],
        1
    );
    let missed = at("2026-11-10", &[]);
    assert_eq!(missed["dose_number"], 2);
    assert_reason(&missed, "dose 1 was missed");
    let late = at("2026-10-10", &[]);
    assert_eq!(late["status"], "ask_vet");
    let done = at("2027-02-10", &["2026-09-03", "2026-11-05", "2027-01-05"]);
    assert_eq!(done["due_by"], "2027-07-05");
}

/// AAEP page on rotavirus, 2024: months 8, 9 and 10.
#[test]
fn rotavirus_is_for_mares_in_foal_only() {
    let item = vaccine(mare(json!("2026-04-01")), vec![], "2026-11-25", "rotavirus");
    assert_item(&item, "upcoming", Some("2026-12-01"), Some("2027-01-01"));
    assert!(!has(
        &due(&ask(
            json!({"sex": "mare", "risks": ["breeding_farm"]}),
            [],
            "2026-11-25"
        )),
        "vaccination.rotavirus"
    ));
}

#[test]
fn what_the_log_says_of_the_pregnancy_counts() {
    let bred = |step: &str, day: &str, more: Value| {
        let mut details = more;
        details["step"] = json!(step);
        event("breeding", day, details)
    };
    let horse = json!({"sex": "mare", "foaled_on": "2014-05-01", "risks": ["breeding_farm"]});
    let rotavirus = |events: Vec<Value>| {
        has(
            &due(&ask(horse.clone(), events, "2026-11-25")),
            "vaccination.rotavirus",
        )
    };
    let covered = bred("covered", "2026-04-01", json!({}));
    let found = bred("pregnancy_checked", "2026-04-16", json!({"in_foal": true}));
    let not_in_foal = bred("pregnancy_checked", "2026-04-16", json!({"in_foal": false}));
    assert!(
        rotavirus(vec![covered.clone()]),
        "a covering counts until a check"
    );
    assert!(!rotavirus(vec![covered.clone(), not_in_foal]));
    assert!(rotavirus(vec![found.clone(), covered.clone()]));
    assert!(!rotavirus(vec![
        covered.clone(),
        found.clone(),
        bred("lost", "2026-08-01", json!({}))
    ]));
    // The profile says in foal, the log says that she has foaled since.
    let foaled = bred("foaled", "2026-11-01", json!({}));
    let answer = due(&ask(mare(json!("2025-12-01")), [foaled], "2026-11-25"));
    assert!(!has(&answer, "vaccination.rotavirus"));
    let unknown = vaccine(mare(Value::Null), vec![], "2026-11-25", "ehv_1_4");
    assert_eq!(unknown["status"], "ask_vet");
    assert_reason(&unknown, "the day of covering isn't known");
}

/// AAEP adult chart of 2008 to 2012: anthrax vaccine is contraindicated in pregnancy.
#[test]
fn no_anthrax_vaccine_for_a_mare_in_foal() {
    let mut horse = mare(json!("2026-04-01"));
    horse["risks"] = json!(["anthrax_area"]);
    let item = vaccine(horse, vec![], "2026-11-25", "anthrax");
    assert_eq!(item["status"], "ask_vet");
    assert_reason(&item, "not for a mare in foal");
}
