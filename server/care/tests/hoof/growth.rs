//! What growth and time do to a foot: angles, defects, changes and noise.

use serde_json::{Value, json};

use crate::{flagged, foot, near, says, worked};

/// Plane geometry, worked in the reference: the hairline of the worked foot is 28.9°; equal growth of 12.8 mm costs 0.55°,
/// and none where both angles are alike.
#[test]
fn expects_the_angle_after_growth() {
    near(&foot(&worked()), "hairline_angle_deg", 28.9, 0.05);
    let mut grown = worked();
    grown["growth_toe_mm"] = json!(12.8);
    grown["growth_heel_mm"] = json!(12.8);
    near(&foot(&grown), "toe_angle_expected_deg", 51.45, 0.005);
    grown["toe_angle_deg"] = json!(50);
    grown["heel_angle_deg"] = json!(50);
    near(&foot(&grown), "toe_angle_expected_deg", 50.0, 1e-9);
    grown["growth_heel_mm"] = json!(null);
    assert!(foot(&grown)["toe_angle_expected_deg"].is_null());
}

/// 67.0 mm of height on an 85 mm toe are 52.02°; sides of 85, 110 and 88.4 mm 52.01° (worked in the reference).
#[test]
fn computes_angles_that_were_not_measured() {
    let by = |more: Value| {
        let mut input =
            json!({"toe_length_mm": 85, "pastern_angle_deg": 52, "support_length_mm": 110});
        for (field, value) in more.as_object().expect("an object") {
            input[field] = value.clone();
        }
        foot(&input)
    };
    near(
        &by(json!({"toe_height_mm": 67.0})),
        "axis_difference_deg",
        0.02,
        0.01,
    );
    near(
        &by(json!({"diagonal_mm": 88.4})),
        "axis_difference_deg",
        0.01,
        0.01,
    );
    near(
        &by(json!({"toe_height_mm": 67.0, "toe_angle_deg": 55})),
        "axis_difference_deg",
        3.0,
        1e-9,
    );
    assert!(says(
        &by(json!({"toe_height_mm": 67.0})),
        "computed from lengths"
    ));
}

/// Kolstrung et al. 2012: 2.1 mm a week in grown mares; the other ages are ours.
#[test]
fn gives_the_growth_of_its_age() {
    for (foaled_on, rate) in [
        ("2026-04-01", 3.5),
        ("2025-12-01", 3.0),
        ("2025-05-01", 2.8),
        ("2023-05-01", 2.3),
        ("2015-05-01", 2.1),
        ("2005-05-01", 1.4),
    ] {
        let answer = foot(&json!({"foaled_on": foaled_on, "on": "2026-06-12"}));
        near(&answer, "growth_mm_per_week", rate, 1e-9);
    }
    assert!(foot(&json!({"on": "2026-06-12"}))["growth_mm_per_week"].is_null());
    assert!(
        foot(&json!({"foaled_on": "2024", "on": "2026-06-12"}))["growth_mm_per_week"].is_null()
    );
    // 12.6 mm in six weeks (the paper rounds to 13).
    let measured =
        foot(&json!({"trimmed_on": "2026-05-01", "on": "2026-06-12", "growth_toe_mm": 12.6}));
    near(&measured, "growth_mm_per_week", 2.1, 1e-9);
}

/// A defect 85 mm up at 9 mm a month needs 9.44 months (worked in the reference).
#[test]
fn tells_when_a_defect_has_grown_out() {
    let answer = foot(
        &json!({"trimmed_on": "2026-01-01", "on": "2026-01-29", "defect_above_ground_mm": 85,
        "growth_toe_mm": 9.0 * 28.0 / 30.436_875}),
    );
    near(
        &answer["grows_out"],
        "weeks",
        9.444 * 30.436_875 / 7.0,
        0.01,
    );
    let weeks = answer["grows_out"]["weeks"].as_f64().expect("weeks");
    near(&answer["grows_out"], "low_weeks", weeks * 0.8, 1e-9);
    near(&answer["grows_out"], "high_weeks", weeks * 1.2, 1e-9);
    assert_eq!(answer["grows_out"]["on"], "2026-11-12");
}

/// JEVS 2022;115:104028: the coronary band is taped to ± 2 mm, so −6 mm over 7 weeks is real and −2 mm is not. A change
/// of an angle under 2° is noise (Guelph thesis); over 5° between visits it is for the vet (ours).
#[test]
fn tells_a_change_from_noise() {
    let change = |before: Value, now: Value| {
        let mut input = now;
        input["method"] = json!("tape");
        input["previous"] = before;
        input["previous"]["method"] = json!("tape");
        foot(&input)
    };
    for (field, before, now, real) in [
        ("coronet_circumference_mm", 366.0, 360.0, true),
        ("coronet_circumference_mm", 362.0, 360.0, false),
        ("toe_angle_deg", 52.0, 50.1, false),
        ("toe_angle_deg", 52.0, 50.0, true),
        ("toe_length_mm", 83.0, 85.0, false),
        ("toe_length_mm", 83.0, 86.0, true),
    ] {
        let answer = change(json!({ field: before }), json!({ field: now }));
        assert_eq!(answer["changes"][0]["measure"], field);
        assert_eq!(answer["changes"][0]["real"], real, "{field} {before} {now}");
    }
    let turned = |now: f64| {
        change(
            json!({"toe_angle_deg": 52.0}),
            json!({"toe_angle_deg": now}),
        )
    };
    assert!(!flagged(&turned(47.0), "angle-changed"));
    assert!(flagged(&turned(46.9), "angle-changed"));
}
