//! The verdict of an entry check in one word, and what becomes of it where part of the record is withheld.

use super::Answer;
use super::rule_set::RuleSet;
use crate::figure::Warning;
use crate::kind::{Kind, codes};

codes! {
    /// Whether a horse may enter.
    Verdict {
        /// Every clause is met by what is on record.
        Eligible = "eligible",
        /// Some clause is not met.
        NotEligible = "not_eligible",
        /// No clause is known to fail, but some can't be told. It is no pass.
        Unknown = "unknown",
    }
}

/// The code of the warning that part of the record is withheld.
const WITHHELD: &str = "withheld";

impl Answer {
    /// Whether there is no plan since part of the record is withheld, and not since none would do.
    #[must_use]
    pub fn is_without_plan(&self) -> bool {
        self.warnings.iter().any(|warning| warning.code == WITHHELD)
    }

    /// The answer in one word.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        if self.checks.iter().any(|check| !check.met && !check.unknown) {
            Verdict::NotEligible
        } else if self.eligible {
            Verdict::Eligible
        } else {
            Verdict::Unknown
        }
    }

    /// The answer for somebody who may not see events of some kinds: a clause that rests on one of them is unknown,
    /// whatever the rest of the record says, and there is no plan, since it could ask for what has been done.
    #[must_use]
    pub fn without(mut self, sets: &[&RuleSet], withheld: impl Fn(Kind) -> bool) -> Self {
        let mut sealed = false;
        for check in &mut self.checks {
            let set = sets.iter().find(|set| set.id == check.rule);
            let clause = set.and_then(|set| set.clauses.iter().find(|one| one.id == check.clause));
            if clause.is_some_and(|clause| !withheld(clause.asks.rests_on())) {
                continue;
            }
            sealed = true;
            check.met = false;
            check.unknown = true;
            check.grade = None;
            check.rests_on.clear();
            "the entries that tell are withheld from you; ask the owner"
                .clone_into(&mut check.reason);
        }
        if sealed {
            self.eligible = false;
            self.earliest_eligible_on = None;
            self.plan.clear();
            self.warnings.push(Warning::new(
                WITHHELD,
                "part of the record is withheld from you: what rests on it is unknown, and no plan is made",
            ));
        }
        self
    }
}
