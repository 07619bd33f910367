use serde_json::{Value, json};
use whorl_care::details::to_metric;
use whorl_care::kind::Kind;

use super::*;

fn read_short(field: &str, text: &str) -> Result<(String, f64), String> {
    read(field, text, false)
}

#[test]
fn quantities_are_read_with_their_unit() {
    for (field, text, wanted, number) in [
        ("toe_length_mm", "84mm", "toe_length_mm", 84.0),
        ("toe_length_mm", "84.5 mm", "toe_length_mm", 84.5),
        ("toe_length_mm", "8.37cm", "toe_length_mm", 83.7),
        ("toe_length_mm", "3.25in", "toe_length_in", 3.25),
        ("toe_length_mm", "3 1/4\"", "toe_length_in", 3.25),
        ("toe_length_mm", "3-3/8 IN", "toe_length_in", 3.375),
        ("toe_length_mm", "3/4in", "toe_length_in", 0.75),
        ("toe_angle_deg", "52", "toe_angle_deg", 52.0),
        ("toe_angle_deg", "52.5°", "toe_angle_deg", 52.5),
        ("weight_kg", "510kg", "weight_kg", 510.0),
        ("weight_kg", "1125lb", "weight_lb", 1125.0),
        ("weight_kg", "1125 LBS", "weight_lb", 1125.0),
        ("heart_girth_cm", "1.88m", "heart_girth_cm", 188.0),
        ("heart_girth_cm", "74in", "heart_girth_in", 74.0),
        ("height_cm", "16.1hh", "height_in", 65.0),
        ("height_cm", "15 hh", "height_in", 60.0),
        ("temperature_c", "38.5C", "temperature_c", 38.5),
        ("temperature_c", "101.3F", "temperature_f", 101.3),
        ("temperature_c", "101.3 °f", "temperature_f", 101.3),
        ("dose_mg", "1.1g", "dose_mg", 1100.0),
        ("dose_ml", "1", "dose_ml", 1.0),
        ("dose_ml", "2cc", "dose_ml", 2.0),
        ("dose_ml", "0.125ml", "dose_ml", 0.125),
        ("pulse_bpm", "36/min", "pulse_bpm", 36.0),
        ("onset_hours", "30min", "onset_hours", 0.5),
        ("eggs_counted", "9", "eggs_counted", 9.0),
        ("dose_ml", "-1ml", "dose_ml", -1.0),
    ] {
        assert_eq!(
            read_short(field, text),
            Ok((wanted.to_owned(), number)),
            "{text}"
        );
    }
}

#[test]
fn a_number_alone_is_met_with_the_question_which_unit() {
    for (field, text, question) in [
        ("toe_length_mm", "84", "84 of what: mm, cm or in?"),
        ("weight_kg", "1125", "1125 of what: kg or lb?"),
        ("temperature_c", "101", "101 of what: c or f?"),
        ("dose_mg", "1", "1 of what: mg or g?"),
    ] {
        assert_eq!(read_short(field, text), Err(question.to_owned()));
        assert!(read(field, text, true).is_ok(), "the name says the unit");
    }
}

#[test]
fn what_is_no_quantity_is_refused() {
    for (field, text) in [
        ("weight_kg", "510 stone"),
        ("weight_kg", "kg"),
        ("weight_kg", ""),
        ("weight_kg", "1,125lb"),
        ("weight_kg", "5e2kg"),
        ("weight_kg", "inf kg"),
        ("weight_kg", "NaN"),
        ("weight_kg", "5.1.0kg"),
        ("weight_kg", ".5kg"),
        ("weight_kg", "99999999999999999999999kg"),
        ("toe_length_mm", "84,5mm"),
        ("toe_length_mm", "3 5/4in"),
        ("toe_length_mm", "3 1/0in"),
        ("toe_length_mm", "3.5 1/4in"),
        ("toe_length_mm", "3 1/4/2in"),
        ("toe_length_mm", "84mm 3"),
        ("height_cm", "15.4hh"),
        ("height_cm", "15.hh"),
        ("toe_length_mm", "16hh"),
        ("eggs_counted", "9 eggs"),
    ] {
        assert!(read_short(field, text).is_err(), "{field} {text}");
        assert!(read(field, text, true).is_err(), "{field} {text}");
    }
}

/// The client's trade names are those that the care engine knows: each becomes the record's own field.
#[test]
fn the_care_engine_takes_every_trade_name() {
    let inner = |details: Value| json!({"feet": {"LF": {"after": details}}});
    for (kind, field) in [
        (Kind::Weight, "weight_kg"),
        (Kind::Weight, "heart_girth_cm"),
        (Kind::Weight, "body_length_cm"),
        (Kind::Weight, "height_cm"),
        (Kind::Weight, "neck_cm"),
        (Kind::Vitals, "temperature_c"),
        (Kind::Deworming, "dosed_for_kg"),
        (Kind::Identity, "mature_weight_kg"),
        (Kind::HoofCare, "toe_length_mm"),
        (Kind::HoofCare, "sole_depth_mm"),
        (Kind::HoofCare, "coronet_circumference_mm"),
    ] {
        let [_, trade] = names(field).try_into().expect("two names");
        let details = json!({ (trade): 100.0 });
        let (details, at) = if kind == Kind::HoofCare {
            (inner(details), format!("/feet/LF/after/{field}"))
        } else {
            (details, format!("/{field}"))
        };
        let metric = to_metric(kind, details).expect("converted");
        assert!(metric.pointer(&at).is_some(), "{field}: {metric}");
    }
}

#[test]
fn quantities_are_called_without_their_unit() {
    assert_eq!(bare("toe_length_mm"), Some("toe_length"));
    assert_eq!(bare("strongyle_epg"), None);
    assert_eq!(bare("next_in_weeks"), None);
    assert_eq!(bare("lot_number"), None);
    assert_eq!(hint("temperature_c").as_deref(), Some("c|f"));
}
