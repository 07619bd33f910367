//! The feet of the demo's horses from visit to visit: hind feet beside the fores, and numbers that differ a little, as those
//! of a hand gauge do.

use serde_json::{Map, Value, json};

/// Each hind foot, and the fore foot that it is like.
const HINDS: [(&str, &str); 2] = [("LH", "LF"), ("RH", "RF")];

/// Hind feet are steeper than fores by a couple of degrees (farriers' schools say 2 to 5), and about as long (Brooks et al.
/// 2010, 1215 horses: the means differ by less than 5 mm).
const STEEPER_DEG: f64 = 3.0;

/// Fills in what a farrier measures at their `visit`th visit of a series; the fores' numbers are given.
pub(super) fn measured(details: &mut Map<String, Value>, visit: usize) {
    let Some(Value::Object(feet)) = details.get_mut("feet") else {
        return;
    };
    for (hind, fore) in HINDS {
        if let Some(mut foot) = feet.get(fore).cloned() {
            if let Some(foot) = foot.as_object_mut() {
                foot.remove("findings");
            }
            each_number(&mut foot, &|name, number| match name {
                "toe_angle_deg" | "pastern_angle_deg" => number + STEEPER_DEG,
                _ => number,
            });
            feet.insert(hind.to_owned(), foot);
        }
    }
    for (n, foot) in feet.values_mut().enumerate() {
        let (length, angle) = (step(visit * 3 + n * 2), step(visit * 2 + n) / 2.0);
        each_number(foot, &|name, number| match name {
            "toe_length_mm" => number + length,
            "toe_angle_deg" | "pastern_angle_deg" => number + angle,
            _ => number,
        });
    }
}

/// One of -1, -0.5, 0, 0.5 and 1, by turns.
fn step(n: usize) -> f64 {
    [0.0, 0.5, -1.0, 1.0, -0.5][n % 5]
}

/// Changes the numbers that were measured before and after.
fn each_number(foot: &mut Value, changed: &dyn Fn(&str, f64) -> f64) {
    for when in ["before", "after"] {
        let measures = foot.get_mut(when).and_then(Value::as_object_mut);
        for (name, value) in measures.into_iter().flatten() {
            if let Some(number) = value.as_f64() {
                *value = json!(changed(name, number));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_foot_is_measured_and_hinds_are_steeper() {
        let fore =
            json!({"before": {"toe_length_mm": 91.0, "toe_angle_deg": 50.0, "method": "gauge"}});
        for visit in 0..10 {
            let mut details = Map::new();
            details.insert("feet".to_owned(), json!({"LF": fore, "RF": fore}));
            measured(&mut details, visit);
            let angle = |foot: &str| {
                details["feet"][foot]["before"]["toe_angle_deg"]
                    .as_f64()
                    .expect("an angle")
            };
            for (hind, fore) in HINDS {
                assert!(
                    (2.0..=5.0).contains(&(angle(hind) - angle(fore))),
                    "{visit} {hind}"
                );
            }
        }
    }
}
