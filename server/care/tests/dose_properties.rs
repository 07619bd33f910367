//! What must hold of every dose: never below the label, never less for a heavier horse, never over a ceiling.

use std::sync::LazyLock;

use proptest::prelude::*;
use serde_json::json;
use whorl_care::figure::dose::{Answer, Input, dose};
use whorl_care::rules::Rules;

static RULES: LazyLock<Rules> =
    LazyLock::new(|| Rules::built_in().expect("built-in packs are sound"));

/// A syringe as a person may describe it.
#[derive(Clone, Debug)]
struct Syringe {
    percent: f64,
    holds: Holds,
    mark: (&'static str, f64),
}

/// What it is said to hold.
#[derive(Clone, Debug)]
enum Holds {
    Unknown,
    Grams(f64),
    /// So many marks, give or take what labels round.
    Marks(u32, f64),
}

fn syringes() -> impl Strategy<Value = Syringe> {
    let mark = prop_oneof![
        (5.0..150.0f64).prop_map(|size| ("mark_kg", size)),
        (10.0..350.0f64).prop_map(|size| ("mark_lb", size)),
        Just(("mark_kg", 50.0)),
        Just(("mark_lb", 250.0)),
        Just(("mark_lb", 100.0)),
    ];
    let holds = prop_oneof![
        1 => Just(Holds::Unknown),
        1 => (1.0..80.0f64).prop_map(Holds::Grams),
        4 => (1..40u32, 0.985..1.015f64).prop_map(|(marks, share)| Holds::Marks(marks, share)),
    ];
    (0.5..60.0f64, holds, mark).prop_map(|(percent, holds, mark)| Syringe {
        percent,
        holds,
        mark,
    })
}

impl Syringe {
    fn mark_kg(&self) -> f64 {
        let (unit, size) = self.mark;
        if unit == "mark_lb" {
            size * 0.453_592_37
        } else {
            size
        }
    }

    /// What one gram treats at the dose that the marks stand for, in kilograms.
    fn kg_per_gram(&self, active: &str) -> f64 {
        let active = RULES.dewormers.active(active).expect("an active");
        let salt = active.base_in_salt.as_ref();
        let factor = salt
            .filter(|_| self.percent >= 30.0)
            .map_or(1.0, |salt| salt.factor);
        self.percent * 10.0 * factor / active.marks_go_by.expect("marks")
    }

    fn content_g(&self, active: &str) -> Option<f64> {
        match self.holds {
            Holds::Unknown => None,
            Holds::Grams(grams) => Some(grams),
            Holds::Marks(marks, share) => {
                Some(f64::from(marks) * self.mark_kg() * share / self.kg_per_gram(active))
            }
        }
    }
}

/// Active, parasite, regimen, and how many times its marks' dose that is.
fn uses() -> impl Strategy<Value = (&'static str, &'static str, &'static str, f64)> {
    prop_oneof![
        Just(("ivermectin", "strongyles", "single", 1.0)),
        Just(("moxidectin", "strongyles", "single", 1.0)),
        Just(("pyrantel_pamoate", "strongyles", "single", 1.0)),
        Just(("pyrantel_pamoate", "tapeworm", "single", 2.0)),
        Just(("fenbendazole", "strongyles", "single", 1.0)),
        Just(("fenbendazole", "strongyles", "larvicidal", 2.0)),
        Just(("oxibendazole", "threadworm", "single", 1.5)),
    ]
}

fn give(
    (active, parasite, regimen, _): (&str, &str, &str, f64),
    kg: f64,
    syringe: &Syringe,
) -> Answer {
    let mut product =
        json!({"concentration_percent": syringe.percent, syringe.mark.0: syringe.mark.1});
    if let Some(content_g) = syringe.content_g(active) {
        product["content_g"] = json!(content_g);
    }
    let input: Input = serde_json::from_value(json!({
        "active": active, "parasite": parasite, "regimen": regimen, "weight_kg": kg, "weight_from": "scale",
        "on": "2027-05-01", "foaled_on": "2015", "product": product
    }))
    .expect("an input");
    dose(&input, &RULES).expect("no fault")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn a_heavier_horse_never_gets_less(of in uses(), kg in 20.0..790.0f64, more in 0.0..200.0f64, syringe in syringes()) {
        let light = give(of, kg, &syringe);
        let heavy = give(of, (kg + more).min(800.0), &syringe);
        if !light.refused && !heavy.refused {
            prop_assert!(heavy.dose_mg >= light.dose_mg);
            prop_assert!(heavy.setting_kg >= light.setting_kg);
            // Six syringes emptied and eighteen marks of three to a syringe are the same but for binary rounding.
            let same = |amount: Option<f64>| amount.map(|amount| amount * (1.0 + 1e-12));
            prop_assert!(same(heavy.given_mg) >= light.given_mg);
            prop_assert!(heavy.syringes >= light.syringes);
            prop_assert!(heavy.syringes_a_day >= light.syringes_a_day);
            prop_assert!(heavy.product_g >= light.product_g);
        }
    }

    #[test]
    fn no_setting_is_below_the_horse_or_the_label(of in uses(), kg in 20.0..800.0f64, syringe in syringes()) {
        let answer = give(of, kg, &syringe);
        if !answer.refused {
            let setting = answer.setting_kg.expect("a setting");
            prop_assert!(setting >= kg * of.3 * (1.0 - 1e-8), "{setting} for {kg}");
            let (given, label) = (answer.given_mg_per_kg.expect("given"), answer.dose_mg_per_kg.expect("a label"));
            prop_assert!(given >= label * (1.0 - 1e-8), "{given} under {label}");
        }
    }

    /// The steps of a day add up to its setting, no step is more than a syringe holds, and what a mark less would give
    /// is too little.
    #[test]
    fn the_steps_add_up_and_no_mark_is_wasted(of in uses(), kg in 20.0..800.0f64, syringe in syringes()) {
        let answer = give(of, kg, &syringe);
        if let Some(setting) = answer.setting_kg.filter(|_| !answer.refused) {
            if !answer.steps.is_empty() {
                let sum: f64 = answer.steps.iter().map(|step| f64::from(step.syringes) * step.setting_kg).sum();
                prop_assert!((sum - setting).abs() < 1e-6 * setting);
                let count: u32 = answer.steps.iter().map(|step| step.syringes).sum();
                prop_assert_eq!(Some(count), answer.syringes_a_day);
            }
            let whole = syringe.content_g(of.0).unwrap_or(0.0) * syringe.kg_per_gram(of.0);
            prop_assert!(setting < kg * of.3 + syringe.mark_kg().max(whole) + 1e-6);
        }
    }

    #[test]
    fn no_dose_goes_over_its_ceiling(of in uses(), kg in 20.0..800.0f64, syringe in syringes()) {
        let answer = give(of, kg, &syringe);
        if let Some(times) = answer.given_to_label {
            let active = RULES.dewormers.active(of.0).expect("an active");
            prop_assert!(times <= active.ceiling.refuse_above + 1e-6);
        }
    }

    /// A course takes no more syringes than its days taken one by one, and no fewer than one day.
    #[test]
    fn a_course_needs_between_one_day_and_all_days(kg in 20.0..800.0f64, syringe in syringes()) {
        let answer = give(("fenbendazole", "strongyles", "larvicidal", 2.0), kg, &syringe);
        if let (Some(a_day), Some(course)) = (answer.syringes_a_day, answer.syringes) {
            prop_assert!(a_day <= course && course <= a_day * 5);
        }
    }
}

/// The properties speak of doses that are given: most of these syringes must give one.
#[test]
fn most_of_these_syringes_give_a_dose() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;

    let mut runner = TestRunner::deterministic();
    let cases = (uses(), 20.0..800.0f64, syringes());
    let given = (0..500)
        .filter(|_| {
            let case = cases.new_tree(&mut runner).expect("a case").current();
            !give(case.0, case.1, &case.2).refused
        })
        .count();
    assert!(given > 250, "{given} of 500");
}
