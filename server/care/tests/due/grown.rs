//! Grown horses: core vaccines, and those by risk.

use serde_json::{Value, json};

use crate::*;

#[test]
fn a_grown_horse_without_records_begins_its_core_courses_now() {
    let answer = due(&ask(grown(), [], "2026-11-25"));
    // AAEP core: tetanus, EEE/WEE, West Nile, rabies (adult chart; disease page on rabies).
    for disease in ["tetanus", "eee", "wee", "west_nile", "rabies"] {
        let item = item(&answer, &format!("vaccination.{disease}"));
        assert_item(&item, "due", Some("2026-11-25"), None);
        assert_eq!(item["dose_number"], 1);
        assert_eq!(item["who"], json!(["vet"]));
    }
    for disease in [
        "influenza",
        "ehv_1_4",
        "strangles",
        "botulism",
        "anthrax",
        "rotavirus",
        "eva",
        "vee",
    ] {
        assert!(
            !has(&answer, &format!("vaccination.{disease}")),
            "{disease}"
        );
    }
}

/// AAEP adult chart: the second dose 4 to 6 weeks after the first, then yearly.
#[test]
fn a_second_dose_comes_four_to_six_weeks_after_the_first() {
    for disease in ["tetanus", "eee", "west_nile"] {
        let at = |on: &str| vaccine(grown(), doses(disease, &["2026-09-01"]), on, disease);
        let (from, by) = (Some("2026-09-29"), Some("2026-10-13"));
        assert_item(&at("2026-09-10"), "upcoming", from, by);
        assert_item(&at("2026-09-29"), "due", from, by);
        assert_item(&at("2026-10-13"), "due", from, by);
        let late = at("2026-10-14");
        assert_item(&late, "ask_vet", from, by);
        assert_eq!(late["dose_number"], 2);
        assert_reason(
            &late,
            "the vet decides whether the course goes on or begins again",
        );
    }
}

#[test]
fn boosters_are_yearly_and_shown_a_month_ahead() {
    let at = |on: &str| {
        vaccine(
            grown(),
            doses("tetanus", &["2025-01-10", "2025-02-14"]),
            on,
            "tetanus",
        )
    };
    let (from, by) = (Some("2026-01-15"), Some("2026-02-14"));
    assert_item(&at("2025-11-25"), "up_to_date", from, by);
    assert_item(&at("2025-12-20"), "upcoming", from, by);
    assert_item(&at("2026-01-15"), "due", from, by);
    assert_item(&at("2026-02-14"), "due", from, by);
    let overdue = at("2026-02-15");
    assert_item(&overdue, "overdue", from, by);
    assert_eq!(overdue["last_on"], "2025-02-14");
    assert_eq!(overdue["dose_number"], Value::Null);
    // A lapse of years is the vet's to judge, never a course restarted by itself.
    assert_eq!(at("2027-02-15")["status"], "ask_vet");
}

/// AAEP disease page on rabies: a single dose, then yearly.
#[test]
fn one_rabies_dose_is_a_course() {
    let item = vaccine(
        grown(),
        doses("rabies", &["2026-03-04"]),
        "2026-11-25",
        "rabies",
    );
    assert_item(&item, "up_to_date", Some("2027-02-02"), Some("2027-03-04"));
}

#[test]
fn early_and_late_second_doses_go_to_the_vet_until_a_booster_follows() {
    let at = |days: &[&str], on: &str| vaccine(grown(), doses("tetanus", days), on, "tetanus");
    let early = at(&["2026-01-10", "2026-01-24"], "2026-03-01");
    assert_eq!(early["status"], "ask_vet");
    assert_reason(&early, "dose 2 came early, 14 days after");
    let late = at(&["2026-01-10", "2026-03-20"], "2026-04-01");
    assert_eq!(late["status"], "ask_vet");
    assert_eq!(late["due_by"], "2027-03-20");
    assert_reason(&late, "dose 2 came late, 69 days after");
    let followed = at(&["2026-01-10", "2026-03-20", "2027-03-01"], "2027-04-01");
    assert_eq!(followed["status"], "up_to_date");
}

/// A record that begins in mid-life: our own proposal.
#[test]
fn yearly_doses_are_boosters_of_a_course_before_the_record() {
    let at = |days: &[&str], on: &str| vaccine(grown(), doses("tetanus", days), on, "tetanus");
    let yearly = at(&["2025-04-09", "2026-04-04"], "2026-11-20");
    assert_item(
        &yearly,
        "up_to_date",
        Some("2027-03-05"),
        Some("2027-04-04"),
    );
    assert_reason(
        &yearly,
        "the first course is taken to lie before this record",
    );
    // One dose is no rhythm, and neither are two with years between.
    assert_eq!(at(&["2025-04-09"], "2026-11-20")["status"], "ask_vet");
    assert_eq!(
        at(&["2023-04-09", "2026-04-04"], "2026-11-20")["status"],
        "ask_vet"
    );
    // Nor does it excuse a late dose of a course on record.
    assert_eq!(
        at(&["2026-01-10", "2026-03-20"], "2026-04-01")["status"],
        "ask_vet"
    );
    let influenza = doses("influenza", &["2025-03-01", "2025-04-01", "2026-04-01"]);
    let third = vaccine(grown(), influenza, "2026-05-01", "influenza");
    assert_eq!(third["status"], "ask_vet");
    assert_reason(&third, "dose 3 came late");
}

#[test]
fn a_combination_counts_for_every_disease_and_an_expired_vial_for_none() {
    let combined = event(
        "vaccination",
        "2026-03-04",
        json!({"targets": ["rabies", "tetanus"], "product": "Tidevax", "lot_number": "T-1",
            "expiration_date": "2026-02"}),
    );
    let answer = due(&ask(grown(), [combined.clone()], "2026-03-10"));
    for disease in ["rabies", "tetanus"] {
        let item = item(&answer, &format!("vaccination.{disease}"));
        assert_eq!(item["status"], "ask_vet");
        assert_reason(&item, "the vial of 2026-03-04 had expired");
    }
    let mut good = combined;
    good["details"]["expiration_date"] = json!("2026-03");
    let answer = due(&ask(grown(), [good], "2026-03-10"));
    assert_eq!(item(&answer, "vaccination.rabies")["status"], "up_to_date");
    assert_eq!(item(&answer, "vaccination.tetanus")["dose_number"], 2);
}

/// AAEP adult chart of 2008 to 2012 and the disease pages of 2019; influenza's third dose from memory.
#[test]
fn risks_call_for_their_vaccines() {
    for (risk, diseases) in [
        ("travels", &["influenza", "ehv_1_4"][..]),
        (
            "mixes_with_travellers",
            &["influenza", "ehv_1_4", "strangles"],
        ),
        ("breeding_farm", &["ehv_1_4"]),
        ("botulism_area", &["botulism"]),
        ("anthrax_area", &["anthrax"]),
        ("near_water", &["potomac_horse_fever"]),
        ("snake_area", &["snake_bite"]),
        ("leptospirosis_area", &["leptospirosis"]),
    ] {
        let mut horse = grown();
        horse["risks"] = json!([risk]);
        let answer = due(&ask(horse, [], "2026-11-25"));
        for disease in diseases {
            assert_eq!(
                item(&answer, &format!("vaccination.{disease}"))["dose_number"],
                1
            );
        }
        let extra = answer["items"].as_array().expect("items").iter();
        let vaccinations = extra.filter(|item| {
            item["code"]
                .as_str()
                .is_some_and(|code| code.starts_with("vaccination."))
        });
        assert_eq!(vaccinations.count(), 5 + diseases.len(), "{risk}");
    }
}

#[test]
fn windows_and_boosters_of_the_vaccines_by_risk() {
    let at = |risk: &str, disease: &str, days: &[&str]| {
        let mut horse = grown();
        horse["risks"] = json!([risk]);
        let item = vaccine(horse, doses(disease, days), "2026-01-01", disease);
        (
            item["due_from"].clone(),
            item["due_by"].clone(),
            item["dose_number"].clone(),
        )
    };
    let one = &["2025-12-20"][..];
    let two = &["2025-11-20", "2025-12-20"][..];
    let days = |from: &str, by: &str, number: u32| (json!(from), json!(by), json!(number));
    // 28 to 42 days; then 90 to 180 days (from memory) for influenza.
    assert_eq!(
        at("travels", "influenza", one),
        days("2026-01-17", "2026-01-31", 2)
    );
    assert_eq!(
        at("travels", "influenza", two),
        days("2026-03-20", "2026-06-18", 3)
    );
    assert_eq!(
        at("travels", "ehv_1_4", two),
        days("2026-01-17", "2026-01-31", 3)
    );
    // 28 days and 28 days, labels monthly; a week's grace is ours.
    assert_eq!(
        at("botulism_area", "botulism", two),
        days("2026-01-17", "2026-01-24", 3)
    );
    assert_eq!(
        at("snake_area", "snake_bite", one),
        days("2026-01-17", "2026-01-24", 2)
    );
    // 21 to 28 days.
    assert_eq!(
        at("near_water", "potomac_horse_fever", one),
        days("2026-01-10", "2026-01-17", 2)
    );
    assert_eq!(
        at("leptospirosis_area", "leptospirosis", one),
        days("2026-01-10", "2026-01-17", 2)
    );
    // Half-yearly for influenza and herpes of horses that travel, and for snake bite; else yearly.
    let full = &["2025-06-01", "2025-07-01", "2025-12-01"][..];
    assert_eq!(at("travels", "influenza", full).1, "2026-06-01");
    let three = &["2025-10-01", "2025-11-03", "2025-12-04"][..];
    assert_eq!(at("travels", "ehv_1_4", three).1, "2026-06-04");
    assert_eq!(
        at(
            "botulism_area",
            "botulism",
            &["2025-10-01", "2025-10-30", "2025-11-28"]
        )
        .1,
        "2026-11-28"
    );
    assert_eq!(
        at(
            "snake_area",
            "snake_bite",
            &["2025-10-01", "2025-10-30", "2025-11-28"]
        )
        .1,
        "2026-05-28"
    );
}

#[test]
fn a_long_mosquito_season_halves_the_interval() {
    // AAEP adult chart: every six months where the season is long.
    let mut horse = grown();
    horse["risks"] = json!(["mosquito_season_long"]);
    let days = doses("west_nile", &["2025-10-01", "2025-11-05"]);
    assert_eq!(
        vaccine(horse, days, "2025-12-01", "west_nile")["due_by"],
        "2026-05-05"
    );
}

#[test]
fn a_vaccine_begun_goes_on_without_a_risk() {
    let item = vaccine(
        grown(),
        doses(
            "influenza",
            &["2025-01-01", "2025-02-01", "2025-06-01", "2025-12-01"],
        ),
        "2026-01-01",
        "influenza",
    );
    assert_item(&item, "up_to_date", Some("2026-11-01"), Some("2026-12-01"));
    assert_reason(&item, "booster every 12 months");
}
