//! The figure `dose` against labels, published bands and worked examples; each row names where its number comes from.

use std::sync::LazyLock;

use serde_json::{Value, json};
use whorl_care::fault::Faults;
use whorl_care::figure::run;
use whorl_care::rules::Rules;

static RULES: LazyLock<Rules> =
    LazyLock::new(|| Rules::built_in().expect("built-in packs are sound"));

fn run_dose(input: &Value) -> Result<Value, Faults> {
    run("dose", input, &RULES).expect("the figure exists")
}

/// A grown horse on a known weight, and what a row adds or changes.
fn dose(change: &Value) -> Value {
    let mut input = json!({"weight_from": "scale", "on": "2027-05-01", "foaled_on": "2015"});
    for (field, value) in change.as_object().expect("an object") {
        input[field] = value.clone();
    }
    run_dose(&input).unwrap_or_else(|faults| panic!("{change}: {faults}"))
}

fn number(answer: &Value, field: &str) -> f64 {
    answer[field]
        .as_f64()
        .unwrap_or_else(|| panic!("{field} in {answer:#}"))
}

fn codes(answer: &Value) -> Vec<&str> {
    let warnings = answer["warnings"].as_array().expect("a list");
    warnings
        .iter()
        .filter_map(|warning| warning["code"].as_str())
        .collect()
}

#[track_caller]
fn near(got: f64, want: f64, share: f64) {
    assert!((got - want).abs() <= want * share, "{got} is not {want}");
}

/// Milligrams of the active a day, and days, for 500 kg: the label doses of 21 CFR 520 and 522.1192.
#[rustfmt::skip]
const LABEL_DOSES: &[(&str, &str, &str, f64, Option<u64>)] = &[
    ("ivermectin", "strongyles", "single", 100.0, Some(1)),
    ("ivermectin", "bots", "single", 100.0, Some(1)),
    ("moxidectin", "strongyles", "single", 200.0, Some(1)),
    ("pyrantel_pamoate", "strongyles", "single", 3300.0, Some(1)),
    ("pyrantel_pamoate", "tapeworm", "single", 6600.0, Some(1)),
    ("pyrantel_tartrate", "strongyles", "single", 6250.0, Some(1)),
    ("pyrantel_tartrate", "strongyles", "daily", 1320.0, None),
    ("fenbendazole", "strongyles", "single", 2500.0, Some(1)),
    ("fenbendazole", "ascarids", "single", 5000.0, Some(1)),
    ("fenbendazole", "cyathostomins", "larvicidal", 5000.0, Some(5)),
    ("fenbendazole", "threadworm", "single", 25000.0, Some(1)),
    ("oxibendazole", "strongyles", "single", 5000.0, Some(1)),
    ("oxibendazole", "threadworm", "single", 7500.0, Some(1)),
    ("oxfendazole", "ascarids", "single", 5000.0, Some(1)),
    ("febantel", "pinworm", "single", 3000.0, Some(1)),
];

#[test]
fn gives_the_labels_dose() {
    for (active, parasite, regimen, mg, days) in LABEL_DOSES {
        let answer = dose(
            &json!({"active": active, "weight_kg": 500, "parasite": parasite, "regimen": regimen}),
        );
        assert_eq!(answer["refused"], false, "{answer:#}");
        near(number(&answer, "dose_mg"), *mg, 1e-9);
        assert_eq!(answer["days"].as_u64(), *days, "{active} {regimen}");
    }
}

/// Printed on labels and data sheets in another unit than the rules keep, or as a band.
#[test]
fn agrees_with_what_labels_print_besides() {
    let mg = |change: Value| number(&dose(&change), "dose_mg");
    // 91 µg ivermectin/lb; 3 and 6 mg pyrantel base/lb; 2.3 and 4.6 mg fenbendazole/lb; 2.73 mg febantel/lb;
    // 0.57 g pyrantel tartrate/100 lb; 1.2 mg/lb/day: US labels, 21 CFR 520.
    near(
        mg(json!({"active": "ivermectin", "weight_lb": 1000})),
        91.0,
        0.005,
    );
    near(
        mg(json!({"active": "pyrantel_pamoate", "weight_lb": 1000})),
        3000.0,
        0.005,
    );
    near(
        mg(json!({"active": "pyrantel_pamoate", "weight_lb": 1000, "parasite": "tapeworm"})),
        6000.0,
        0.005,
    );
    near(
        mg(json!({"active": "fenbendazole", "weight_lb": 1000})),
        2300.0,
        0.015,
    );
    near(
        mg(json!({"active": "fenbendazole", "weight_lb": 1000, "regimen": "larvicidal"})),
        4600.0,
        0.015,
    );
    near(
        mg(json!({"active": "febantel", "weight_lb": 1000})),
        2730.0,
        0.005,
    );
    near(
        mg(json!({"active": "pyrantel_tartrate", "weight_lb": 1000})),
        5700.0,
        0.006,
    );
    near(
        mg(json!({"active": "pyrantel_tartrate", "weight_lb": 1000, "regimen": "daily"})),
        1200.0,
        0.003,
    );
    // 19 mg embonate/kg: de Zeeuw & Hasslinger 1997.
    let answer = dose(&json!({"active": "pyrantel_pamoate", "weight_kg": 100}));
    near(number(&answer, "salt_mg"), 1900.0, 0.005);
    // 0.5 oz of the 2.11 % pellets for 250 lb (US retail label).
    let answer = dose(
        &json!({"active": "pyrantel_tartrate", "weight_lb": 250, "regimen": "daily",
                              "product": {"form": "pyrantel_tartrate_daily_us"}}),
    );
    near(number(&answer, "product_g"), 0.5 * 28.349_523, 0.003);
    // 101 to 150 kg takes 1.605 g of the UK ivermectin and praziquantel paste (its SPC); 1.07 g for 100 kg.
    for (kg, grams) in [(101, 1.605), (150, 1.605), (100, 1.07)] {
        let answer = dose(
            &json!({"active": "ivermectin", "weight_kg": kg, "product": {"form": "ivermectin_praziquantel_gb"}}),
        );
        near(number(&answer, "product_g"), grams, 0.005);
    }
    // "301 to 600 lb: half the syringe" (US pyrantel label, four marks of 300 lb).
    for (lb, setting) in [(300, 300.0), (301, 600.0), (600, 600.0), (601, 900.0)] {
        let answer = dose(
            &json!({"active": "pyrantel_pamoate", "weight_lb": lb, "product": {"form": "pyrantel_pamoate_us_439"}}),
        );
        near(number(&answer, "setting_lb"), setting, 1e-9);
    }
    // Each tick of the UK moxidectin gel is 25 kg and 10 mg (data sheet 457262).
    let answer = dose(
        &json!({"active": "moxidectin", "weight_kg": 625, "product": {"form": "moxidectin_gb"}}),
    );
    near(number(&answer, "given_mg"), 250.0, 1e-9);
    near(number(&answer, "product_ml"), 12.5, 1e-9);
}

/// The four worked doses, beside what labels say of the packs.
#[test]
fn sets_the_syringe_as_worked_by_hand() {
    let answer = dose(&json!({"active": "ivermectin", "weight_kg": 500,
        "product": {"concentration_percent": 1.87, "content_g": 6.08, "mark_lb": 250}}));
    near(number(&answer, "dose_mg"), 100.0, 1e-9);
    near(number(&answer, "setting_lb"), 1250.0, 1e-9);
    near(number(&answer, "given_mg"), 113.75, 0.001);
    near(number(&answer, "given_to_label"), 1.14, 0.005);
    assert_eq!(answer["syringes"], 1);
    assert_eq!(codes(&answer), [""; 0]);

    let answer = dose(&json!({"active": "ivermectin", "weight_kg": 610,
        "product": {"form": "ivermectin_praziquantel_gb"}}));
    near(number(&answer, "setting_kg"), 650.0, 1e-9);
    near(number(&answer, "product_g"), 6.955, 0.001);
    near(number(&answer, "given_to_label"), 1.07, 0.005);
    near(
        answer["also"][0]["given_mg_per_kg"]
            .as_f64()
            .expect("a number"),
        1.5 * 1.0656,
        0.005,
    );

    let answer = dose(
        &json!({"active": "pyrantel_pamoate", "weight_lb": 1100, "parasite": "tapeworm",
        "product": {"concentration_percent": 43.9, "content_g": 23.6, "mark_lb": 300}}),
    );
    near(number(&answer, "dose_mg"), 6600.0, 0.003);
    // Exact in the unit on the dial.
    assert_eq!(answer["setting_lb"], 2400.0);
    near(number(&answer, "given_mg"), 7200.0, 0.003);
    near(number(&answer, "given_to_label"), 1.09, 0.005);
    assert_eq!(answer["syringes"], 2);
    assert_eq!(codes(&answer), ["tapeworm_off_label", "several_syringes"]);
    // A double dose is a double setting, and says so.
    let cautions = answer["cautions"].to_string();
    assert!(cautions.contains("2 times that"), "{cautions}");

    for mark in [json!({"mark_lb": 100}), json!({"mark_kg": 50}), json!({})] {
        let mut product = json!({"concentration_percent": 10, "content_g": 25});
        for (field, value) in mark.as_object().expect("an object") {
            product[field] = value.clone();
        }
        let answer = dose(
            &json!({"active": "fenbendazole", "weight_kg": 500, "regimen": "larvicidal",
            "efficacy": "susceptible", "product": product}),
        );
        near(number(&answer, "dose_mg"), 5000.0, 1e-9);
        assert_eq!(answer["syringes_a_day"], 2, "{mark}");
        assert_eq!(answer["syringes"], 10, "{mark}");
    }
}

/// What one syringe is labelled for, in its label's unit: one is enough for exactly that weight, two for a fiftieth more.
#[rustfmt::skip]
const ONE_SYRINGE: &[(&str, &str, &str, f64)] = &[
    ("ivermectin", "ivermectin_us", "weight_lb", 1250.0),
    ("ivermectin", "ivermectin_gb_600", "weight_kg", 600.0),
    ("ivermectin", "ivermectin_gb_700", "weight_kg", 700.0),
    ("moxidectin", "moxidectin_us", "weight_lb", 1150.0),
    ("moxidectin", "moxidectin_gb", "weight_kg", 700.0),
    ("pyrantel_pamoate", "pyrantel_pamoate_us_180", "weight_lb", 1200.0),
    ("pyrantel_pamoate", "pyrantel_pamoate_us_439", "weight_lb", 1200.0),
    ("fenbendazole", "fenbendazole_us_25", "weight_lb", 1100.0),
    ("fenbendazole", "fenbendazole_us_25", "weight_kg", 500.0),
    ("oxibendazole", "oxibendazole_us_paste", "weight_lb", 1200.0),
    ("ivermectin", "ivermectin_praziquantel_gb", "weight_kg", 700.0),
    ("praziquantel", "ivermectin_praziquantel_us_1403", "weight_lb", 1320.0),
];

#[test]
fn one_syringe_treats_what_its_label_says() {
    for (active, form, field, weight) in ONE_SYRINGE {
        let syringes = |weight: f64| {
            let answer =
                dose(&json!({"active": active, *field: weight, "product": {"form": form}}));
            assert_eq!(answer["refused"], false, "{answer:#}");
            answer["syringes"].as_u64()
        };
        assert_eq!(syringes(*weight), Some(1), "{form}");
        assert_eq!(syringes(weight * 1.02), Some(2), "{form}");
    }
    // The 57 g syringe: 1 257 lb a day at 10 mg/kg; the 92 g one: four horses of 1 000 lb at 5 mg/kg.
    let answer = dose(
        &json!({"active": "fenbendazole", "weight_lb": 1256, "regimen": "larvicidal",
        "product": {"form": "fenbendazole_us_57"}}),
    );
    assert_eq!(answer["syringes"], 5);
    let answer = dose(
        &json!({"active": "fenbendazole", "weight_lb": 1000, "product": {"form": "fenbendazole_us_92"}}),
    );
    near(number(&answer, "product_g") * 4.0, 92.0, 0.02);
}

#[test]
fn the_dose_follows_age_and_product() {
    let young = |foaled_on: &str| json!({"active": "fenbendazole", "weight_kg": 300, "foaled_on": foaled_on});
    near(
        number(&dose(&young("2026-01-10")), "dose_mg_per_kg"),
        10.0,
        1e-9,
    );
    near(
        number(&dose(&young("2025-11-01")), "dose_mg_per_kg"),
        5.0,
        1e-9,
    );
    // Known to the month is enough if all of it lies on one side; else the dose would be a guess.
    let answer = dose(&json!({"active": "fenbendazole", "weight_kg": 300, "foaled_on": "2025-10"}));
    assert_eq!(answer["refused"], false);
    let answer = dose(&json!({"active": "fenbendazole", "weight_kg": 300, "foaled_on": "2025"}));
    assert_eq!(
        (&answer["refused"], codes(&answer)),
        (&json!(true), vec!["age_unknown"])
    );
    // A horse of 500 kg is taken as grown, aloud.
    let answer = dose(&json!({"active": "fenbendazole", "weight_kg": 500, "foaled_on": null}));
    assert_eq!(
        (number(&answer, "dose_mg"), codes(&answer)),
        (2500.0, vec!["age_unknown"])
    );

    for (percent, mg) in [(14.03, 750.0), (7.75, 500.0), (9.0, 500.0)] {
        let answer = dose(
            &json!({"active": "praziquantel", "weight_kg": 500, "product": {"concentration_percent": percent}}),
        );
        near(number(&answer, "dose_mg"), mg, 1e-9);
    }
    let answer = dose(&json!({"active": "praziquantel", "weight_kg": 500}));
    assert_eq!(
        (&answer["refused"], codes(&answer)),
        (&json!(true), vec!["product_needed"])
    );
}

#[test]
fn no_label_no_dose() {
    for (active, change) in [
        ("ivermectin", json!({"parasite": "tapeworm"})),
        ("ivermectin", json!({"regimen": "larvicidal"})),
        ("moxidectin", json!({"regimen": "daily"})),
        ("fenbendazole", json!({"parasite": "bots"})),
        ("praziquantel", json!({"parasite": "strongyles"})),
    ] {
        let mut input = json!({"active": active, "weight_kg": 500});
        for (field, value) in change.as_object().expect("an object") {
            input[field] = value.clone();
        }
        let answer = dose(&input);
        assert_eq!(
            (&answer["refused"], codes(&answer)),
            (&json!(true), vec!["not_labelled"]),
            "{input}"
        );
    }
}

/// A combined product brings its partner's rules: moxidectin's age and ceiling hold when praziquantel is asked for.
#[test]
fn a_partner_in_the_product_brings_its_own_rules() {
    let foal = json!({"active": "praziquantel", "weight_kg": 250, "foaled_on": "2026-11-01",
                      "product": {"form": "moxidectin_praziquantel_gb"}});
    let answer = dose(&foal);
    assert_eq!(
        (&answer["refused"], codes(&answer)),
        (&json!(true), vec!["too_young"])
    );
    let cautions = answer["cautions"].to_string();
    assert!(cautions.contains("streams and ponds"), "{cautions}");
}

#[test]
fn a_refusal_carries_no_amounts() {
    let answer = dose(
        &json!({"active": "moxidectin", "weight_kg": 750, "foaled_on": null,
        "product": {"form": "moxidectin_gb"}}),
    );
    assert_eq!(answer["refused"], true);
    for field in [
        "dose_mg",
        "dose_mg_per_kg",
        "days",
        "setting_kg",
        "setting_lb",
        "syringes",
        "product_ml",
        "given_mg",
    ] {
        assert_eq!(answer[field], Value::Null, "{field}");
    }
    assert_eq!(answer["steps"], json!([]));
    // Nor in words, though it would take two syringes.
    assert_eq!(codes(&answer), ["age_unknown"]);
}

#[test]
fn every_answer_says_label_and_vet() {
    for form in &RULES.dewormers.form {
        for part in &form.parts {
            let answer = dose(
                &json!({"active": part.active, "weight_kg": 500, "product": {"form": form.id}}),
            );
            let first = answer["cautions"][0].as_str().expect("a caution");
            assert!(
                first.contains("label") && first.contains("vet"),
                "{}",
                form.id
            );
        }
    }
    let answer =
        dose(&json!({"active": "fenbendazole", "weight_kg": 500, "parasite": "threadworm"}));
    let cautions = answer["cautions"].to_string();
    assert!(
        cautions.contains("fenbendazole threadworm: from memory, check before relying on it"),
        "{cautions}"
    );
}

#[test]
fn bad_input_is_named_by_field() {
    let full = |change: Value| {
        let mut input = json!({"active": "ivermectin", "weight_kg": 500, "on": "2027-05-01"});
        for (field, value) in change.as_object().expect("an object") {
            input[field] = value.clone();
        }
        let faults = run_dose(&input).expect_err("refused");
        faults.0[0].pointer.clone()
    };
    for (change, pointer) in [
        (json!({"weight_kg": null}), "/weight_kg"),
        (json!({"weight_lb": 1100}), "/weight_lb"),
        (json!({"weight_kg": -5}), "/weight_kg"),
        (json!({"active": "ivermectine"}), "/active"),
        (json!({"on": "2027-02-30"}), "/on"),
        (json!({"foaled_on": "2027-06"}), "/foaled_on"),
        (json!({"weighed_on": "2027-05-02"}), "/weighed_on"),
        (json!({"body_condition": 12}), "/body_condition"),
        (
            json!({"product": {"mark_kg": 50, "mark_lb": 110}}),
            "/product/mark_lb",
        ),
        (json!({"product": {"mark_kg": 0}}), "/product/mark_kg"),
        (json!({"product": {"mark_kg": 1e-9}}), "/product/mark_kg"),
        (json!({"product": {"mark_lb": 1e9}}), "/product/mark_lb"),
        (
            json!({"product": {"concentration_percent": 1.87, "content_g": 1e-9}}),
            "/product/content_g",
        ),
        (
            json!({"product": {"concentration_percent": 187}}),
            "/product/concentration_percent",
        ),
        (
            json!({"product": {"content_g": 6, "content_ml": 6}}),
            "/product/content_ml",
        ),
        (
            json!({"product": {"concentration_mg_per_ml": 20, "content_g": 14}}),
            "/product/content_g",
        ),
        (
            json!({"product": {"form": "fenbendazole_us_25"}}),
            "/product/form",
        ),
        (json!({"product": {"form": "no_such"}}), "/product/form"),
        (
            json!({"product": {"form": "ivermectin_us"}, "label": "gb"}),
            "/label",
        ),
        (
            json!({"earlier": [{"actives": ["ivermectin"], "on": "2027-05-09"}]}),
            "/earlier/0/on",
        ),
        (
            json!({"earlier": [{"actives": ["garlic"], "on": "2027-04-09"}]}),
            "/earlier/0/actives/0",
        ),
        (json!({"course_days": ["2027-04-30"]}), "/course_days"),
        (
            json!({"weight_from": "formula", "weight_formula": "guess"}),
            "/weight_formula",
        ),
        (json!({"wieght_from": "scale"}), "/wieght_from"),
    ] {
        assert_eq!(full(change.clone()), pointer, "{change}");
    }
}
