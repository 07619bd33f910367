//! When the farrier should be back, and what must not wait.

use serde_json::{Value, json};
use whorl_care::figure::run;
use whorl_care::rules::Rules;

use crate::{flagged, foot, worked};

/// Leśniak et al. 2017 for shod horses, trade pages for the rest; the defaults within them are ours.
#[test]
fn suggests_the_interval_of_class_and_season() {
    for (fields, weeks, stretch, overdue) in [
        (
            json!({"foaled_on": "2026-04-01", "on": "2026-06-12"}),
            4,
            4,
            6,
        ),
        (
            json!({"foaled_on": "2025-04-01", "on": "2026-06-12", "shod": false}),
            5,
            6,
            8,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-06-12", "shod": true}),
            6,
            8,
            10,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-01-12", "shod": true}),
            6,
            8,
            10,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-06-12", "shod": false}),
            6,
            8,
            10,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-01-12", "shod": false}),
            8,
            10,
            12,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-01-12", "shod": false, "hemisphere": "south"}),
            6,
            8,
            10,
        ),
        (
            json!({"foaled_on": "2015", "on": "2026-07-12", "shod": false, "hemisphere": "south"}),
            8,
            10,
            12,
        ),
        // Shod or not, the shorter holds; a horse that is shod is grown.
        (json!({"foaled_on": "2015", "on": "2026-01-12"}), 6, 8, 10),
        (json!({"shod": true}), 6, 8, 10),
        // Born some day of 2024: it may still be one year old.
        (
            json!({"foaled_on": "2024", "on": "2026-01-12", "shod": false}),
            5,
            6,
            8,
        ),
    ] {
        let answer = foot(&fields);
        assert_eq!(answer["suggested_interval_weeks"], weeks, "{fields}");
        assert_eq!(answer["stretch_to_weeks"], stretch, "{fields}");
        assert_eq!(answer["overdue_after_weeks"], overdue, "{fields}");
    }
    assert!(foot(&json!({"shod": false}))["suggested_interval_weeks"].is_null());
    assert!(foot(&json!({"on": "2026-06-12"}))["suggested_interval_weeks"].is_null());
}

#[test]
fn a_finding_shortens_the_interval_and_a_flag_forbids_stretching() {
    let base = json!({"foaled_on": "2015", "on": "2026-06-12", "shod": true});
    let with = |field: &str, value: Value| {
        let mut input = base.clone();
        input[field] = value;
        foot(&input)
    };
    let rings = with(
        "findings",
        json!([{"finding": "divergent_rings", "severity": 2}]),
    );
    assert_eq!(rings["suggested_interval_weeks"], 4);
    assert_eq!(rings["stretch_to_weeks"], 4);
    assert_eq!(rings["interval_reasons"].as_array().map(Vec::len), Some(2));
    let mild = with("findings", json!([{"finding": "thrush", "severity": 1}]));
    assert_eq!(
        (&mild["suggested_interval_weeks"], &mild["stretch_to_weeks"]),
        (&json!(6), &json!(8))
    );
    let gone = with(
        "findings",
        json!([{"finding": "divergent_rings", "severity": 0}]),
    );
    assert_eq!(gone["suggested_interval_weeks"], 6);
    let mut underrun = worked();
    for (field, value) in base.as_object().expect("an object") {
        underrun[field] = value.clone();
    }
    let answer = foot(&underrun);
    assert_eq!(
        (
            &answer["suggested_interval_weeks"],
            &answer["stretch_to_weeks"]
        ),
        (&json!(6), &json!(6))
    );
}

/// American Farriers Journal 2202, horsesport.com: a nail in the frog of a lame horse is an emergency; superficial in the
/// sole of a sound one it is for the vet the same day. Obel 2 is severity 3 (ours).
#[test]
fn raises_red_flags() {
    let nail = foot(&json!({"lameness_aaep": 4,
        "findings": [{"finding": "puncture", "severity": 3, "region": "frog"}]}));
    assert_eq!(nail["urgency"], "U0");
    assert_eq!(nail["findings"][0]["red_flag"], true);
    assert!(flagged(&nail, "lame-at-walk"));
    let sole = foot(&json!({"lameness_aaep": 0,
        "findings": [{"finding": "puncture", "region": "sole, superficial"}]}));
    assert_eq!(sole["urgency"], "U1");
    assert_eq!(sole["flags"], json!([]));
    let laminitis = foot(&json!({"obel": 2}));
    assert_eq!(laminitis["findings"][0]["severity"], 3);
    assert_eq!(laminitis["urgency"], "U1");
    assert_eq!(foot(&json!({"obel": 0}))["findings"], json!([]));
    let shod = |on: &str| foot(&json!({"lameness_aaep": 2, "shod_on": "2026-06-01", "on": on}));
    assert!(flagged(&shod("2026-06-06"), "lame-after-shoeing"));
    assert!(!flagged(&shod("2026-06-07"), "lame-after-shoeing"));
    let foal =
        foot(&json!({"foaled_on": "2026-05-01", "on": "2026-06-12", "signs": ["tip_toe_stance"]}));
    assert!(flagged(&foal, "foal-tip-toe"));
}

const HEAD: &str = r#"
[pack]
subject = "hoof"
edition = "own"
[[source]]
id = "own"
citation = "Our own farrier"
"#;

fn with(rows: &str) -> Result<Rules, String> {
    let tail = "source = \"own\"\nedition = \"1\"\nmark = \"read\"\n";
    let file = ("own.toml".to_owned(), format!("{HEAD}{rows}\n{tail}"));
    Rules::with(&[file]).map_err(|wrong| wrong.to_string())
}

#[test]
fn a_farrier_brings_an_interval_and_an_impossible_pack_is_refused() {
    let interval = "[[interval]]\nid = \"interval-shod\"\nsays = \"shod by us\"\nmonths = { at_least = 24.0 }\nshod = true\n";
    let ours = with(&format!(
        "{interval}weeks = 5\nstretch_weeks = 5\noverdue_weeks = 7"
    ))
    .expect("sound");
    let input = json!({"foot": "LF", "shod": true});
    let answer = run("hoof", &input, &ours)
        .expect("the figure")
        .expect("an answer");
    assert_eq!(answer["suggested_interval_weeks"], 5);
    assert!(
        answer["interval_reasons"][0]
            .as_str()
            .is_some_and(|text| text.contains("shod by us"))
    );
    for (rows, word) in [
        (format!("{interval}weeks = 8\nstretch_weeks = 5\noverdue_weeks = 7"), "in that order"),
        (
            "[[heel_balance]]\nid = \"heels-sheared\"\ngrade = \"sheared\"\nrange = { at_least = 6.0 }".to_owned(),
            "must begin where",
        ),
        ("[[toe_target]]\nid = \"odd\"\nweight_lb = 1100.0\ntoe_in = 2.0".to_owned(), "no shorter toe"),
        ("[[growth]]\nid = \"growth-grown\"\ngrade = 21.0\nrange = { at_least = 48.0, below = 240.0 }".to_owned(), "10 mm"),
        ("[[amount]]\nid = \"wedge-at-once-deg\"\nvalue = 0.0".to_owned(), "above 0"),
        ("[[winter]]\nid = \"odd\"\nhemisphere = \"north\"\nmonths = [13]".to_owned(), "1 to 12"),
        ("[[cap]]\nid = \"odd\"\nfinding = \"crack\"\nfrom_severity = 9\nweeks = 4".to_owned(), "0 to 4"),
        ("[[noise]]\nid = \"toe_angle_deg\"\nreal = { }".to_owned(), "no bound"),
        (
            "[[flag]]\nid = \"odd\"\ncode = \"odd\"\nof = \"luck\"\nrange = { over = 1.0 }\nsays = \"odd\"".to_owned(),
            "luck",
        ),
    ] {
        let wrong = with(&rows).expect_err("a wrong pack");
        assert!(wrong.contains(word), "{wrong}");
        assert!(wrong.starts_with("own.toml, line "), "{wrong}");
    }
}
