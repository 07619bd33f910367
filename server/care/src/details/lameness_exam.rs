//! A lameness exam.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::{Check, in_halves};
use crate::fault::step;
use crate::kind::{Foot, codes};

codes! {
    /// The scale of a lameness grade. Grades of different scales are never converted.
    LamenessScale {
        /// The AAEP's: 0 sound to 5 minimal weight-bearing.
        Aaep = "aaep_0_5",
        /// The one used in Britain: 0 sound to 10 non-weight-bearing.
        Ten = "uk_0_10",
        /// Obel's for laminitis: 0 sound to 4 moves only if forced.
        Obel = "obel_0_4",
        /// The modified Obel sum for laminitis: 0 to 12.
        ModifiedObel = "modified_obel_0_12",
    }
}

impl LamenessScale {
    /// Its highest grade.
    #[must_use]
    pub const fn highest(self) -> f64 {
        match self {
            Self::Aaep => 5.0,
            Self::Ten => 10.0,
            Self::Obel => 4.0,
            Self::ModifiedObel => 12.0,
        }
    }
}

/// How lame the horse goes, limb by limb.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct LamenessExam {
    /// The scale of the grades.
    pub scale: LamenessScale,
    /// The grade of each leg that was graded; halves are taken.
    pub limbs: BTreeMap<Foot, f64>,
    /// How it was looked at: gait, ground, straight or circle.
    pub conditions: Option<String>,
}

impl Typed for LamenessExam {
    fn example() -> Value {
        json!({
            "scale": "aaep_0_5",
            "limbs": {"LF": 2.0, "RF": 0.0},
            "conditions": "Trot in hand on hard ground, then lunged on both reins."
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.that(
            !self.limbs.is_empty(),
            "/limbs",
            "grade at least one leg: LF, RF, LH, RH",
        );
        let highest = self.scale.highest();
        for (foot, grade) in &self.limbs {
            check.that(
                (0.0..=highest).contains(grade) && in_halves(*grade),
                &format!("/limbs{}", step(foot.code())),
                format!(
                    "{grade} is no grade of {}; 0 to {highest}, in halves",
                    self.scale
                ),
            );
        }
        check.long("/conditions", self.conditions.as_deref());
    }
}
