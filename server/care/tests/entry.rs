//! The figure `entry` against worked examples, published where they are, and against its own promises.

use std::sync::LazyLock;

use chrono::NaiveDate;
use proptest::prelude::*;
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

// Worked examples of the vaccination reference, section 2.4: the dates were computed there by a script, from the rules
// of the sources named in the pack.

#[test]
fn example_1_a_second_dose_a_day_early_breaks_the_course() {
    let answer = flu_days("fei-influenza", &["2024-01-20", "2024-02-09"], "2024-03-01");
    assert_not(&answer, "20 days after");
}

#[test]
fn example_3_six_days_after_the_second_dose_is_too_soon() {
    let days = ["2024-01-20", "2024-02-10"];
    let answer = flu_days("fei-influenza", &days, "2024-02-16");
    assert_not(&answer, "too fresh");
    assert_eq!(answer["earliest_eligible_on"], "2024-02-17");
    assert_eq!(answer["plan"], json!([]));
    assert_eligible(&flu_days("fei-influenza", &days, "2024-02-17"));
}

#[test]
fn example_5_a_leap_day_makes_sixty_days_sixty_one() {
    let answer = flu_days("fei-influenza", &["2024-01-20", "2024-03-21"], "2024-04-01");
    assert_not(&answer, "61 days after");
    // In a year without a leap day the same dates are 60 days apart.
    assert_eligible(&flu_days(
        "fei-influenza",
        &["2025-01-20", "2025-03-21"],
        "2025-04-01",
    ));
}

#[test]
fn example_8_a_course_across_the_change_is_accepted_with_a_warning() {
    let answer = flu_days(
        "gb-affiliated-influenza",
        &["2023-11-15", "2024-02-10"],
        "2024-03-01",
    );
    assert_eligible(&answer);
    assert_eq!(answer["warnings"][0]["code"], "ask_the_body");
}

const COURSE: [&str; 3] = ["2025-09-01", "2025-10-06", "2026-04-01"];

#[test]
fn examples_9_and_10_seven_days_are_enough_and_six_are_not() {
    assert_eligible(&flu_days("fei-influenza", &COURSE, "2026-04-08"));
    let answer = flu_days("fei-influenza", &COURSE, "2026-04-07");
    assert_not(&answer, "may arrive from 2026-04-08");
    assert_eq!(answer["earliest_eligible_on"], "2026-04-08");
}

#[test]
fn example_11_and_the_last_day_of_six_months_and_21_days() {
    assert_eligible(&flu_days("fei-influenza", &COURSE, "2026-10-01"));
    assert_eligible(&flu_days("fei-influenza", &COURSE, "2026-10-22"));
    assert_not(
        &flu_days("fei-influenza", &COURSE, "2026-10-23"),
        "was good until 2026-10-22",
    );
}

#[test]
fn example_14_lapsing_during_the_stay_is_warned_of() {
    let mut document = ask(
        "fei-influenza",
        COURSE.iter().map(|day| flu(day)),
        "2026-10-20",
    );
    document["leaves_on"] = json!("2026-10-25");
    let answer = entry(&document);
    assert_eligible(&answer);
    assert_eq!(answer["warnings"][0]["code"], "lapses_during_stay");
}

#[test]
fn example_18_twelve_months_from_a_leap_day_end_on_28_february() {
    let days = ["2023-01-10", "2023-02-14", "2023-08-20", "2024-02-29"];
    let with = |last: &'static str| [days.to_vec(), vec![last]].concat();
    assert_eligible(&flu_days(
        "fei-influenza",
        &with("2025-02-28"),
        "2025-03-07",
    ));
    assert_not(
        &flu_days("fei-influenza", &with("2025-03-01"), "2025-03-08"),
        "366 days after",
    );
}

#[test]
fn example_20_a_year_across_a_leap_day_is_twelve_months() {
    let days = [
        "2022-09-01",
        "2022-10-06",
        "2023-03-01",
        "2023-05-10",
        "2024-05-10",
    ];
    assert_eligible(&flu_days("fei-influenza", &days, "2024-06-01"));
}

#[test]
fn example_26_one_dose_never_admits() {
    let answer = flu_days("fei-influenza", &["2026-03-01"], "2026-03-20");
    assert_not(&answer, "no second dose yet");
    assert_eq!(answer["earliest_eligible_on"], "2026-03-29");
    let plan = &answer["plan"][0];
    assert_eq!(plan["from"], "2026-03-22");
    assert_eq!(plan["until"], "2026-04-30");
    assert_eq!(plan["who"], json!(["vet"]));
    assert!(
        plan["do"].as_str().is_some_and(|text| text.starts_with(
            "influenza vaccination: second dose, 21 to 60 days after the dose of 2026-03-01"
        )),
        "{plan}"
    );
}

#[test]
fn example_29_influenza_alone_is_half_of_it() {
    let answer = flu_days("us-equestrian-vaccination", &["2026-03-01"], "2026-06-01");
    assert_not(&answer, "no herpes (EHV-1/4) dose");
    assert_eq!(answer["checks"][0]["met"], true);
    let both = ask(
        "us-equestrian-vaccination",
        vec![flu("2026-03-01"), herpes("2026-03-01")],
        "2026-09-01",
    );
    assert_eligible(&entry(&both));
}

#[test]
fn example_30_german_rules_want_28_days() {
    let answer = flu_days(
        "germany-lpo-influenza",
        &["2026-01-10", "2026-02-06"],
        "2026-03-01",
    );
    assert_not(&answer, "27 days after");
    assert_not(&answer, "28 to 70 days");
}

#[test]
fn examples_33_and_34_tests_count_from_the_draw() {
    let answer = entry(&ask("eia-6-months", vec![eia("2025-06-10")], "2026-01-05"));
    assert_not(&answer, "good through 2025-12-10");
    assert_eligible(&entry(&ask(
        "eia-12-months",
        vec![eia("2025-06-10")],
        "2026-01-05",
    )));
    let answer = entry(&ask(
        "eia-calendar-year",
        vec![eia("2025-12-20")],
        "2026-01-05",
    ));
    assert_not(&answer, "good through 2025-12-31");
    assert_eq!(answer["plan"][0]["from"], "2026-01-01");
}

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

// Evidence.

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

// Plans.

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

/// The golden file is made by tests/oracles/entry_rules.py, which states the rules anew in another language and finds the
/// earliest day by trying every day for up to two doses.
#[test]
fn agrees_with_the_rules_as_another_program_states_them() {
    let cases: Vec<Value> =
        serde_json::from_str(include_str!("golden/entry.json")).expect("the golden file");
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

// Bad input.

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

// Promises that hold for any history.

const RULE_SETS: [&str; 13] = [
    "fei-influenza",
    "gb-racing-influenza",
    "gb-affiliated-influenza",
    "france-racing-influenza",
    "italy-racing-influenza",
    "germany-lpo-influenza",
    "us-equestrian-vaccination",
    "us-show-180-days",
    "eia-12-months",
    "eia-6-months",
    "eia-calendar-year",
    "health-certificate-30-days",
    "microchip-iso-11784",
];

fn on(offset: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 6, 1)
        .and_then(|day| day.checked_add_signed(chrono::TimeDelta::days(offset)))
        .expect("a day")
}

fn a_history() -> impl Strategy<Value = Vec<Value>> {
    let provenance =
        prop_oneof![4 => Just("attested"), 1 => Just("transcribed"), 1 => Just("recorded")];
    let gap = prop_oneof![
        Just(21i64),
        Just(28),
        Just(60),
        Just(61),
        Just(150),
        Just(182),
        1i64..420
    ];
    let one = (gap, 0usize..6, provenance);
    prop::collection::vec(one, 0..9).prop_map(|steps| {
        let mut day = 0;
        let mut events = Vec::new();
        for (n, (gap, what, provenance)) in steps.into_iter().enumerate() {
            day += gap;
            let on = on(day).to_string();
            let mut event = match what {
                0 => eia(&on),
                1 => json!({"kind": "health_certificate", "performed_on": on,
                    "details": {"issued_on": on}}),
                2 => herpes(&on),
                3 => json!({"kind": "vaccination", "performed_on": on,
                    "details": {"targets": ["influenza", "ehv_1_4"]}}),
                _ => flu(&on),
            };
            event["provenance"] = json!(provenance);
            event["id"] = json!(format!("01970000-0000-7000-8000-{n:012}"));
            events.push(event);
        }
        events
    })
}

/// What a plan's action records once it is done on its first day; none for what no event shows.
fn done(action: &Value, events: &[Value]) -> Vec<Value> {
    let what = action["do"].as_str().expect("words");
    let day = action["from"].as_str().expect("a day");
    if what.contains("countersign") || what.contains("get the result") {
        // Every entry that is not a vet's own is vouched for.
        return events
            .iter()
            .filter(|event| event["provenance"] != "attested")
            .map(|event| {
                json!({"kind": "countersign", "role": "vet", "performed_on": day,
                    "target_id": event["id"], "details": {"statement": "seen"}})
            })
            .collect();
    }
    if what.starts_with("influenza") {
        vec![flu(day)]
    } else if what.starts_with("herpes") {
        vec![herpes(day)]
    } else if what.starts_with("EIA") {
        vec![eia(day)]
    } else if what.starts_with("health certificate") {
        vec![json!({"kind": "health_certificate", "performed_on": day,
            "details": {"issued_on": day}})]
    } else {
        assert!(what.starts_with("microchip"), "{what}");
        vec![]
    }
}

fn with_plan_done(document: &Value, answer: &Value) -> Value {
    let mut document = document.clone();
    let mut events = document["events"].as_array().expect("events").clone();
    for action in answer["plan"].as_array().expect("a plan") {
        let recorded = done(action, &events);
        events.extend(recorded);
    }
    document["events"] = json!(events);
    document["horse"]["microchip"] = json!("276098106123456");
    document["arrives_on"] = answer["earliest_eligible_on"].clone();
    document
        .as_object_mut()
        .expect("an object")
        .remove("leaves_on");
    document
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn carrying_out_the_plan_makes_the_horse_eligible_on_the_day_stated(
        events in a_history(), arrives in 0i64..1500, today in prop::option::of(-40i64..40),
        second in 0usize..13,
    ) {
        for first in RULE_SETS {
            let mut document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
                "rules": [first, RULE_SETS[second]]});
            if let Some(today) = today {
                document["on"] = json!(on(arrives + today));
            }
            let answer = entry(&document);
            let day: NaiveDate = answer["earliest_eligible_on"]
                .as_str()
                .unwrap_or_else(|| panic!("no plan for {first}: {answer:#} {document:#}"))
                .parse()
                .expect("a day");
            prop_assert!(day >= on(arrives));
            if answer["eligible"] == true {
                prop_assert_eq!(day, on(arrives));
                prop_assert_eq!(&answer["plan"], &json!([]));
            }
            let then = entry(&with_plan_done(&document, &answer));
            prop_assert_eq!(&then["eligible"], &json!(true), "{:#} {:#} {:#}", document, answer, then);
            for action in answer["plan"].as_array().expect("a plan") {
                let from = action["from"].as_str().expect("a day");
                prop_assert!(action["until"].as_str().is_none_or(|until| from <= until));
                let no_sooner = document["on"].as_str().is_none_or(|on| on <= from);
                prop_assert!(no_sooner, "{:#}", action);
            }
        }
    }

    #[test]
    fn no_day_before_the_earliest_is_eligible_as_things_stand(
        events in a_history(), arrives in 0i64..1500, n in 0usize..13,
    ) {
        let document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
            "on": on(arrives), "rules": RULE_SETS[n]});
        let answer = entry(&document);
        let day: NaiveDate = answer["earliest_eligible_on"].as_str().expect("a plan").parse().expect("a day");
        let mut before = document.clone();
        let mut at = on(arrives);
        while at < day {
            before["arrives_on"] = json!(at);
            prop_assert_eq!(&entry(&before)["eligible"], &json!(false));
            at = at.succ_opt().expect("a day");
        }
    }

    #[test]
    fn a_later_arrival_never_makes_a_lapsed_dose_valid(
        events in a_history(), arrives in 0i64..1500, later in 1i64..400, n in 0usize..13,
    ) {
        // Once nothing more is given, a horse that was eligible and isn't any more stays so.
        let at = |offset: i64| entry(&json!({"horse": {"microchip": "276098106123456"},
            "events": events, "arrives_on": on(offset), "rules": RULE_SETS[n]}));
        let last = 9 * 420 + 60;
        let (first, then) = (last.min(arrives + 4000), last + later);
        if at(first)["eligible"] == false && first < then {
            // Beyond every wait after the last dose, only lapsing can be the reason.
            prop_assert_eq!(&at(then)["eligible"], &json!(false));
        }
    }

    #[test]
    fn what_is_not_about_it_and_the_order_change_nothing(
        events in a_history(), arrives in 0i64..1500, n in 0usize..13, day in 0i64..1500,
    ) {
        let document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
            "rules": RULE_SETS[n]});
        let answer = entry(&document);
        let mut shuffled = events.clone();
        shuffled.reverse();
        for (kind, details) in [
            ("weight", json!({"weight_kg": 512.0})),
            ("vaccination", json!({"targets": ["tetanus"]})),
            ("laboratory_test", json!({"test": "strangles_pcr", "drawn_on": on(day), "result": "positive"})),
            ("observation", json!({"signs": ["cough"]})),
        ] {
            shuffled.insert(
                usize::try_from(day).unwrap_or(0) % (shuffled.len() + 1),
                json!({"kind": kind, "performed_on": on(day), "details": details}),
            );
        }
        let mut other = document.clone();
        other["events"] = json!(shuffled);
        prop_assert_eq!(answer, entry(&other));
    }
}
