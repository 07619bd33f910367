//! The figure `growth`, ages and gestation against published numbers; each row names where its number comes from.

use chrono::NaiveDate;
use serde_json::{Value, json};
use whorl_care::fault::Faults;
use whorl_care::figure::growth::age::{AgeClass, class};
use whorl_care::figure::growth::gestation::gestation;
use whorl_care::figure::run;
use whorl_care::horse::BreedType;
use whorl_care::rules::Rules;
use whorl_care::when::PartialDate;

fn rules() -> Rules {
    Rules::built_in().expect("built-in packs are sound")
}

fn grow(input: &Value) -> Result<Value, Faults> {
    run("growth", input, &rules()).expect("the figure exists")
}

fn grown(input: &Value) -> Value {
    grow(input).unwrap_or_else(|faults| panic!("{input}: {faults}"))
}

fn number(answer: &Value, field: &str) -> f64 {
    answer[field]
        .as_f64()
        .unwrap_or_else(|| panic!("{field}: {answer}"))
}

#[track_caller]
fn near(got: f64, want: f64, within: f64) {
    assert!(
        (got - want).abs() <= within,
        "{got} is not {want} ± {within}"
    );
}

fn says(answer: &Value, word: &str) -> bool {
    let cautions = answer["cautions"].as_array().expect("a list");
    cautions
        .iter()
        .any(|one| one.as_str().is_some_and(|text| text.contains(word)))
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn partial(text: &str) -> PartialDate {
    text.parse().expect("a date, month or year")
}

/// The NRC 2007 curve worked with numpy from its constants (which are from memory), in percent of the grown weight.
#[test]
fn follows_the_curve() {
    let curve = [
        ("2024-03-01", 9.7),
        ("2024-04-01", 16.4),
        ("2024-05-01", 22.6),
        ("2024-06-01", 28.4),
        ("2024-07-01", 33.7),
        ("2024-08-01", 38.6),
        ("2024-09-01", 43.2),
        ("2024-12-01", 54.9),
        ("2025-03-01", 64.2),
        ("2025-09-01", 77.5),
        ("2026-03-01", 85.8),
        ("2027-03-01", 94.4),
    ];
    for (on, percent) in curve {
        let answer = grown(&json!({"foaled_on": "2024-03-01", "on": on, "mature_weight_kg": 500}));
        near(number(&answer, "percent_of_mature"), percent, 0.051);
        near(number(&answer, "expected_kg"), percent * 5.0, 0.3);
        assert!(answer["difference_percent"].is_null());
        assert!(says(&answer, "from memory"), "{answer}");
    }
}

/// KER (equinews.com, thehorse.com/117499) prints 10 % at birth, 43 % at six and 61 % at twelve months. The curve reads
/// 3 points more at twelve, which is why its constants are marked as remembered.
#[test]
fn agrees_with_the_printed_percentages_but_at_twelve_months() {
    for (on, percent, within) in [
        ("2024-03-01", 10.0, 0.5),
        ("2024-09-01", 43.0, 0.5),
        ("2025-03-01", 61.0, 3.3),
    ] {
        let answer = grown(&json!({"foaled_on": "2024-03-01", "on": on, "mature_weight_kg": 500}));
        near(number(&answer, "percent_of_mature"), percent, within);
    }
}

/// Modeling growth curves in Thoroughbred foals in Argentina: the abstract's polynomial, worked with numpy.
#[test]
fn follows_the_thoroughbreds_of_argentina_when_asked() {
    for (on, kg) in [
        ("2024-03-01", 58.8),
        ("2024-09-01", 252.0),
        ("2025-03-01", 367.4),
    ] {
        let answer = grown(
            &json!({"foaled_on": "2024-03-01", "on": on, "mature_weight_kg": 500,
            "curve": "thoroughbred_pasture"}),
        );
        near(number(&answer, "expected_kg"), kg, 0.05);
        near(number(&answer, "percent_of_mature"), kg / 5.0, 0.05);
    }
}

/// Worked by hand: 215 kg against 43.2 % of 520 kg (224.5 kg) are 4.2 % less.
#[test]
fn tells_how_far_a_weight_is_off() {
    let answer = grown(&json!({"foaled_on": "2026-04-20", "on": "2026-10-20",
        "mature_weight_kg": 520, "weight_kg": 215}));
    near(number(&answer, "difference_percent"), -4.2, 0.05);
    assert_eq!(answer["warnings"], json!([]));
    assert!(says(&answer, "within 3 kg"), "{answer}");
    let pounds = grown(&json!({"foaled_on": "2026-04-20", "on": "2026-10-20",
        "mature_weight_lb": 1146.4, "weight_lb": 474}));
    near(number(&pounds, "difference_percent"), -4.2, 0.05);
}

#[test]
fn questions_a_weight_that_does_not_fit() {
    let of = |weight_kg: f64| {
        grown(&json!({"foaled_on": "2026-04-20", "on": "2026-10-20",
            "mature_weight_kg": 500, "weight_kg": weight_kg}))
    };
    assert_eq!(of(300.0)["warnings"][0]["code"], "weight-off-the-curve");
    assert!(says(&of(300.0), "a proposal of ours"));
    let expected = number(&of(200.0), "expected_kg");
    assert_eq!(of(expected * 1.299)["warnings"], json!([]));
    assert_ne!(of(expected * 1.301)["warnings"], json!([]));
    assert_eq!(of(expected * 0.701)["warnings"], json!([]));
    assert_ne!(of(expected * 0.699)["warnings"], json!([]));
}

/// Terms of the trade (pages that agree): weaned at 4 to 6 months, yearling from 12 to 24 months. Grown and old are ours.
#[test]
fn names_the_age() {
    let growth = rules().growth;
    let of = |on: &str| class(partial("2024-03-10"), None, day(on), &growth);
    for (on, want) in [
        ("2024-03-10", AgeClass::Foal),
        ("2024-09-09", AgeClass::Foal),
        ("2024-09-10", AgeClass::Weanling),
        ("2025-03-09", AgeClass::Weanling),
        ("2025-03-10", AgeClass::Yearling),
        ("2026-03-09", AgeClass::Yearling),
        ("2026-03-10", AgeClass::TwoYearOld),
        ("2027-03-10", AgeClass::ThreeYearOld),
        ("2028-03-09", AgeClass::ThreeYearOld),
        ("2028-03-10", AgeClass::Adult),
        ("2044-03-09", AgeClass::Adult),
        ("2044-03-10", AgeClass::Senior),
    ] {
        assert_eq!(of(on), Some(want), "{on}");
    }
    assert_eq!(of("2024-03-09"), None);
}

#[test]
fn the_day_of_weaning_decides_where_it_is_known() {
    let growth = rules().growth;
    let of = |on: &str| {
        class(
            partial("2024-03-10"),
            Some(day("2024-08-01")),
            day(on),
            &growth,
        )
    };
    assert_eq!(of("2024-07-31"), Some(AgeClass::Foal));
    assert_eq!(of("2024-08-01"), Some(AgeClass::Weanling));
    assert_eq!(of("2025-03-10"), Some(AgeClass::Yearling));
    let late = class(
        partial("2024-03-10"),
        Some(day("2024-11-01")),
        day("2024-10-15"),
        &growth,
    );
    assert_eq!(late, Some(AgeClass::Foal));
}

/// Born on 20 December 2025: on 5 January 2026 a foal of 16 days, and officially a yearling north of the equator.
#[test]
fn counts_the_age_both_ways() {
    let answer =
        grown(&json!({"foaled_on": "2025-12-20", "on": "2026-01-05", "mature_weight_kg": 500}));
    assert_eq!(answer["age_class"], "foal");
    assert_eq!(answer["age_days"], 16);
    assert_eq!(answer["age_years"], 0);
    assert_eq!(
        answer["official_ages"],
        json!([
            {"counting": "northern", "years": 1, "age_class": "yearling", "note": null},
            {"counting": "southern", "years": 0, "age_class": "foal", "note": "from memory, check before relying on it: \
              southern registries make exceptions for foals born shortly before 1 August"},
            {"counting": "south_american", "years": 0, "age_class": "foal", "note": null},
        ])
    );
}

#[test]
fn says_what_a_vague_date_of_birth_leaves_open() {
    let of = |foaled_on: &str, on: &str| {
        grown(&json!({"foaled_on": foaled_on, "on": on, "mature_weight_kg": 500, "weight_kg": 200}))
    };
    let month = of("2024-03", "2026-09-01");
    assert!(says(&month, "the day of its birth is not known"), "{month}");
    assert_eq!(month["age_class"], "two_year_old");
    assert!(month["age_days"].is_null());
    let exact = number(&of("2024-03-16", "2026-09-01"), "expected_kg");
    near(number(&month, "expected_kg"), exact, 1.0);
    let year = of("2026", "2026-11-25");
    for field in [
        "expected_kg",
        "percent_of_mature",
        "difference_percent",
        "age_class",
    ] {
        assert!(year[field].is_null(), "{field}: {year}");
    }
    assert_eq!(year["warnings"][0]["code"], "age-uncertain", "{year}");
    let old = of("2021", "2026-11-25");
    assert_eq!(old["age_class"], "adult");
    assert!(says(&old, "holds until 48 months"), "{old}");
}

#[test]
fn refuses_what_cannot_be() {
    let base = json!({"foaled_on": "2026-04-20", "on": "2026-10-20", "mature_weight_kg": 520});
    for (field, value, pointer, word) in [
        ("on", json!("2026-04-19"), "/on", "before it was foaled"),
        (
            "weaned_on",
            json!("2026-01-01"),
            "/weaned_on",
            "before it was foaled",
        ),
        (
            "mature_weight_kg",
            json!(null),
            "/mature_weight_kg",
            "missing",
        ),
        (
            "mature_weight_kg",
            json!(5200),
            "/mature_weight_kg",
            "impossible",
        ),
        (
            "mature_weight_lb",
            json!(1100),
            "/mature_weight_lb",
            "not both",
        ),
        ("weight_kg", json!(-5), "/weight_kg", "not above zero"),
        ("weight_lb", json!(6000), "/weight_lb", "impossible"),
        ("curve", json!("gompertz"), "/curve", "known are nrc"),
        ("weight", json!(200), "/weight", "there is no field"),
        ("foaled_on", json!("April"), "/foaled_on", "not a date"),
    ] {
        let mut input = base.clone();
        input[field] = value;
        let faults = grow(&input).expect_err("refused");
        assert_eq!(faults.0[0].pointer, pointer, "{faults}");
        assert!(faults.0[0].detail.contains(word), "{faults}");
    }
}

/// Penn Vet field service: due 340 days from the last covering; 320 to 365 days are normal. 1 April 2026 and 340 days
/// are 7 March 2027 by any calendar. Aoki et al.: heavy draught mares carry 334.9 days.
#[test]
fn dates_a_pregnancy() {
    let growth = rules().growth;
    let dates = gestation(day("2026-04-01"), None, &growth).expect("a rule");
    assert_eq!(dates.watch_from, day("2027-02-15"));
    assert_eq!(dates.due_on, day("2027-03-07"));
    assert_eq!(dates.long_after, day("2027-04-01"));
    assert!(dates.usual_on.is_none());
    let draft = gestation(day("2026-04-01"), Some(BreedType::Draft), &growth).expect("a rule");
    assert_eq!(draft.due_on, dates.due_on);
    assert_eq!(draft.usual_on.map(|(on, _)| on), Some(day("2027-03-02")));
}

const HEAD: &str = r#"
[pack]
subject = "growth"
edition = "own"
[[source]]
id = "own"
citation = "Our own herd"
"#;

fn with(rows: &str) -> Result<Rules, String> {
    let tail = "source = \"own\"\nedition = \"1\"\nmark = \"read\"\n";
    let file = ("own.toml".to_owned(), format!("{HEAD}{rows}\n{tail}"));
    Rules::with(&[file]).map_err(|wrong| wrong.to_string())
}

#[test]
fn an_operator_brings_a_curve_and_an_impossible_pack_is_refused() {
    let rules = with("[[curve]]\nid = \"ours\"\nkg = [40.0, 30.0]\nuntil_months = 12.0");
    let input = json!({"foaled_on": "2024-03-01", "on": "2024-09-01", "mature_weight_kg": 400,
        "curve": "ours"});
    let answer = run("growth", &input, &rules.expect("sound")).expect("the figure exists");
    near(
        number(&answer.expect("an answer"), "expected_kg"),
        220.0,
        1e-9,
    );
    for (rows, word) in [
        (
            "[[curve]]\nid = \"ours\"\nkg = [40.0, -3.0]\nuntil_months = 12",
            "must rise",
        ),
        ("[[curve]]\nid = \"ours\"\nuntil_months = 12", "one of them"),
        (
            "[[curve]]\nid = \"ours\"\nuntil_months = 12\npercent = { birth = 20.0, rest = 90.0, rate_per_month = 0.1 }",
            "above the grown weight",
        ),
        (
            "[[age]]\nid = \"yearling\"\ngrade = \"yearling\"\nrange = { at_least = 13.0, below = 24.0 }",
            "must begin where",
        ),
        (
            "[[gestation]]\nid = \"gestation\"\nviable_day = 300\nwatch_day = 350\ndue_day = 340\nlong_day = 365",
            "in that order",
        ),
        ("[[counting]]\nid = \"moon\"\nmonth = 13", "1 to 12"),
        (
            "[[tolerance]]\nid = \"weight-off-the-curve\"\npercent = 0.0",
            "above 0",
        ),
        (
            "[[fit]]\nid = \"odd\"\ncurve = \"none\"\nmonths = { below = 1.0 }\nunder_kg = 1.0\nover_kg = 1.0",
            "no curve",
        ),
        (
            "[[breed]]\nid = \"odd\"\nbreed_type = \"pony\"\ndays = 30",
            "300 to 400",
        ),
    ] {
        let wrong = with(rows).expect_err("a wrong pack");
        assert!(wrong.contains(word), "{wrong}");
        assert!(wrong.starts_with("own.toml, line "), "{wrong}");
    }
}
