//! Boosters before mosquitoes, and after a wound.

use serde_json::{Value, json};

use crate::*;

#[test]
fn boosters_come_before_the_mosquito_season_of_the_region() {
    let at = |barn: Value, days: &[&str]| {
        let mut document = ask(grown(), doses("west_nile", days), "2026-11-25");
        document["barn"] = barn;
        item(&due(&document), "vaccination.west_nile")
    };
    let days = &["2026-05-10", "2026-06-14"][..];
    // The season is taken to begin on 1 May (north America) or 1 June (Europe), from memory; two weeks before it by the
    // Virginia Department of Agriculture.
    let virginia = at(
        json!({"time_zone": "America/New_York", "region": "US-VA"}),
        days,
    );
    assert_eq!(virginia["due_by"], "2027-04-17");
    assert_reason(&virginia, "moved ahead of the mosquito season");
    assert_eq!(
        at(json!({"time_zone": "America/New_York"}), days)["due_by"],
        "2027-04-17"
    );
    assert_eq!(at(json!({"region": "GB"}), days)["due_by"], "2027-05-18");
    // South of the equator June is winter.
    assert_eq!(at(json!({"region": "AU"}), days)["due_by"], "2027-06-14");
    let unknown = at(json!({}), days);
    assert_eq!(unknown["due_by"], "2027-06-14");
    // Due before the season anyway.
    let march = &["2025-02-01", "2025-03-05", "2026-03-01"][..];
    assert_eq!(
        at(json!({"region": "US-VA"}), march)["due_by"],
        "2027-03-01"
    );
    // Tetanus does not fly.
    let mut document = ask(grown(), doses("tetanus", days), "2026-11-25");
    document["barn"] = json!({"region": "US-VA"});
    assert_eq!(
        item(&due(&document), "vaccination.tetanus")["due_by"],
        "2027-06-14"
    );
}

/// AAEP adult chart: a wound calls for a booster if the last dose lies more than six months back.
#[test]
fn a_wound_calls_for_tetanus_cover() {
    let wound = |day: &str| event("observation", day, json!({"signs": ["puncture_wound"]}));
    let at = |days: &[&str], wound: Value, on: &str| {
        let mut events = doses("tetanus", days);
        events.push(wound);
        vaccine(grown(), events, on, "tetanus")
    };
    let course = &["2026-01-10", "2026-02-14"][..];
    let now = at(course, wound("2026-08-20"), "2026-08-20");
    assert_item(&now, "due", Some("2026-08-20"), Some("2026-08-20"));
    assert_eq!(now["rule"], "tetanus.wound");
    assert_eq!(
        at(course, wound("2026-08-20"), "2026-08-21")["status"],
        "overdue"
    );
    // Six months to the day is not more than six months.
    assert_eq!(
        at(course, wound("2026-08-14"), "2026-08-14")["due_by"],
        "2027-02-14"
    );
    assert_eq!(
        at(course, wound("2026-08-15"), "2026-08-15")["due_by"],
        "2026-08-15"
    );
    // Given since.
    let given = &["2026-01-10", "2026-02-14", "2026-08-21"][..];
    assert_eq!(
        at(given, wound("2026-08-20"), "2026-08-25")["due_by"],
        "2027-08-21"
    );
    // It doesn't go away by waiting.
    let later = at(course, wound("2026-08-20"), "2026-12-01");
    assert_item(&later, "overdue", Some("2026-08-20"), Some("2026-08-20"));
    for days in [&[][..], &["2026-08-01"]] {
        for on in ["2026-08-20", "2026-09-19"] {
            let none = at(days, wound("2026-08-20"), on);
            assert_eq!(none["status"], "ask_vet", "{on}");
            assert_reason(&none, "antitoxin");
        }
        // Antitoxin is no question any more; the course that is lacking still is.
        let later = at(days, wound("2026-08-20"), "2026-09-20");
        assert_ne!(later["status"], "up_to_date");
        let reason = later["reason"].as_str().expect("a reason");
        assert!(!reason.contains("antitoxin"), "{reason}");
    }
    let nail = event(
        "hoof_check",
        "2026-08-20",
        json!({"feet": {"LF": {"findings": [{"finding": "puncture", "severity": 3}]}}}),
    );
    assert_eq!(at(course, nail, "2026-08-20")["rule"], "tetanus.wound");
    let thrush = event(
        "hoof_check",
        "2026-08-20",
        json!({"feet": {"LF": {"findings": [{"finding": "thrush", "severity": 1}]}}}),
    );
    assert_eq!(at(course, thrush, "2026-08-20")["status"], "up_to_date");
}
