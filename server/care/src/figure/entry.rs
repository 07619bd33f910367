//! The figure `entry`: may this horse enter on that day by these rules, and if not, what must be done by when.

pub mod check;
mod course;
pub mod plan;
pub mod rule_set;
mod verdict;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

pub use check::{Check, Stay};
pub use plan::Action;
pub use verdict::Verdict;

use self::check::{Facts, Finding};
use self::plan::Question;
use self::rule_set::RuleSet;
use crate::effective::check_ids;
use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::horse::{CareEvent, Horse};
use crate::record::Record;
use crate::rules::{Rules, Source};

/// One rule set's id, or several.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum RuleIds {
    /// One.
    One(String),
    /// Several: the horse is eligible if it meets all of them.
    Several(Vec<String>),
}

/// What the figure `entry` is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EntryInput, example = json!({
    "horse": {"name": "Marram"},
    "events": [{"kind": "vaccination", "performed_on": "2026-03-01", "details": {"targets": ["influenza"]}}],
    "rules": "fei-influenza", "arrives_on": "2026-03-20"
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The horse.
    #[serde(default)]
    pub horse: Horse,
    /// Its log, in any order.
    #[serde(default)]
    pub events: Vec<CareEvent>,
    /// By which rule sets.
    pub rules: RuleIds,
    /// The day of arrival.
    pub arrives_on: NaiveDate,
    /// The last day of the stay; the day of arrival if missing.
    #[serde(default)]
    pub leaves_on: Option<NaiveDate>,
    /// The first day on which something can still be done. If missing, a plan may begin on the day after the last
    /// dose on record, or on the day of arrival if there is none.
    #[serde(default)]
    pub on: Option<NaiveDate>,
}

/// What the figure `entry` answers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EntryAnswer))]
pub struct Answer {
    /// Whether every clause of every rule set is met.
    pub eligible: bool,
    /// How the horse stands to each clause.
    pub checks: Vec<Check>,
    /// The first arrival, not before the one asked about, on which the horse can be eligible; null where no plan can
    /// make it.
    pub earliest_eligible_on: Option<NaiveDate>,
    /// What must be done for that; empty if nothing, or if nothing helps.
    pub plan: Vec<Action>,
    /// What a person should know besides.
    pub warnings: Vec<Warning>,
    /// What the rules rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Said with every answer.
const CAUTION: &str = "The organiser, the authority and the state decide who may enter; their current rules and the \
                       papers count, not this answer. Ask your vet before any dose.";

/// Answers the figure from its input.
///
/// # Errors
///
/// Faults of the input: an unknown rule set, days in the wrong order, an event with two days that differ, an id taken
/// by two different events.
pub fn answer(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let mut faults = Faults::default();
    if let Err(taken) = check_ids(&input.events) {
        faults.0.extend(taken.under("/events").0);
    }
    for (n, event) in input.events.iter().enumerate() {
        if event.performed_at.is_some()
            && let Err(wrong) = event.day()
        {
            faults.0.extend(wrong.under(&format!("/events/{n}")).0);
        }
    }
    let leaves = input.leaves_on.unwrap_or(input.arrives_on);
    if leaves < input.arrives_on {
        faults.add(
            "/leaves_on",
            format!("{leaves} is before the arrival on {}", input.arrives_on),
        );
    }
    let sets = rule_sets(&input.rules, rules, &mut faults);
    let stay = Stay {
        arrives: input.arrives_on,
        leaves,
    };
    faults.or(())?;
    Ok(assess(
        &input.horse,
        &input.events,
        &sets,
        stay,
        input.on,
        rules,
    ))
}

/// The rule sets that were named, each once. Names that there are none of, or no name at all, are faults.
pub fn rule_sets<'a>(ids: &RuleIds, rules: &'a Rules, faults: &mut Faults) -> Vec<&'a RuleSet> {
    let named: Vec<(String, &String)> = match ids {
        RuleIds::One(id) => vec![("/rules".to_owned(), id)],
        RuleIds::Several(ids) => ids
            .iter()
            .enumerate()
            .map(|(n, id)| (format!("/rules/{n}"), id))
            .collect(),
    };
    if named.is_empty() {
        faults.add("/rules", "name at least one rule set");
    }
    let mut sets: Vec<&RuleSet> = Vec::new();
    for (pointer, id) in named {
        match rules.entry.rule_set(id) {
            Some(set) if sets.iter().any(|other| other.id == set.id) => {}
            Some(set) => sets.push(set),
            None => {
                let known = rules.entry.rule_sets().iter().map(|set| set.id.as_str());
                let known: Vec<&str> = known.collect();
                faults.add(
                    pointer,
                    format!(
                        "there is no rule set `{id}`; there are {}",
                        known.join(", ")
                    ),
                );
            }
        }
    }
    sets
}

/// Answers from parts: the same as [`answer`], for callers that hold a profile, a log and rule sets already.
#[must_use]
pub fn assess(
    horse: &Horse,
    events: &[CareEvent],
    sets: &[&RuleSet],
    stay: Stay,
    on: Option<NaiveDate>,
    rules: &Rules,
) -> Answer {
    let record = Record::of(events);
    let facts = Facts {
        record: &record,
        microchip: horse.microchip.as_deref(),
        prefixes: &rules.microchip,
    };
    let mut basis = Basis::default();
    basis.caution(CAUTION);
    let mut warnings = record.unread.clone();
    let mut checks = Vec::new();
    for set in sets {
        note(&mut basis, rules, &set.title, &set.source, set.mark);
        set.cautions
            .iter()
            .for_each(|caution| basis.caution(caution.as_str()));
        if set.in_force_from.is_some_and(|from| stay.arrives < from) {
            warnings.push(Warning::new(
                "not_yet_in_force",
                format!(
                    "{}: this edition is for arrivals from {}",
                    set.title,
                    day(set.in_force_from)
                ),
            ));
        }
        for clause in &set.clauses {
            let finding: Finding = check::check(set, clause, &facts, stay);
            let asked = format!("{}, {}", set.title, set.clause_words(&clause.id));
            note(&mut basis, rules, &asked, &clause.source, clause.mark);
            for (source, mark) in &finding.by {
                let source = source.as_ref().unwrap_or(&clause.source);
                note(
                    &mut basis,
                    rules,
                    &asked,
                    source,
                    mark.unwrap_or(clause.mark),
                );
            }
            checks.push(finding.check(set, clause));
            for warning in finding.warnings {
                if !warnings.contains(&warning) {
                    warnings.push(warning);
                }
            }
        }
    }
    let eligible = checks.iter().all(|check| check.met);
    let plan = plan::find(Question {
        sets,
        facts,
        stay,
        on,
    });
    Answer {
        eligible,
        checks,
        earliest_eligible_on: plan.as_ref().map(|plan| plan.arrives),
        plan: plan.map_or_else(Vec::new, |plan| plan.actions),
        warnings,
        sources: basis.sources,
        cautions: basis.cautions,
    }
}

fn day(day: Option<NaiveDate>) -> String {
    day.map_or_else(String::new, |day| day.to_string())
}

fn note(basis: &mut Basis, rules: &Rules, rule: &str, source: &str, mark: crate::rules::Mark) {
    if let Some(source) = rules.entry.source(source) {
        basis.rests_on(rule, source, mark);
    }
}
