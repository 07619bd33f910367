//! Worming, counting, testing.

use serde_json::{Value, json};

use crate::*;

/// AAEP 2024, page 24: one to two treatments a year, one to two more for high shedders (above 500 eggs per gram).
#[test]
fn grown_horses_are_wormed_by_their_egg_counts() {
    let at = |epg: f64| {
        let events = [
            counted(epg, "2026-03-01"),
            wormed("ivermectin", "2026-04-01"),
        ];
        item(
            &due(&ask(grown(), events, "2026-05-01")),
            "parasite.treatment",
        )
    };
    for low in [0.0, 200.0, 500.0] {
        assert_item(
            &at(low),
            "up_to_date",
            Some("2026-10-01"),
            Some("2027-04-01"),
        );
    }
    assert_item(
        &at(501.0),
        "up_to_date",
        Some("2026-07-01"),
        Some("2026-10-01"),
    );
    assert_reason(&at(900.0), "high shedder by the egg count of 2026-03-01");
    let never = item(&due(&ask(grown(), [], "2026-05-01")), "parasite.treatment");
    assert_item(&never, "due", Some("2026-05-01"), None);
    // The base treatment is a macrocyclic lactone.
    let pyrantel = [wormed("pyrantel_pamoate", "2026-04-01")];
    let item_then = item(
        &due(&ask(grown(), pyrantel, "2026-05-01")),
        "parasite.treatment",
    );
    assert_eq!(item_then["status"], "due");
    assert_reason(&item_then, "no ivermectin or moxidectin on record");
}

#[test]
fn tapeworm_and_egg_counts_come_round_yearly() {
    let events = [
        wormed("praziquantel", "2025-11-01"),
        counted(50.0, "2026-03-01"),
    ];
    let answer = due(&ask(grown(), events, "2026-05-01"));
    assert_item(
        &item(&answer, "parasite.tapeworm"),
        "up_to_date",
        Some("2026-10-01"),
        Some("2026-11-01"),
    );
    assert_item(
        &item(&answer, "parasite.egg_count"),
        "up_to_date",
        Some("2026-09-01"),
        Some("2027-03-01"),
    );
    // Not while the last dewormer still acts: 8 weeks, 12 after moxidectin.
    for (active, from) in [("ivermectin", "2026-06-24"), ("moxidectin", "2026-07-22")] {
        let answer = due(&ask(grown(), [wormed(active, "2026-04-29")], "2026-05-01"));
        assert_eq!(item(&answer, "parasite.egg_count")["due_from"], from);
    }
}

/// AAEP 2013 and 2019: at 2 to 3 months, 4 to 6, about 9 and about 12; none before 60 days (Reinemeyer 2009).
#[test]
fn foals_are_wormed_by_age_not_by_counts() {
    let at = |events: Vec<Value>, on: &str| {
        item(
            &due(&ask(foal(json!(true)), events, on)),
            "parasite.treatment",
        )
    };
    let first = at(vec![counted(0.0, "2026-05-20")], "2026-05-20");
    assert_item(&first, "upcoming", Some("2026-06-01"), Some("2026-07-01"));
    assert_reason(&first, "benzimidazole");
    assert_reason(&first, "no moxidectin before six months");
    assert_eq!(at(vec![], "2026-07-02")["status"], "overdue");
    let given = |days: &[&str]| {
        days.iter()
            .map(|day| wormed("fenbendazole", day))
            .collect::<Vec<_>>()
    };
    let second = at(given(&["2026-06-10"]), "2026-07-10");
    assert_item(&second, "upcoming", Some("2026-08-01"), Some("2026-10-01"));
    let third = at(given(&["2026-06-10", "2026-09-01"]), "2026-12-10");
    assert_item(&third, "upcoming", Some("2027-01-01"), Some("2027-02-01"));
    assert_reason(&third, "praziquantel");
    let fourth = at(
        given(&["2026-06-10", "2026-09-01", "2027-01-05"]),
        "2027-04-10",
    );
    assert_item(&fourth, "due", Some("2027-04-01"), Some("2027-05-01"));
    // A dose too early for its time counts for nothing; one that was missed is not made up for.
    assert_eq!(at(given(&["2026-05-01"]), "2026-06-10")["dose_number"], 1);
    assert_eq!(at(vec![], "2026-09-01")["dose_number"], 2);
    // Then about three a year.
    let all = given(&["2026-06-10", "2026-09-01", "2027-01-05", "2027-04-05"]);
    let young = at(all, "2027-06-01");
    assert_item(&young, "up_to_date", Some("2027-07-05"), Some("2027-08-05"));
    let egg_count = item(
        &due(&ask(foal(json!(true)), [], "2026-08-10")),
        "parasite.egg_count",
    );
    assert_item(&egg_count, "due", Some("2026-08-01"), Some("2026-10-01"));
}

/// AAEP 2024: a reduction test of every drug, every year; the second count on day 14.
#[test]
fn a_count_before_a_treatment_asks_for_one_after_it() {
    let begun = [
        counted(600.0, "2026-04-28"),
        wormed("ivermectin", "2026-05-01"),
    ];
    let at = |events: &[Value], on: &str| {
        item(
            &due(&ask(grown(), events.to_vec(), on)),
            "parasite.reduction_test",
        )
    };
    let open = at(&begun, "2026-05-02");
    assert_item(&open, "upcoming", Some("2026-05-11"), Some("2026-05-18"));
    assert_reason(&open, "best on 2026-05-15");
    let done = [&begun[..], &[counted(0.0, "2026-05-15")]].concat();
    let next = at(&done, "2026-06-01");
    assert_item(&next, "up_to_date", Some("2027-04-15"), Some("2027-05-15"));
    assert_eq!(next["last_on"], "2026-05-15");
    // Too late for it, the test stays due.
    assert_item(&at(&begun, "2026-05-19"), "due", Some("2026-05-19"), None);
    assert!(!has(
        &due(&ask(grown(), [], "2026-05-19")),
        "parasite.reduction_test"
    ));
}

/// The older practice, described and rejected by Reinemeyer: every eight weeks.
#[test]
fn the_older_interval_is_a_profile_and_is_flagged() {
    let mut document = ask(grown(), [wormed("ivermectin", "2026-04-01")], "2026-05-01");
    document["programme"] = json!({"parasite": "interval"});
    let answer = due(&document);
    assert_item(
        &item(&answer, "parasite.treatment"),
        "upcoming",
        Some("2026-05-27"),
        Some("2026-05-27"),
    );
    assert_eq!(answer["warnings"][0]["code"], "flagged_programme");
    assert!(!has(&answer, "parasite.egg_count"));
    document["horse"] = foal(json!(true));
    document["events"] = json!([]);
    assert_eq!(
        item(&due(&document), "parasite.treatment")["due_from"],
        "2026-06-01"
    );
}
