//! Checking one clause of a rule set against a horse's record, with the reason in words.

mod doses;
mod papers;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use self::doses::{check_course, check_recent, check_stand_down};
pub(super) use self::doses::{counted_days, given_days, until};
use self::papers::{check_certificate, check_microchip, check_test};
use super::rule_set::{Asks, Clause, RuleSet, Through};
use crate::figure::Warning;
use crate::ids::EventId;
use crate::microchip::MicrochipPack;
use crate::record::{Entry, Grade, Record};
use crate::rules::Mark;

/// How a horse stands to one clause of a rule set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EntryCheck))]
pub struct Check {
    /// The rule set.
    pub rule: String,
    /// The clause of it.
    pub clause: String,
    /// Whether it is met. What is unknown is never met.
    pub met: bool,
    /// Whether it is not met only for want of knowledge: something in the record can't be relied on or read.
    pub unknown: bool,
    /// Why, in words.
    pub reason: String,
    /// The events that it rests on.
    pub rests_on: Vec<EventId>,
    /// The weakest grade among them.
    pub grade: Option<Grade>,
    /// The id of the source of the rule.
    pub source: String,
}

/// The stay that is asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stay {
    /// The day of arrival.
    pub arrives: NaiveDate,
    /// The last day.
    pub leaves: NaiveDate,
}

impl Stay {
    /// The day until which something must last.
    #[must_use]
    pub const fn through(self, through: Through) -> NaiveDate {
        match through {
            Through::Arrival => self.arrives,
            Through::LastDay => self.leaves,
        }
    }
}

/// What a clause is checked against.
#[derive(Clone, Copy, Debug)]
pub(super) struct Facts<'a> {
    pub(super) record: &'a Record<'a>,
    pub(super) microchip: Option<&'a str>,
    pub(super) prefixes: &'a MicrochipPack,
}

/// What was found for a clause.
#[derive(Default)]
pub(super) struct Finding {
    pub(super) met: bool,
    unknown: bool,
    reason: String,
    rests_on: Vec<Entry>,
    pub(super) warnings: Vec<Warning>,
    /// Sources and marks of the steps that were needed, other than the clause's own.
    pub(super) by: Vec<(Option<String>, Option<Mark>)>,
}

impl Finding {
    pub(super) fn check(&self, set: &RuleSet, clause: &Clause) -> Check {
        Check {
            rule: set.id.clone(),
            clause: clause.id.clone(),
            met: self.met,
            unknown: self.unknown,
            reason: self.reason.clone(),
            rests_on: self.rests_on.iter().filter_map(|entry| entry.id).collect(),
            grade: self.rests_on.iter().map(|entry| entry.grade).max(),
            source: clause.source.clone(),
        }
    }

    fn met(reason: String, rests_on: Vec<Entry>) -> Self {
        Self {
            met: true,
            reason,
            rests_on,
            ..Self::default()
        }
    }

    fn not_met(reason: String, rests_on: Vec<Entry>) -> Self {
        Self {
            reason,
            rests_on,
            ..Self::default()
        }
    }

    /// Says what in the record did not count, and that the answer is unknown for that.
    fn unless(mut self, doubts: Option<String>) -> Self {
        if let Some(doubts) = doubts.filter(|_| !self.met) {
            self.unknown = true;
            self.reason = format!("{}; {doubts}", self.reason);
        }
        self
    }
}

/// Checks one clause.
pub(super) fn check(set: &RuleSet, clause: &Clause, facts: &Facts<'_>, stay: Stay) -> Finding {
    if let Some(until) = set.in_force_until.filter(|until| *until < stay.arrives) {
        let reason = format!("this edition was in force until {until}; ask for the current one");
        return Finding {
            unknown: true,
            ..Finding::not_met(reason, Vec::new())
        };
    }
    match &clause.asks {
        Asks::Course(course) => check_course(course, facts.record, stay),
        Asks::Recent(recent) => check_recent(recent, facts.record, stay),
        Asks::StandDown(wait) => {
            check_stand_down(wait, set.course(wait.disease), facts.record, stay)
        }
        Asks::Test(test) => check_test(test, facts.record, stay),
        Asks::Certificate(paper) => check_certificate(paper, facts.record, stay),
        Asks::Microchip(_) => check_microchip(facts),
    }
}
