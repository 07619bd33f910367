//! The figure `hoof` against the trade's published thresholds and worked values; each row names where its number comes
//! from. The foot of most tests is the reference's worked one: toe 85 mm at 52°, heels 32 mm at 45°, 110 mm of support.

mod balance;
mod growth;
mod input;
mod interval;
mod promises;

use std::sync::OnceLock;

use serde_json::{Value, json};
use whorl_care::fault::Faults;
use whorl_care::figure::run;
use whorl_care::rules::Rules;

/// Read once: reading all packs for every foot would take most of the tests' time.
pub(crate) fn rules() -> &'static Rules {
    static RULES: OnceLock<Rules> = OnceLock::new();
    RULES.get_or_init(|| Rules::built_in().expect("built-in packs are sound"))
}

pub(crate) fn figure(input: &Value) -> Result<Value, Faults> {
    run("hoof", input, rules()).expect("the figure exists")
}

/// The answer for a left fore foot with these fields.
#[track_caller]
pub(crate) fn foot(fields: &Value) -> Value {
    let mut input = json!({"foot": "LF"});
    for (field, value) in fields.as_object().expect("an object") {
        input[field] = value.clone();
    }
    figure(&input).unwrap_or_else(|faults| panic!("{input}: {faults}"))
}

pub(crate) fn worked() -> Value {
    json!({"foot": "LF", "toe_length_mm": 85, "toe_angle_deg": 52, "heel_angle_deg": 45,
        "heel_length_medial_mm": 32, "heel_length_lateral_mm": 32, "support_length_mm": 110})
}

#[track_caller]
pub(crate) fn near(answer: &Value, field: &str, want: f64, within: f64) {
    let got = answer[field]
        .as_f64()
        .unwrap_or_else(|| panic!("{field}: {answer}"));
    assert!(
        (got - want).abs() <= within,
        "{field}: {got} is not {want} ± {within}"
    );
}

pub(crate) fn flagged(answer: &Value, code: &str) -> bool {
    let flags = answer["flags"].as_array().expect("a list");
    flags.iter().any(|flag| flag["code"] == code)
}

pub(crate) fn says(answer: &Value, word: &str) -> bool {
    let cautions = answer["cautions"].as_array().expect("a list");
    cautions
        .iter()
        .any(|one| one.as_str().is_some_and(|text| text.contains(word)))
}
