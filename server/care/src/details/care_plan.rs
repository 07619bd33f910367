//! Standing orders of a vet or farrier.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::code::Active;
use crate::kind::{Role, codes};

codes! {
    /// What a care plan is about.
    Domain {
        /// Hoof care.
        Hoof = "hoof",
        /// Vaccination.
        Vaccination = "vaccination",
        /// Parasite control.
        Parasite = "parasite",
        /// Teeth.
        Dental = "dental",
        /// Drugs.
        Medication = "medication",
    }
}

/// Details of `care_plan`: what a vet or farrier orders for this horse, and who may carry it out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct CarePlan {
    /// What it is about.
    pub domain: Domain,
    /// To be done every so many weeks.
    pub interval_weeks: Option<u32>,
    /// What is to be done, in words.
    pub instructions: Option<String>,
    /// The dewormers that it lets others give.
    #[serde(default)]
    pub actives: Vec<Active>,
    /// Who may carry it out besides those who may anyway.
    #[serde(default)]
    pub roles: Vec<Role>,
    /// Its last day; open if missing.
    pub valid_until: Option<NaiveDate>,
}

impl Typed for CarePlan {
    fn example() -> Value {
        json!({
            "domain": "parasite",
            "interval_weeks": 26,
            "instructions": "Weigh with the tape, then ivermectin by mouth; call me if any is spat out.",
            "actives": ["ivermectin"],
            "roles": ["barn_staff", "owner"],
            "valid_until": "2027-05-03"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        let weeks = self.interval_weeks.map(f64::from);
        check.quantity("/interval_weeks", "interval_weeks", weeks);
        check.long("/instructions", self.instructions.as_deref());
        check.that(
            self.interval_weeks.is_some() || self.instructions.is_some(),
            "/instructions",
            "say what is ordered: interval_weeks, instructions, or both",
        );
        check.distinct("/actives", &self.actives);
        check.that(
            self.actives.is_empty() || self.domain == Domain::Parasite,
            "/actives",
            format!(
                "a plan for {} has no dewormers; its domain would be parasite",
                self.domain
            ),
        );
        check.distinct("/roles", &self.roles);
        check.not_before(
            "/valid_until",
            self.valid_until,
            Some(check.context.performed_on),
            "the day of the plan",
        );
        self.check_standing_order(check);
    }
}

impl CarePlan {
    /// A plan that lets others give drugs must say which, and must end.
    fn check_standing_order(&self, check: &mut Check<'_>) {
        if self.roles.is_empty() {
            return;
        }
        if self.domain == Domain::Parasite {
            check.that(
                !self.actives.is_empty(),
                "/actives",
                "name the dewormers that others may give",
            );
        }
        if self.domain == Domain::Medication {
            check.that(
                self.instructions.is_some(),
                "/instructions",
                "write which drug, how much, how and how often others may give it",
            );
        }
        if matches!(self.domain, Domain::Parasite | Domain::Medication) {
            check.that(
                self.valid_until.is_some(),
                "/valid_until",
                "it is missing: a plan that lets others give drugs must end on a day",
            );
        }
    }
}
