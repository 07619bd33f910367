//! Worked examples.

use serde_json::json;

use crate::*;

// Each applies one published rule to dates that just fit it, or just don't; the sources are named in the pack.

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
