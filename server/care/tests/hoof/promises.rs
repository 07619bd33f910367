//! What holds for any foot.

use proptest::prelude::*;
use serde_json::json;
use whorl_care::figure::hoof::interval::{Wearer, suggest};

use crate::{foot, rules};

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Swapping the feet of a pair, or the sides of a foot, changes no comparison.
    #[test]
    fn comparisons_have_no_favourite(a in 40.0..65.0_f64, b in 40.0..65.0_f64, m in 20.0..50.0_f64, l in 20.0..50.0_f64) {
        let this = foot(&json!({"toe_angle_deg": a, "opposite": {"toe_angle_deg": b},
            "heel_length_medial_mm": m, "heel_length_lateral_mm": l}));
        let that = foot(&json!({"toe_angle_deg": b, "opposite": {"toe_angle_deg": a},
            "heel_length_medial_mm": l, "heel_length_lateral_mm": m}));
        prop_assert_eq!(&this["pair"], &that["pair"]);
        prop_assert_eq!(&this["heel_difference_mm"], &that["heel_difference_mm"]);
        prop_assert_eq!(&this["heel_balance"], &that["heel_balance"]);
    }

    /// A heavier horse has no shorter usual toe, and every toe gets a number.
    #[test]
    fn a_heavier_horse_has_no_shorter_toe(light in 60.0..1400.0_f64, more in 0.0..100.0_f64) {
        let target = |weight_kg: f64| {
            foot(&json!({"weight_kg": weight_kg}))["toe_length_target_mm"].as_f64().expect("a target")
        };
        prop_assert!(target(light) <= target(light + more) + 1e-9);
    }
}

#[test]
fn the_interval_never_grows_with_a_finding_or_a_flag() {
    let rules = rules();
    let codes: Vec<&str> = rules.hoof_findings.codes().collect();
    for foaled_on in ["2026-03", "2025-06", "2016", "2000"] {
        for (shod, on) in [
            (Some(true), "2026-07-01"),
            (Some(false), "2026-12-20"),
            (None, "2026-12-20"),
        ] {
            let plain = Wearer {
                foaled_on: Some(foaled_on.parse().expect("a date")),
                on: Some(on.parse().expect("a date")),
                shod,
                ..Wearer::default()
            };
            let before = suggest(&plain, rules).expect("an interval");
            for code in &codes {
                for severity in 0..=4 {
                    let mut found = plain.clone();
                    let judged = rules.hoof_findings.judge(code, Some(severity), None);
                    found.add(&[judged.expect("a finding")]);
                    let after = suggest(&found, rules).expect("an interval");
                    assert!(after.weeks <= before.weeks, "{code} {severity}");
                    assert!(
                        after.stretch_weeks <= before.stretch_weeks,
                        "{code} {severity}"
                    );
                    assert!(
                        after.overdue_weeks <= before.overdue_weeks,
                        "{code} {severity}"
                    );
                    assert!(
                        after.weeks <= after.stretch_weeks
                            && after.stretch_weeks <= after.overdue_weeks
                    );
                }
            }
        }
    }
}
