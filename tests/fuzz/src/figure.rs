//! The figures: the first line names one, the rest is what it is asked.

use std::sync::LazyLock;

use serde_json::Value;
use whorl_care::figure::dose::{self, Answer as Dose};
use whorl_care::figure::due::Answer as Due;
use whorl_care::figure::egg_count::Answer as EggCount;
use whorl_care::figure::run as compute;
use whorl_care::figure::weight::Answer as Weight;
use whorl_care::rules::Rules;
use whorl_contract::canonical;

use crate::halves;

static RULES: LazyLock<Rules> =
    LazyLock::new(|| Rules::built_in().expect("built-in packs are sound"));

/// Takes up what binary fractions round.
const ROUNDING: f64 = 1e-6;

/// A figure refuses or answers; it answers the same twice, in numbers that JSON can hold, and never with what can't be.
pub(crate) fn run(bytes: &[u8]) {
    let Some((name, document)) = halves(bytes) else {
        return;
    };
    let Ok(document) = canonical::read(document) else {
        return;
    };
    let Some(answered) = compute(name, &document, &RULES) else {
        return;
    };
    assert_eq!(compute(name, &document, &RULES).as_ref(), Some(&answered));
    match answered {
        Err(faults) => assert!(!faults.0.is_empty(), "refused without a reason"),
        Ok(answer) => {
            canonical::write(&answer).expect("an answer has a canonical form");
            judge(name, &document, &answer);
        }
    }
}

fn judge(name: &str, document: &Value, answer: &Value) {
    match name {
        "dose" => dose_of(document, &read(answer)),
        "egg-count" => {
            let eggs: EggCount = read(answer);
            assert!(eggs.low_epg >= 0.0 && eggs.low_epg <= eggs.epg && eggs.epg <= eggs.high_epg);
        }
        "weight" => {
            let weight: Weight = read(answer);
            assert!(weight.low_kg > 0.0 && weight.low_kg <= weight.weight_kg);
            assert!(weight.weight_kg <= weight.high_kg);
            // The heaviest horse on record had 1,524 kg.
            assert!(weight.weight_kg < 1600.0, "{} kg", weight.weight_kg);
        }
        "due" => drop(read::<Due>(answer)),
        _ => {}
    }
}

fn read<T: serde::de::DeserializeOwned>(answer: &Value) -> T {
    serde_json::from_value(answer.clone()).expect("an answer reads as one")
}

/// No amount with a refusal; else an amount that is the label's for this weight, not below it, and not over the ceiling.
fn dose_of(document: &Value, answer: &Dose) {
    let amounts = [
        answer.dose_mg,
        answer.setting_kg,
        answer.setting_lb,
        answer.product_g,
        answer.product_ml,
        answer.given_mg,
        answer.given_mg_per_kg,
    ];
    if answer.refused {
        assert!(
            amounts.iter().all(Option::is_none),
            "a refusal with an amount"
        );
        assert!(answer.steps.is_empty() && answer.syringes.is_none());
        assert!(!answer.warnings.is_empty(), "refused without a reason");
        return;
    }
    let input: dose::Input = read(document);
    let pack = &RULES.dewormers;
    let active = pack.active(&answer.active).expect("an active of the pack");
    let labels = pack.dose.iter().filter(|dose| dose.active == active.id);
    let highest = labels.map(|dose| dose.mg_per_kg).fold(0.0, f64::max);
    for amount in amounts.into_iter().flatten() {
        assert!(amount > 0.0, "an amount of {amount}");
    }
    let label = answer.dose_mg_per_kg.expect("a dose");
    assert!(
        label <= highest * (1.0 + ROUNDING),
        "{label} over {highest}"
    );
    let need = answer.dose_mg.expect("a dose");
    assert!((need - label * answer.weight_kg).abs() <= ROUNDING * need);
    if let Some(times) = answer.given_to_label {
        assert!(times >= 1.0 - ROUNDING, "{times} of the label's dose");
        assert!(
            times <= active.ceiling.refuse_above + ROUNDING,
            "{times} over the ceiling"
        );
    }
    if let Some(weight) = input.weight_kg {
        assert!(
            (weight - answer.weight_kg).abs() <= ROUNDING * weight,
            "another weight"
        );
    }
}
