//! Published limits of each rule set.

use serde_json::{Value, json};

use crate::*;

// Published examples and limits, read in the copies that the pack names.

#[test]
fn a_course_from_before_2024_keeps_its_own_windows() {
    // 92 days to the second dose and seven months to the third: FEI regulations of 2019.
    let old = ["2023-12-31", "2024-04-01", "2024-11-01"];
    assert_eligible(&flu_days("fei-influenza", &old, "2024-11-08"));
    let new = ["2024-01-01", "2024-04-02", "2024-11-01"];
    assert_not(
        &flu_days("fei-influenza", &new, "2024-11-08"),
        "92 days after",
    );
}

#[test]
fn a_course_from_before_2005_needs_no_third_dose() {
    let days = ["2004-03-01", "2004-04-15", "2005-04-10", "2006-04-05"];
    assert_eligible(&flu_days("fei-influenza", &days, "2006-05-01"));
    let days = ["2005-03-01", "2005-04-15", "2006-04-10", "2007-04-05"];
    assert_not(
        &flu_days("fei-influenza", &days, "2007-05-01"),
        "third dose of 2006-04-10",
    );
}

#[test]
fn the_relief_of_2022_ended_on_1_april_2023() {
    // US Equestrian's notice: twelve months in place of six and 21 days.
    let days = [
        "2020-06-01",
        "2020-07-06",
        "2021-01-05",
        "2021-12-15",
        "2022-06-01",
    ];
    assert_eligible(&flu_days("fei-influenza", &days, "2023-04-01"));
    assert_not(
        &flu_days("fei-influenza", &days, "2023-04-02"),
        "was good until 2022-12-22",
    );
}

#[test]
fn british_racing_changed_on_15_january_2023() {
    // BEVA, 11 January 2023: races from 15 January want a booster within the previous six months.
    let days = ["2020-06-01", "2020-08-20", "2021-02-10", "2022-01-20"];
    assert_eligible(&flu_days("gb-racing-influenza", &days, "2023-01-14"));
    assert_not(
        &flu_days("gb-racing-influenza", &days, "2023-01-15"),
        "was good until 2022-07-20",
    );
    // The day of the race and the six days before it.
    let course = ["2025-01-10", "2025-02-20", "2025-07-01", "2025-12-20"];
    assert_not(
        &flu_days("gb-racing-influenza", &course, "2025-12-26"),
        "too fresh",
    );
    assert_eligible(&flu_days("gb-racing-influenza", &course, "2025-12-27"));
    assert_eligible(&flu_days("gb-racing-influenza", &course, "2026-06-20"));
    assert_not(
        &flu_days("gb-racing-influenza", &course, "2026-06-21"),
        "due by 2026-06-20",
    );
}

#[test]
fn windows_of_racing_in_france_and_italy() {
    // BEVA, 22 March 2021 on France; the Italian circular: 21 to 60 days, then 120 to 180.
    for rules in ["france-racing-influenza", "italy-racing-influenza"] {
        let with = |second: &str, third: &str| ["2025-01-01", second, third].map(str::to_owned);
        let fits = |days: [String; 3]| {
            let days: Vec<&str> = days.iter().map(String::as_str).collect();
            flu_days(rules, &days, "2025-09-01")["eligible"] == true
        };
        assert!(
            fits(with("2025-01-22", "2025-05-22")),
            "{rules}: 21 and 120 days"
        );
        assert!(
            fits(with("2025-03-02", "2025-08-01")),
            "{rules}: 60 and 152 days"
        );
        assert!(!fits(with("2025-01-21", "2025-05-21")), "{rules}: 20 days");
        assert!(!fits(with("2025-01-22", "2025-05-21")), "{rules}: 119 days");
        assert!(!fits(with("2025-01-22", "2025-07-22")), "{rules}: 181 days");
    }
    // Twelve months in Italy, six in France.
    let days = ["2025-01-01", "2025-01-29", "2025-06-20"];
    assert_eligible(&flu_days("italy-racing-influenza", &days, "2026-06-20"));
    assert_not(
        &flu_days("italy-racing-influenza", &days, "2026-06-21"),
        "due by 2026-06-20",
    );
    assert_eligible(&flu_days("france-racing-influenza", &days, "2025-12-20"));
    assert_not(
        &flu_days("france-racing-influenza", &days, "2025-12-21"),
        "2025-12-20",
    );
}

#[test]
fn german_rules_wait_14_days_after_the_second_dose_and_7_after_others() {
    let two = ["2026-01-10", "2026-02-10"];
    assert_not(
        &flu_days("germany-lpo-influenza", &two, "2026-02-23"),
        "may arrive from 2026-02-24",
    );
    assert_eligible(&flu_days("germany-lpo-influenza", &two, "2026-02-24"));
    let three = ["2026-01-10", "2026-02-10", "2026-08-10"];
    assert_eligible(&flu_days("germany-lpo-influenza", &three, "2026-08-17"));
    // Six months and 21 days for every interval.
    assert_not(
        &flu_days(
            "germany-lpo-influenza",
            &["2026-01-10", "2026-02-10", "2026-09-01"],
            "2026-09-20",
        ),
        "a new course is needed",
    );
}

#[test]
fn six_calendar_months_are_not_180_days() {
    let doses = || vec![flu("2026-03-01"), herpes("2026-03-01")];
    // 1 March and 180 days: 28 August; six months: 1 September.
    for (rules, last, over) in [
        ("us-show-180-days", "2026-08-28", "2026-08-29"),
        ("us-equestrian-vaccination", "2026-09-01", "2026-09-02"),
    ] {
        assert_eligible(&entry(&ask(rules, doses(), last)));
        assert_not(&entry(&ask(rules, doses(), over)), "was good until");
    }
    // The show office wants it through the last day.
    let mut document = ask("us-show-180-days", doses(), "2026-08-26");
    document["leaves_on"] = json!("2026-08-30");
    assert_not(&entry(&document), "it must last until 2026-08-30");
}

#[test]
fn a_test_must_last_through_the_stay_and_a_certificate_until_arrival() {
    let mut document = ask("eia-12-months", vec![eia("2025-06-10")], "2026-06-08");
    document["leaves_on"] = json!("2026-06-10");
    let answer = entry(&document);
    assert_eligible(&answer);
    assert_eq!(answer["warnings"][0]["code"], "last_day");
    document["leaves_on"] = json!("2026-06-11");
    assert_not(&entry(&document), "good through 2026-06-10");

    let certificate = |issued: &str, until: Value| {
        json!({"kind": "health_certificate", "performed_on": issued,
            "details": {"number": "S-1", "issued_on": issued, "valid_until": until}})
    };
    let ask_for = |certificate: Value, arrives: &str| {
        entry(&ask(
            "health-certificate-30-days",
            vec![certificate],
            arrives,
        ))
    };
    assert_eligible(&ask_for(
        certificate("2026-05-01", Value::Null),
        "2026-05-31",
    ));
    assert_not(
        &ask_for(certificate("2026-05-01", Value::Null), "2026-06-01"),
        "2026-05-31",
    );
    assert_not(
        &ask_for(certificate("2026-05-01", json!("2026-05-20")), "2026-05-21"),
        "2026-05-20",
    );
    assert_not(
        &ask_for(certificate("2026-05-01", json!("2026-12-01")), "2026-06-01"),
        "2026-05-31",
    );
    assert_not(
        &ask_for(certificate("2026-06-02", Value::Null), "2026-06-01"),
        "no certificate",
    );
}

#[test]
fn a_positive_or_pending_test_is_no_pass() {
    let with = |result: Value| {
        let mut test = eia("2026-03-01");
        test["details"]["result"] = result;
        entry(&ask(
            "eia-12-months",
            vec![eia("2025-12-01"), test],
            "2026-04-01",
        ))
    };
    let positive = with(json!("positive"));
    assert_not(&positive, "was positive");
    assert_eq!(positive["earliest_eligible_on"], Value::Null);
    assert_eq!(positive["plan"], json!([]));
    assert_eligible(&with(json!("pending")));
    let mut pending = eia("2026-03-01");
    pending["details"]["result"] = json!("pending");
    let answer = entry(&ask("eia-12-months", vec![pending], "2026-04-01"));
    assert_not(&answer, "the result of the sample of 2026-03-01 is pending");
    assert_eq!(answer["checks"][0]["unknown"], true);
    assert_eq!(answer["earliest_eligible_on"], "2026-04-01");
}

#[test]
fn a_microchip_is_checked_by_its_form() {
    let with = |chip: Value| {
        let mut document = ask("microchip-iso-11784", [], "2026-04-01");
        document["horse"]["microchip"] = chip;
        entry(&document)
    };
    assert_eligible(&with(json!("276098106123456")));
    assert_not(&with(json!("999000000000001")), "999");
    assert_not(&with(json!("4A5B6C7D8E")), "15 digits");
    let none = with(Value::Null);
    assert_not(&none, "no microchip number is on record");
    assert_eq!(none["checks"][0]["unknown"], true);
    assert_eq!(none["earliest_eligible_on"], "2026-04-01");
    let stated = json!({"kind": "identity", "performed_on": "2025-01-01",
        "id": "01970000-0000-7000-8000-000000000001",
        "details": {"microchip": "276098106123456"}});
    let answer = entry(&ask("microchip-iso-11784", vec![stated], "2026-04-01"));
    assert_eligible(&answer);
    assert_eq!(
        answer["checks"][0]["rests_on"],
        json!(["01970000-0000-7000-8000-000000000001"])
    );
}
