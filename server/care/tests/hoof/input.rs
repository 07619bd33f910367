//! What is refused, and what stays unknown.

use serde_json::json;

use crate::{figure, foot, near, says};

#[test]
fn what_the_input_does_not_allow_is_null() {
    let answer = foot(&json!({}));
    for field in [
        "axis",
        "axis_difference_deg",
        "underrun_heel",
        "toe_to_heel",
        "heel_difference_mm",
        "heel_balance",
        "frog_ratio",
        "frog",
        "pair",
        "toe_length_target_mm",
        "toe_angle_expected_deg",
        "hairline_angle_deg",
        "growth_mm_per_week",
        "suggested_interval_weeks",
        "urgency",
        "grows_out",
    ] {
        assert!(answer[field].is_null(), "{field}: {answer}");
    }
    assert_eq!(answer["flags"], json!([]));
    assert!(says(&answer, "asks the vet"));
}

#[test]
fn inches_are_millimetres() {
    let inches = foot(
        &json!({"toe_length_in": 3.25, "heel_length_medial_in": 1.25, "heel_length_lateral_in": 1.25}),
    );
    let mm = foot(
        &json!({"toe_length_mm": 82.55, "heel_length_medial_mm": 31.75, "heel_length_lateral_mm": 31.75}),
    );
    near(
        &inches,
        "toe_to_heel",
        mm["toe_to_heel"].as_f64().expect("a ratio"),
        1e-12,
    );
}

#[test]
fn refuses_what_cannot_be() {
    for (fields, pointer, word) in [
        (
            json!({"toe_angle_deg": 140}),
            "/toe_angle_deg",
            "impossible",
        ),
        (
            json!({"toe_length_mm": 8.5}),
            "/toe_length_mm",
            "centimetres",
        ),
        (json!({"toe_length_in": 33}), "/toe_length_in", "impossible"),
        (
            json!({"toe_length_mm": 85, "toe_length_in": 3.3}),
            "/toe_length_in",
            "not both",
        ),
        (
            json!({"opposite": {"toe_angle_deg": 0}}),
            "/opposite/toe_angle_deg",
            "impossible",
        ),
        (
            json!({"opposite": {"toe_angel_deg": 50}}),
            "/opposite/toe_angel_deg",
            "no field",
        ),
        (json!({"weight_lb": 11000}), "/weight_lb", "impossible"),
        (json!({"growth_toe_mm": 126}), "/growth_toe_mm", "80 mm"),
        (
            json!({"toe_length_mm": 85, "toe_height_mm": 90}),
            "/toe_height_mm",
            "higher than it is long",
        ),
        (
            json!({"toe_length_mm": 85, "support_length_mm": 110, "diagonal_mm": 200}),
            "/diagonal_mm",
            "no triangle",
        ),
        (
            json!({"findings": [{"finding": "thrash"}]}),
            "/findings/0/finding",
            "no finding",
        ),
        (
            json!({"findings": [{"finding": "thrush", "severity": 7}]}),
            "/findings/0/severity",
            "no severity",
        ),
        (json!({"lameness_aaep": 6}), "/lameness_aaep", "0 to 5"),
        (json!({"obel": 5}), "/obel", "0 to 4"),
        (json!({"signs": ["sad"]}), "/signs/0", "sad"),
        (
            json!({"on": "2026-06-12", "trimmed_on": "2026-06-13"}),
            "/trimmed_on",
            "after the visit",
        ),
        (
            json!({"on": "2026-06-12", "foaled_on": "2027"}),
            "/foaled_on",
            "after the visit",
        ),
        (json!({"shod_on": "2026-06-13"}), "/on", "day of the visit"),
        (json!({"method": "thumb"}), "/method", "thumb"),
        (json!({"foot": "XX"}), "/foot", "XX"),
    ] {
        let mut input = json!({"foot": "LF"});
        for (field, value) in fields.as_object().expect("an object") {
            input[field] = value.clone();
        }
        let faults = figure(&input).expect_err("refused");
        assert_eq!(faults.0[0].pointer, pointer, "{faults}");
        assert!(faults.0[0].detail.contains(word), "{faults}");
    }
    assert_eq!(
        figure(&json!({})).expect_err("refused").0[0].pointer,
        "/foot"
    );
}
