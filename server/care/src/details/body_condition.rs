//! A body condition score.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::{Check, in_halves};

/// How fat or thin the horse is.
///
/// # Source
///
/// Henneke et al. (1983), *Equine Veterinary Journal* 15:371 (1 to 9); Carter et al. (2009), *The Veterinary Journal*
/// 179:204 (cresty neck, 0 to 5).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct BodyCondition {
    /// The Henneke score: 1 poor to 9 extremely fat, in halves.
    pub score: Option<f64>,
    /// The cresty neck score: 0 none to 5 drooping.
    pub cresty_neck: Option<u8>,
}

impl Typed for BodyCondition {
    fn example() -> Value {
        json!({"score": 5.5, "cresty_neck": 1})
    }

    fn check(&self, check: &mut Check<'_>) {
        if let Some(score) = self.score {
            check.that(
                (1.0..=9.0).contains(&score) && in_halves(score),
                "/score",
                format!("{score} is no Henneke score; 1 to 9, in halves"),
            );
        }
        if let Some(score) = self.cresty_neck {
            check.that(
                score <= 5,
                "/cresty_neck",
                format!("{score} is no cresty neck score; 0 to 5"),
            );
        }
        check.that(
            self.score.is_some() || self.cresty_neck.is_some(),
            "/score",
            "it is missing: give score, cresty_neck, or both",
        );
    }
}
