//! Egg counts and reduction tests, against published tables and against scipy.

use serde_json::{Value, json};
use whorl_care::figure;
use whorl_care::rules::Rules;

fn run(name: &str, input: &Value) -> Value {
    let rules = Rules::built_in().expect("the packs");
    figure::run(name, input, &rules)
        .expect("a figure")
        .unwrap_or_else(|faults| panic!("{input}: {faults}"))
}

fn refused(name: &str, input: &Value) -> String {
    let rules = Rules::built_in().expect("the packs");
    let faults = figure::run(name, input, &rules)
        .expect("a figure")
        .expect_err("bad input");
    faults.0[0].pointer.clone()
}

fn near(got: &Value, expected: f64, within: f64) {
    let got = got.as_f64().expect("a number");
    assert!(
        (got - expected).abs() <= within,
        "{got}, expected {expected} within {within}"
    );
}

fn golden() -> Value {
    serde_json::from_str(include_str!("golden/egg_counts.json")).expect("the golden file")
}

/// Source: AAEP, Internal Parasite Control Guidelines (2024), appendix A, page 32.
#[test]
fn the_factor_follows_from_the_volumes() {
    for (chambers, feces, fluid, factor) in [
        (2, 4.0, 26.0, 25.0),
        (1, 4.0, 26.0, 50.0),
        (2, 2.0, 28.0, 50.0),
    ] {
        let input = json!({"method": "mcmaster", "eggs_counted": 3, "chambers": chambers, "chamber_volume_ml": 0.15,
            "feces_g": feces, "flotation_ml": fluid});
        let answer = run("egg-count", &input);
        near(&answer["multiplication_factor"], factor, 1e-9);
        near(&answer["epg"], 3.0 * factor, 1e-9);
    }
}

/// Source: exact Poisson limits as tabled for counts by `McMaster` (computed with scipy, rounded to whole eggs per gram).
#[test]
fn limits_are_those_of_the_table() {
    for (eggs, factor, low, high) in [
        (0, 25.0, 0.0, 92.0),
        (1, 25.0, 1.0, 139.0),
        (4, 25.0, 27.0, 256.0),
        (8, 25.0, 86.0, 394.0),
        (20, 25.0, 305.0, 772.0),
        (40, 25.0, 714.0, 1362.0),
        (4, 50.0, 54.0, 512.0),
    ] {
        let answer = run(
            "egg-count",
            &json!({"eggs_counted": eggs, "multiplication_factor": factor}),
        );
        near(&answer["low_epg"], low, 0.5);
        near(&answer["high_epg"], high, 0.5);
    }
}

/// Source: scipy.stats.chi2.
#[test]
fn limits_agree_with_scipy() {
    let golden = golden();
    let table = golden["poisson"].as_object().expect("a table");
    assert!(table.len() > 60);
    for (eggs, limits) in table {
        let eggs: u32 = eggs.parse().expect("a count");
        let answer = run(
            "egg-count",
            &json!({"eggs_counted": eggs, "multiplication_factor": 1.0}),
        );
        for (name, limit) in [("low_epg", &limits[0]), ("high_epg", &limits[1])] {
            let limit = limit.as_f64().expect("a number");
            near(&answer[name], limit, 1e-9 * limit.max(1.0));
        }
    }
}

/// Source: AAEP (2024), page 24, and Kaplan as reported at thehorse.com/32739, for the bands.
#[test]
fn bands_of_shedders() {
    for (epg, class) in [
        (0, "low"),
        (200, "low"),
        (201, "moderate"),
        (500, "moderate"),
        (501, "high"),
    ] {
        let answer = run(
            "egg-count",
            &json!({"eggs_counted": epg, "multiplication_factor": 1.0}),
        );
        assert_eq!(answer["shedder"], class, "{epg}");
    }
    let answer = run(
        "egg-count",
        &json!({"eggs_counted": 8, "multiplication_factor": 25.0}),
    );
    assert_eq!(answer["warnings"][0]["code"], "class-uncertain");
}

#[test]
fn bad_counts_are_refused() {
    assert_eq!(
        refused("egg-count", &json!({"multiplication_factor": 25})),
        "/eggs_counted"
    );
    assert_eq!(
        refused("egg-count", &json!({"eggs_counted": 3})),
        "/multiplication_factor"
    );
    assert_eq!(
        refused(
            "egg-count",
            &json!({"eggs_counted": -3, "multiplication_factor": 25})
        ),
        "/eggs_counted"
    );
    assert_eq!(
        refused(
            "egg-count",
            &json!({"eggs_counted": 3, "multiplication_factor": 0})
        ),
        "/multiplication_factor"
    );
    assert_eq!(
        refused(
            "egg-count",
            &json!({"eggs_counted": 3, "multiplication_factor": 25, "chambers": 2})
        ),
        "/multiplication_factor"
    );
    assert_eq!(
        refused("egg-count", &json!({"eggs_counted": 3, "chambers": 2})),
        "/chamber_volume_ml"
    );
    assert_eq!(refused("egg-count", &json!({"eggs": 3})), "/eggs");
    let overcounted = json!({"eggs_counted": 1, "chambers": 4, "chamber_volume_ml": 10.0, "feces_g": 4.0, "flotation_ml": 26.0});
    assert_eq!(refused("egg-count", &overcounted), "/chamber_volume_ml");
}

/// Source: scipy's gamma and beta distributions, with the formulas of `tests/oracles/egg_counts.py`.
#[test]
fn reductions_agree_with_scipy() {
    let golden = golden();
    let cases = golden["reduction"].as_array().expect("cases");
    assert!(cases.len() > 30);
    for case in cases {
        let input = json!({
            "active": "ivermectin", "parasite": "strongyles", "before": case["before"], "after": case["after"],
            "design": if case["paired"] == true { "paired" } else { "unpaired" },
            "multiplication_factor": {"before": case["f_before"], "after": case["f_after"]},
        });
        let answer = run("reduction", &input);
        near(
            &answer["reduction_percent"],
            case["reduction"].as_f64().expect("a number"),
            1e-9,
        );
        assert_eq!(
            answer["interval"]["method"], case["method"],
            "{}",
            case["name"]
        );
        near(
            &answer["interval"]["low"],
            case["low"].as_f64().expect("a number"),
            1e-7,
        );
        near(
            &answer["interval"]["high"],
            case["high"].as_f64().expect("a number"),
            1e-7,
        );
    }
}

/// Source: worked examples A, B and F of the project's parasite reference (numpy moments, scipy quantiles), 90 % intervals and
/// classes by the clinical thresholds of the WAAVP guideline (2023; from memory).
#[test]
fn worked_examples() {
    let cases = [
        (
            "ivermectin",
            json!([52, 88, 31, 120, 64, 45]),
            json!([0, 0, 0, 0, 0, 0]),
            100.0,
            99.25,
            100.0,
            "susceptible",
        ),
        (
            "fenbendazole",
            json!([40, 75, 22, 130, 61, 48, 90]),
            json!([18, 41, 12, 77, 30, 20, 55]),
            45.71,
            41.13,
            50.13,
            "resistant",
        ),
        (
            "pyrantel_pamoate",
            json!([44, 51, 39, 60, 47]),
            json!([1, 0, 4, 0, 1]),
            97.51,
            94.27,
            99.50,
            "susceptible",
        ),
    ];
    for (active, before, after, reduction, low, high, class) in cases {
        let input = json!({"active": active, "parasite": "cyathostomins", "design": "paired", "before": before,
            "after": after, "multiplication_factor": 25});
        let answer = run("reduction", &input);
        near(&answer["reduction_percent"], reduction, 0.005);
        near(&answer["interval"]["low"], low, 0.005);
        near(&answer["interval"]["high"], high, 0.005);
        assert_eq!(answer["class"], class, "{active}");
    }
}

/// Source: ceil(ln 0.05 / ln lower), as tabled in the project's parasite reference, section 5.2.
#[test]
fn too_few_eggs_say_nothing() {
    for (lower, minimum) in [
        (80.0, 14),
        (88.0, 24),
        (90.0, 29),
        (92.0, 36),
        (95.0, 59),
        (96.0, 74),
    ] {
        let input = |eggs: u32| json!({"before": [eggs - 1, 1], "after": [0, 0], "expected_percent": 99.9, "lower_percent": lower});
        let answer = run("reduction", &input(minimum));
        assert_eq!(answer["minimum_eggs_before"], minimum);
        assert_eq!(
            answer["class"], "susceptible",
            "{minimum} eggs at {lower} %"
        );
        assert_eq!(
            run("reduction", &input(minimum - 1))["class"],
            "inconclusive"
        );
    }
}

#[test]
fn rising_counts_are_told_as_they_are() {
    let input = json!({"active": "fenbendazole", "before": [20, 31, 25, 40, 28], "after": [31, 40, 22, 55, 30]});
    let answer = run("reduction", &input);
    assert!(answer["reduction_percent"].as_f64().expect("a number") < 0.0);
    assert_eq!(answer["class"], "resistant");
    assert_eq!(answer["interval"]["method"], "gamma-delta");
}

#[test]
fn one_horse_is_no_herd() {
    let answer = run(
        "reduction",
        &json!({"active": "ivermectin", "before": [400], "after": [0]}),
    );
    assert_eq!(answer["class"], "inconclusive");
    assert_eq!(answer["warnings"][0]["code"], "one-horse");
}

#[test]
fn bad_tests_are_refused() {
    assert_eq!(
        refused(
            "reduction",
            &json!({"active": "ivermectin", "before": [1, 2], "after": [0]})
        ),
        "/after"
    );
    assert_eq!(
        refused(
            "reduction",
            &json!({"active": "ivermectin", "before": [0, 0], "after": [0, 1]})
        ),
        "/before"
    );
    assert_eq!(
        refused(
            "reduction",
            &json!({"active": "praziquantel", "before": [9, 9], "after": [0, 0]})
        ),
        "/active"
    );
    assert_eq!(
        refused("reduction", &json!({"before": [9, 9], "after": [0, 0]})),
        "/active"
    );
    let factors = json!({"active": "ivermectin", "before": [9, 9], "after": [0, 0], "multiplication_factor": [25, 25, 25]});
    assert_eq!(refused("reduction", &factors), "/multiplication_factor");
    let lower =
        json!({"before": [90, 90], "after": [0, 0], "expected_percent": 90, "lower_percent": 95});
    assert_eq!(refused("reduction", &lower), "/lower_percent");
}

/// Ten eggs under the microscope stay ten, however many a finer method would have seen.
#[test]
fn a_finer_method_afterwards_makes_no_more_eggs_before() {
    let input = json!({"active": "fenbendazole", "before": [5, 5], "after": [0, 0],
        "multiplication_factor": {"before": 25, "after": 5}});
    let answer = run("reduction", &input);
    assert_eq!(answer["minimum_eggs_before"], 29);
    assert_eq!(answer["class"], "inconclusive");
    assert_eq!(answer["warnings"][0]["code"], "too-few-eggs");
}

/// An operator's pack of bands, with the citation and the limit of the lowest.
fn bands(citation: &str, lowest: &str) -> Vec<(String, String)> {
    let text = format!(
        r#"
[pack]
subject = "egg_counts"
edition = "own"
[[source]]
id = "kaplan_trade"
citation = "{citation}"
[[band]]
id = "low_shedder"
shedder = "low"
above_epg = {lowest}
source = "kaplan_trade"
edition = "own"
mark = "proposal"
"#
    );
    vec![("yard.toml".to_owned(), text)]
}

#[test]
fn an_operators_source_takes_the_place_of_ours() {
    let rules = Rules::with(&bands("The yard's vet, 2026", "-1.0")).expect("a pack");
    let input = json!({"eggs_counted": 1, "multiplication_factor": 25});
    let answer = figure::run("egg-count", &input, &rules)
        .expect("a figure")
        .expect("no fault");
    assert_eq!(answer["sources"][0]["citation"], "The yard's vet, 2026");
}

#[test]
fn bands_that_leave_out_the_lowest_counts_are_refused() {
    let wrong = Rules::with(&bands("The yard's vet, 2026", "50.0")).expect_err("a wrong pack");
    assert_eq!(wrong.file, "yard.toml");
    assert!(wrong.reason.contains("below every count"), "{wrong}");
}
