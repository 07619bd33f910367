//! Foals: vaccination by age and by what the dam had.

use serde_json::{Value, json};

use crate::*;

/// AAEP foal charts; for rabies a newsletter quoting them; West Nile partly from memory, and marked so.
#[test]
fn foals_begin_by_the_status_of_their_dam() {
    for (disease, dam, from, by) in [
        ("tetanus", true, "2026-08-01", "2026-10-01"),
        ("tetanus", false, "2026-07-01", "2026-08-01"),
        ("eee", true, "2026-08-01", "2026-10-01"),
        ("eee", false, "2026-08-01", "2026-10-01"),
        ("west_nile", true, "2026-08-01", "2026-10-01"),
        ("west_nile", false, "2026-07-01", "2026-08-01"),
        ("rabies", true, "2026-08-01", "2026-10-01"),
        ("rabies", false, "2026-08-01", "2026-10-01"),
    ] {
        let item = vaccine(foal(json!(dam)), vec![], "2026-05-01", disease);
        assert_eq!(item["due_from"], from, "{disease} {dam}");
        assert_eq!(item["due_by"], by, "{disease} {dam}");
        assert_eq!(item["status"], "up_to_date");
    }
}

#[test]
fn the_dams_status_is_by_disease_and_unknown_counts_as_unvaccinated() {
    let by_disease = foal(json!({"tetanus": true, "west_nile": null}));
    assert_eq!(
        vaccine(by_disease.clone(), vec![], "2026-05-01", "tetanus")["due_from"],
        "2026-08-01"
    );
    assert_eq!(
        vaccine(by_disease, vec![], "2026-05-01", "west_nile")["due_from"],
        "2026-07-01"
    );
    assert_eq!(
        vaccine(foal(Value::Null), vec![], "2026-05-01", "tetanus")["due_from"],
        "2026-07-01"
    );
}

#[test]
fn a_foals_second_and_third_doses() {
    let at = |disease: &str, dam: bool, days: &[&str]| {
        vaccine(
            foal(json!(dam)),
            doses(disease, days),
            "2026-09-10",
            disease,
        )
    };
    let second = at("tetanus", true, &["2026-08-10"]);
    assert_item(&second, "due", Some("2026-09-07"), Some("2026-09-21"));
    let third = at("tetanus", true, &["2026-08-05", "2026-09-05"]);
    assert_item(&third, "up_to_date", Some("2027-02-01"), Some("2027-04-01"));
    assert_eq!(third["dose_number"], 3);
    // Eight weeks after the second, for a foal of an unvaccinated dam (a page of 2016).
    let west_nile = at("west_nile", false, &["2026-07-05", "2026-08-05"]);
    assert_item(&west_nile, "upcoming", Some("2026-09-30"), None);
    // One dose is a course for the foal of a dam without rabies vaccine, two for the other.
    assert_eq!(at("rabies", false, &["2026-08-05"])["due_by"], "2027-08-05");
    assert_eq!(at("rabies", true, &["2026-08-05"])["dose_number"], 2);
}

#[test]
fn a_first_dose_before_its_age_goes_to_the_vet() {
    let item = vaccine(
        foal(json!(true)),
        doses("tetanus", &["2026-06-01"]),
        "2026-06-10",
        "tetanus",
    );
    assert_eq!(item["status"], "ask_vet");
    assert_reason(&item, "antibody from the dam may block it");
}

#[test]
fn a_course_begun_as_a_foal_ends_as_one() {
    let days = ["2026-08-05", "2026-09-05"];
    let item = vaccine(
        foal(json!(true)),
        doses("tetanus", &days),
        "2027-06-01",
        "tetanus",
    );
    assert_item(&item, "ask_vet", Some("2027-02-01"), Some("2027-04-01"));
    // A yearling without any begins as a grown horse.
    let none = vaccine(foal(json!(true)), vec![], "2027-06-01", "tetanus");
    assert_item(&none, "due", Some("2027-06-01"), None);
}

#[test]
fn a_horse_of_unknown_age_is_the_vets_to_judge() {
    let unknown = json!({"name": "Dune"});
    let answer = due(&ask(unknown, [], "2026-11-25"));
    assert_eq!(item(&answer, "vaccination.tetanus")["status"], "ask_vet");
    assert_eq!(item(&answer, "parasite.treatment")["status"], "ask_vet");
    assert_eq!(answer["warnings"][0]["code"], "age_unknown");
    // A gelding is grown, whenever he was foaled.
    let gelding = json!({"sex": "gelding"});
    assert_eq!(
        item(&due(&ask(gelding, [], "2026-11-25")), "vaccination.tetanus")["status"],
        "due"
    );
}
