//! The trade's own units beside the metric ones that the record keeps.
//!
//! Signed details are metric only. Flags and visit sheets take `_in`, `_lb` and `_f` fields as well: [`to_metric`]
//! turns them into the record's own before they are read.

use serde_json::{Map, Value};

use crate::fault::{Faults, step};
use crate::kind::Kind;
use crate::unit::{CM_PER_IN, KG_PER_LB};

/// Millimetres in an inch, by definition.
pub(crate) const MM_PER_IN: f64 = 25.4;

/// Degrees Celsius of a temperature in degrees Fahrenheit.
#[must_use]
pub(crate) fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) * 5.0 / 9.0
}

/// How a trade unit becomes metric.
#[derive(Clone, Copy, Debug)]
enum Convert {
    InchesToMm,
    InchesToCm,
    PoundsToKg,
    FahrenheitToCelsius,
}

impl Convert {
    /// The metric value, to a hundredth: finer than any tape, scale or thermometer of the trade, so that every
    /// reading converts back to itself.
    fn apply(self, value: f64) -> f64 {
        let metric = match self {
            Self::InchesToMm => value * MM_PER_IN,
            Self::InchesToCm => value * CM_PER_IN,
            Self::PoundsToKg => value * KG_PER_LB,
            Self::FahrenheitToCelsius => celsius(value),
        };
        (metric * 100.0).round() / 100.0
    }
}

/// Whose field it is, the trade's name, the record's name, and the conversion.
const FIELDS: &[(Kind, &str, &str, Convert)] = &[
    (
        Kind::HoofCare,
        "toe_length_in",
        "toe_length_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "heel_length_medial_in",
        "heel_length_medial_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "heel_length_lateral_in",
        "heel_length_lateral_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "wall_height_medial_in",
        "wall_height_medial_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "wall_height_lateral_in",
        "wall_height_lateral_mm",
        Convert::InchesToMm,
    ),
    (Kind::HoofCare, "width_in", "width_mm", Convert::InchesToMm),
    (
        Kind::HoofCare,
        "length_in",
        "length_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "support_length_in",
        "support_length_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "frog_length_in",
        "frog_length_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "frog_width_in",
        "frog_width_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "sole_depth_in",
        "sole_depth_mm",
        Convert::InchesToMm,
    ),
    (
        Kind::HoofCare,
        "coronet_circumference_in",
        "coronet_circumference_mm",
        Convert::InchesToMm,
    ),
    (Kind::Weight, "weight_lb", "weight_kg", Convert::PoundsToKg),
    (
        Kind::Weight,
        "heart_girth_in",
        "heart_girth_cm",
        Convert::InchesToCm,
    ),
    (
        Kind::Weight,
        "body_length_in",
        "body_length_cm",
        Convert::InchesToCm,
    ),
    (Kind::Weight, "height_in", "height_cm", Convert::InchesToCm),
    (Kind::Weight, "neck_in", "neck_cm", Convert::InchesToCm),
    (
        Kind::Deworming,
        "dosed_for_lb",
        "dosed_for_kg",
        Convert::PoundsToKg,
    ),
    (
        Kind::Vitals,
        "temperature_f",
        "temperature_c",
        Convert::FahrenheitToCelsius,
    ),
    (
        Kind::Identity,
        "mature_weight_lb",
        "mature_weight_kg",
        Convert::PoundsToKg,
    ),
];

/// The details of a kind with every field in a trade unit turned into the record's own, at any depth.
///
/// An amendment's new details may be of any kind, so every field is known in them. What isn't a trade field stays as
/// it is; reading the details says what is wrong with it.
///
/// # Errors
///
/// A fault where both units are given for one quantity, or where the value is no number.
pub fn to_metric(kind: Kind, details: Value) -> Result<Value, Faults> {
    let mut faults = Faults::default();
    let metric = convert(kind, details, "", &mut faults);
    faults.or(metric)
}

fn convert(kind: Kind, value: Value, at: &str, faults: &mut Faults) -> Value {
    match value {
        Value::Array(items) => items
            .into_iter()
            .enumerate()
            .map(|(index, item)| convert(kind, item, &format!("{at}/{index}"), faults))
            .collect(),
        Value::Object(fields) => Value::Object(convert_fields(kind, &fields, at, faults)),
        other => other,
    }
}

fn convert_fields(
    kind: Kind,
    fields: &Map<String, Value>,
    at: &str,
    faults: &mut Faults,
) -> Map<String, Value> {
    let ours = |whose: Kind| whose == kind || kind == Kind::Amendment;
    let mut metric = Map::new();
    for (name, value) in fields {
        let pointer = format!("{at}{}", step(name));
        let trade = FIELDS
            .iter()
            .find(|(whose, from, _, _)| ours(*whose) && from == name);
        let Some((_, _, to, conversion)) = trade else {
            metric.insert(name.clone(), convert(kind, value.clone(), &pointer, faults));
            continue;
        };
        if fields.get(*to).is_some_and(|metric| !metric.is_null()) && !value.is_null() {
            faults.add(pointer, format!("give {name} or {to}, not both"));
        } else if let Some(number) = value.as_f64() {
            metric.insert((*to).to_owned(), conversion.apply(number).into());
        } else if !value.is_null() {
            faults.add(pointer, format!("{name} must be a number"));
        }
    }
    metric
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn fahrenheit(celsius: f64) -> f64 {
        celsius * 9.0 / 5.0 + 32.0
    }

    /// Worked by hand from the exact definitions; 3.25 in = 82.55 mm is a common table value of toe length.
    #[test]
    fn inches_pounds_and_fahrenheit_become_metric() {
        let visit = json!({"service": "trim", "next_in_weeks": 6,
            "feet": {"LF": {"after": {"toe_length_in": 3.25, "toe_angle_deg": 52}}}});
        let metric = json!({"service": "trim", "next_in_weeks": 6,
            "feet": {"LF": {"after": {"toe_length_mm": 82.55, "toe_angle_deg": 52}}}});
        assert_eq!(to_metric(Kind::HoofCare, visit), Ok(metric));
        let weight = json!({"weight_lb": 1100, "heart_girth_in": 74});
        let metric = json!({"weight_kg": 498.95, "heart_girth_cm": 187.96});
        assert_eq!(to_metric(Kind::Weight, weight), Ok(metric));
        let fever = json!({"reason": "slip", "details": {"temperature_f": 101.5}});
        let metric = json!({"reason": "slip", "details": {"temperature_c": 38.61}});
        assert_eq!(to_metric(Kind::Amendment, fever), Ok(metric));
    }

    #[test]
    fn leaves_a_trade_field_of_another_kind_to_be_refused_by_its_own_name() {
        let stray = json!({"temperature_f": 101.5, "weight_lb": null});
        assert_eq!(
            to_metric(Kind::Weight, stray),
            Ok(json!({"temperature_f": 101.5}))
        );
    }

    #[test]
    fn refuses_both_units_at_once_and_what_is_no_number() {
        let both = json!({"weight_lb": 1100, "weight_kg": 499});
        let faults = to_metric(Kind::Weight, both).unwrap_err();
        assert_eq!(faults.0[0].pointer, "/weight_lb");
        assert!(faults.0[0].detail.contains("not both"));
        let text = json!({"feet": {"RF": {"before": {"toe_length_in": "3 1/4"}}}});
        let faults = to_metric(Kind::HoofCare, text).unwrap_err();
        assert_eq!(faults.0[0].pointer, "/feet/RF/before/toe_length_in");
    }

    #[test]
    fn every_reading_of_the_trade_converts_back_to_itself() {
        for sixteenths in 1..=160 {
            let inches = f64::from(sixteenths) / 16.0;
            let back = Convert::InchesToMm.apply(inches) / MM_PER_IN;
            assert!(
                (back * 16.0 - f64::from(sixteenths)).abs() < 0.1,
                "{inches}"
            );
        }
        for tenths in 900..=1080 {
            let degrees = f64::from(tenths) / 10.0;
            let back = fahrenheit(Convert::FahrenheitToCelsius.apply(degrees));
            assert!((back - degrees).abs() < 0.05, "{degrees}");
        }
        for pounds in 10..=3000 {
            let back = Convert::PoundsToKg.apply(f64::from(pounds)) / KG_PER_LB;
            assert!((back - f64::from(pounds)).abs() < 0.05, "{pounds}");
        }
    }
}
