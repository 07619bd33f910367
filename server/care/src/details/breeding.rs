//! Covering, pregnancy, foaling, loss and weaning.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::ids::HorseId;
use crate::kind::codes;

codes! {
    /// A step of breeding.
    BreedingStep {
        /// The mare was covered or inseminated.
        Covered = "covered",
        /// The mare was examined for pregnancy.
        PregnancyChecked = "pregnancy_checked",
        /// The mare foaled.
        Foaled = "foaled",
        /// The pregnancy was lost.
        Lost = "lost",
        /// The foal was weaned.
        Weaned = "weaned",
    }
}

/// Covered, checked in foal, foaled, lost or weaned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Breeding {
    /// What happened.
    pub step: BreedingStep,
    /// What a pregnancy check found; a check that doesn't say leaves the mare as she was.
    pub in_foal: Option<bool>,
    /// The foal, where it has a record of its own.
    pub foal_id: Option<HorseId>,
}

impl Typed for Breeding {
    fn example() -> Value {
        json!({"step": "foaled", "foal_id": "019682f0-7c00-7000-8000-0000000000f1"})
    }

    fn check(&self, check: &mut Check<'_>) {
        check.that(
            self.in_foal.is_none() || self.step == BreedingStep::PregnancyChecked,
            "/in_foal",
            format!("only a pregnancy check finds that, not {}", self.step),
        );
        let with_foal = matches!(self.step, BreedingStep::Foaled | BreedingStep::Weaned);
        check.that(
            self.foal_id.is_none() || with_foal,
            "/foal_id",
            format!("there is no foal yet at the step {}", self.step),
        );
    }
}
