//! The twenty cases in which a dose calculator must refuse or warn, each triggered alone.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use serde_json::{Value, json};
use whorl_care::figure::dose::code::Code;
use whorl_care::figure::run;
use whorl_care::rules::Rules;

static RULES: LazyLock<Rules> =
    LazyLock::new(|| Rules::built_in().expect("built-in packs are sound"));

/// A grown horse of 500 kg on a scale, one dose of ivermectin: nothing speaks against it.
fn plain() -> Value {
    json!({"active": "ivermectin", "weight_kg": 500, "weight_from": "scale", "on": "2027-05-01", "foaled_on": "2015-04-20"})
}

fn with(change: &Value) -> Value {
    let mut input = plain();
    for (field, value) in change.as_object().expect("an object") {
        input[field] = value.clone();
    }
    let answer = run("dose", &input, &RULES).expect("the figure exists");
    answer.unwrap_or_else(|faults| panic!("{change}: {faults}"))
}

fn codes(answer: &Value) -> Vec<String> {
    let warnings = answer["warnings"].as_array().expect("a list");
    let code = |warning: &Value| warning["code"].as_str().expect("a code").to_owned();
    warnings.iter().map(code).collect()
}

/// Case, what triggers it, whether there is a dose all the same, and the only code that may come.
#[rustfmt::skip]
fn cases() -> Vec<(u8, Value, bool, Code)> {
    let mox = |more: Value| {
        let mut input = json!({"active": "moxidectin"});
        for (field, value) in more.as_object().expect("an object") {
            input[field] = value.clone();
        }
        input
    };
    let fbz5 = |more: Value| {
        let mut input = json!({"active": "fenbendazole", "regimen": "larvicidal"});
        for (field, value) in more.as_object().expect("an object") {
            input[field] = value.clone();
        }
        input
    };
    vec![
        (1, mox(json!({"label": "us", "weight_kg": 200, "foaled_on": "2026-12-01"})), false, Code::TooYoung),
        (1, mox(json!({"label": "gb", "weight_kg": 180, "foaled_on": "2027-01-10"})), false, Code::TooYoung),
        (1, mox(json!({"weight_kg": 200, "foaled_on": "2026-12-01"})), false, Code::TooYoung),
        (1, mox(json!({"weight_kg": 230, "foaled_on": "2026-11-01", "product": {"form": "moxidectin_praziquantel_gb"}})), false, Code::TooYoung),
        (1, mox(json!({"foaled_on": null})), false, Code::AgeUnknown),
        (1, mox(json!({"weight_kg": 200, "foaled_on": "2026"})), false, Code::AgeUnknown),
        (2, mox(json!({"body_condition": 3})), false, Code::TooThin),
        (2, mox(json!({"debilitated": true})), false, Code::TooThin),
        (2, mox(json!({"body_condition": 2.5, "vet_ordered": true})), true, Code::TooThin),
        (2, mox(json!({"weight_kg": 100})), true, Code::Light),
        (3, json!({"weighed_on": "2027-03-01"}), true, Code::WeightOld),
        (3, json!({"weighed_on": "2027-04-10", "foaled_on": "2027-02-01", "weight_kg": 150}), true, Code::WeightOld),
        (3, json!({"weight_from": "visual"}), true, Code::WeightByEye),
        (3, mox(json!({"weight_from": "visual"})), false, Code::WeightByEye),
        (4, json!({"weight_from": "formula", "weight_formula": "girth_length_adult", "breed_type": "draft"}), false, Code::WeightNotForThisHorse),
        (4, json!({"weight_from": "formula", "weight_formula": "girth_length_adult", "breed_type": "miniature", "weight_kg": 90}), false, Code::WeightNotForThisHorse),
        (4, json!({"weight_from": "formula", "weight_formula": "girth_length_adult", "foaled_on": "2027-01-01", "weight_kg": 150}), false, Code::WeightNotForThisHorse),
        (4, json!({"weight_from": "formula", "weight_formula": "four_measures_stock", "pregnant": true}), false, Code::WeightNotForThisHorse),
        (4, json!({"weight_from": "formula", "weight_formula": "girth_length_adult", "pregnant": true}), true, Code::WeightNotForThisHorse),
        (4, json!({"weight_from": "tape", "breed_type": "miniature", "weight_kg": 90}), true, Code::WeightNotForThisHorse),
        (5, json!({"weight_kg": 1100}), false, Code::UnitSlip),
        (5, json!({"weight_kg": 1250}), false, Code::UnitSlip),
        (5, json!({"weight_kg": 15}), false, Code::UnitSlip),
        (5, json!({"weight_kg": 900}), true, Code::UnitSlip),
        (5, mox(json!({"weight_kg": 900})), false, Code::UnitSlip),
        (5, json!({"weight_kg": 240, "breed_type": "miniature"}), true, Code::UnitSlip),
        (5, json!({"product": {"concentration_percent": 1.87, "content_g": 6.08, "mark_kg": 250}}), false, Code::UnitSlip),
        (6, json!({"weight_kg": 620, "product": {"form": "ivermectin_gb_600"}}), true, Code::SeveralSyringes),
        (7, json!({"active": "pyrantel_pamoate", "parasite": "tapeworm", "product": {"form": "pyrantel_pamoate_us_171"}}), true, Code::TapewormOffLabel),
        (8, json!({"active": "pyrantel_pamoate", "debilitated": true}), false, Code::Debilitated),
        (8, json!({"active": "pyrantel_tartrate", "debilitated": true}), false, Code::Debilitated),
        (9, json!({"parasite": "ascarids", "foaled_on": "2026-10-01", "weight_kg": 250}), true, Code::AscaridBurden),
        (9, json!({"active": "pyrantel_pamoate", "parasite": "ascarids", "foaled_on": "2026-10-01", "weight_kg": 250}), true, Code::AscaridBurden),
        (10, json!({"earlier": [{"actives": ["ivermectin"], "on": "2027-04-10"}]}), true, Code::TooSoon),
        (10, json!({"earlier": [{"actives": ["moxidectin", "praziquantel"], "on": "2027-04-10"}]}), true, Code::TooSoon),
        (10, json!({"earlier": [{"actives": ["ivermectin"], "on": "2027-05-01"}]}), true, Code::EnteredTwice),
        (11, json!({"food": "meat", "product": {"form": "ivermectin_us"}}), false, Code::FoodChain),
        (11, json!({"food": "milk"}), false, Code::FoodChain),
        (11, json!({"food": "meat"}), false, Code::FoodChain),
        (11, mox(json!({"food": "meat", "product": {"form": "moxidectin_gb"}})), true, Code::FoodChain),
        (12, json!({"efficacy": "resistant"}), true, Code::ResistantHere),
        (12, fbz5(json!({})), true, Code::EfficacyUnknown),
        (13, json!({"shedder": "low", "earlier": [{"actives": ["ivermectin"], "on": "2026-09-01"}, {"actives": ["moxidectin"], "on": "2026-12-01"}]}), true, Code::BeyondBaseline),
        (13, json!({"plan": "fixed_interval"}), true, Code::FixedInterval),
        (14, json!({"plan": "egg_count", "foaled_on": "2025-05-01", "weight_kg": 400}), true, Code::SelectiveInYoung),
        (16, json!({"product": {"species": "cattle"}}), false, Code::NotForHorses),
        (16, json!({"product": {"make": "pour_on"}}), false, Code::NotForHorses),
        (16, json!({"product": {"make": "injection"}}), false, Code::NotForHorses),
        (17, json!({"reduction_test": {"treated_on": "2027-04-01", "counted_on": "2027-04-09"}}), true, Code::ReductionTestSpoiled),
        (17, json!({"reduction_test": {"treated_on": "2027-04-01", "counted_on": "2027-04-20"}}), true, Code::ReductionTestSpoiled),
        (17, json!({"reduction_test": {"treated_on": "2027-04-25"}}), true, Code::ReductionTestSpoiled),
        (17, json!({"reduction_test": {"treated_on": "2027-04-01", "counted_on": "2027-04-15", "same_method": false}}), true, Code::ReductionTestSpoiled),
        (17, json!({"reduction_test": {"treated_on": "2027-04-01", "counted_on": "2027-04-15", "eggs_before": 20}}), true, Code::ReductionTestSpoiled),
        (18, json!({"product": {"expiration_date": "2027-04"}}), true, Code::LotExpired),
        (18, json!({"partly_lost": true}), true, Code::PartlyLost),
        (18, mox(json!({"partly_lost": true})), true, Code::PartlyLost),
        (19, json!({"weight_kg": 50, "breed_type": "miniature", "product": {"form": "ivermectin_us"}}), false, Code::OverCeiling),
        (19, mox(json!({"weight_kg": 130, "product": {"concentration_mg_per_ml": 20, "content_ml": 14, "mark_kg": 100}})), false, Code::OverCeiling),
        (20, fbz5(json!({"efficacy": "susceptible", "course_days": ["2027-04-27", "2027-04-28"]})), true, Code::CourseBroken),
    ]
}

#[test]
fn nothing_is_said_against_a_plain_dose() {
    let answer = with(&json!({}));
    assert_eq!(
        (codes(&answer).len(), &answer["refused"]),
        (0, &json!(false))
    );
}

#[test]
fn each_case_is_refused_or_warned_of_by_its_own_code() {
    for (case, change, dosed, code) in cases() {
        let answer = with(&change);
        assert_eq!(codes(&answer), [code.code()], "case {case}: {change}");
        assert_eq!(answer["refused"], !dosed, "case {case}: {change}");
        assert_eq!(
            answer["dose_mg"].is_number(),
            dosed,
            "case {case}: {change}"
        );
    }
}

/// Case 15 comes with case 10: the other dose of the same day is in the record.
#[test]
fn a_combination_and_the_single_active_are_summed() {
    let change = json!({"product": {"form": "ivermectin_us"},
                        "earlier": [{"actives": ["ivermectin", "praziquantel"], "on": "2027-05-01", "mg_per_kg": 0.2}]});
    let answer = with(&change);
    assert_eq!(codes(&answer), ["entered_twice", "same_active_together"]);
    assert_eq!(answer["refused"], true);
    // The other way round: the combination now, the single active before.
    let change = json!({"product": {"form": "ivermectin_praziquantel_gb"}, "weight_kg": 510,
                        "earlier": [{"actives": ["ivermectin"], "on": "2027-05-01"}]});
    assert_eq!(
        codes(&with(&change)),
        ["entered_twice", "same_active_together"]
    );
    // Another active on the same day is no double dose.
    let change = json!({"earlier": [{"actives": ["praziquantel"], "on": "2027-05-01"}]});
    assert_eq!(codes(&with(&change)), [""; 0]);
}

#[test]
fn all_twenty_cases_are_tried_and_say_different_things() {
    let mut numbers: BTreeSet<u8> = cases().iter().map(|(case, ..)| *case).collect();
    numbers.insert(15);
    assert_eq!(numbers, (1..=20).collect());
    let mut texts = BTreeSet::new();
    for (_, change, _, code) in cases() {
        let answer = with(&change);
        let text = answer["warnings"][0]["text"]
            .as_str()
            .expect("a text")
            .to_owned();
        texts.insert((code, text.clone()));
        assert!(text.len() > 30, "{text}");
    }
    let codes: BTreeSet<Code> = texts.iter().map(|(code, _)| *code).collect();
    let by_text: BTreeSet<&String> = texts.iter().map(|(_, text)| text).collect();
    assert_eq!(by_text.len(), texts.len(), "no two codes share a text");
    assert_eq!(codes.len(), 26);
}

#[test]
fn the_neighbours_of_a_case_pass() {
    for change in [
        json!({"active": "moxidectin", "label": "gb", "weight_kg": 180, "foaled_on": "2027-01-01"}),
        json!({"active": "moxidectin", "label": "us", "weight_kg": 220, "foaled_on": "2026-11-01"}),
        json!({"active": "moxidectin", "body_condition": 3.5}),
        json!({"active": "moxidectin", "weight_kg": 113}),
        json!({"weighed_on": "2027-03-02"}),
        json!({"weight_kg": 1100, "breed_type": "draft"}),
        json!({"weight_kg": null, "weight_lb": 2200}),
        json!({"weight_kg": 600, "product": {"form": "ivermectin_gb_600"}}),
        json!({"active": "pyrantel_pamoate", "parasite": "tapeworm", "product": {"form": "pyrantel_pamoate_us_226"}}),
        json!({"debilitated": true}),
        json!({"active": "fenbendazole", "parasite": "ascarids", "foaled_on": "2026-10-01", "weight_kg": 250}),
        json!({"earlier": [{"actives": ["ivermectin"], "on": "2027-04-01"}]}),
        json!({"earlier": [{"actives": ["fenbendazole"], "on": "2027-04-10"}]}),
        json!({"shedder": "low", "earlier": [{"actives": ["ivermectin"], "on": "2026-04-01"}, {"actives": ["moxidectin"], "on": "2026-12-01"}]}),
        json!({"plan": "egg_count", "foaled_on": "2024-05-01"}),
        json!({"reduction_test": {"treated_on": "2027-04-01", "counted_on": "2027-04-15", "same_method": true, "eggs_before": 36}}),
        json!({"product": {"expiration_date": "2027-05"}}),
        json!({"active": "fenbendazole", "regimen": "larvicidal", "efficacy": "susceptible", "course_days": ["2027-04-29", "2027-04-30"]}),
    ] {
        assert_eq!(codes(&with(&change)), [""; 0], "{change}");
    }
}

#[test]
fn withdrawal_runs_from_the_last_day() {
    let answer = with(
        &json!({"active": "moxidectin", "food": "meat", "product": {"form": "moxidectin_gb"}}),
    );
    // 32 days after 1 May (UK data sheet).
    assert_eq!(answer["withdrawal_until"], "2027-06-02");
    assert_eq!(answer["refused"], false);
}

#[test]
fn what_was_lost_is_partial() {
    assert_eq!(
        with(&json!({"partly_lost": true}))["suspected_partial"],
        true
    );
    assert_eq!(
        with(&json!({"product": {"expiration_date": "2026"}}))["suspected_partial"],
        true
    );
    assert_eq!(with(&json!({}))["suspected_partial"], false);
}

/// What other codes there are, each with what brings it.
#[test]
#[rustfmt::skip]
fn further_warnings_have_their_codes() {
    for (change, dosed, want) in [
        (json!({"weight_from": null}), true, Code::WeightFromUnknown),
        (json!({"active": "oxibendazole", "pregnant": true}), true, Code::InFoalUnconfirmed),
        (json!({"active": "fenbendazole", "pregnant": true, "parasite": "threadworm"}), false, Code::OverInFoalLimit),
        (json!({"active": "oxfendazole", "debilitated": true}), true, Code::Debilitated),
        (json!({"foaled_on": "2027-03-20", "weight_kg": 90}), true, Code::BeforeFirstDose),
        (json!({"breed_type": "donkey", "weight_kg": 180}), true, Code::Donkey),
        (json!({"product": {"mark_kg": 100}}), true, Code::ContentMissing),
        (json!({"product": {"concentration_percent": 1.87, "content_g": 7.49}}), true, Code::MarkMissing),
        (json!({"weight_kg": 150, "product": {"concentration_percent": 1.87, "content_g": 7.49, "mark_kg": 160}}), true, Code::MarksDoNotFit),
        (json!({"product": {"concentration_percent": 1.87, "content_g": 1, "mark_kg": 400}}), false, Code::MarksDoNotFit),
        (json!({"active": "moxidectin", "weight_kg": 126, "product": {"form": "moxidectin_gb"}}), true, Code::NearCeiling),
        (json!({"active": "pyrantel_tartrate", "product": {"mark_kg": 50, "concentration_percent": 1.25, "content_g": 1000}}), false, Code::FeedOnly),
    ] {
        let answer = with(&change);
        assert_eq!(codes(&answer).first().map(String::as_str), Some(want.code()), "{change}: {answer:#}");
        assert_eq!(answer["refused"], !dosed, "{change}");
    }
}
