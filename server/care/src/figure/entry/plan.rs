//! What must be done, by whom and when, so that a horse may enter: found by search over the rules.

mod doses;
mod papers;
mod search;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use self::doses::DoseNeed;
use self::papers::{CertificateNeed, ChipNeed, TestNeed};
use super::check::{Facts, Stay, check};
use super::rule_set::{Asks, RuleSet};
use crate::calendar::days_between;
use crate::kind::Role;
use crate::record::Record;

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EntryAction))]
pub struct Action {
    /// What, in words.
    #[serde(rename = "do")]
    pub what: String,
    /// The first day for it. Later steps assume that the ones before were done on their first day.
    pub from: NaiveDate,
    /// The last day for it; none where only the horse's own date moves.
    pub until: Option<NaiveDate>,
    /// Who may do it.
    pub who: Vec<Role>,
}

/// A plan that makes the horse eligible.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Plan {
    /// The arrival that it is for.
    pub(super) arrives: NaiveDate,
    /// What to do, in order.
    pub(super) actions: Vec<Action>,
}

/// What is asked: may this horse enter by all of these rules.
#[derive(Clone, Copy)]
pub(super) struct Question<'a> {
    pub(super) sets: &'a [&'a RuleSet],
    pub(super) facts: Facts<'a>,
    pub(super) stay: Stay,
    /// The first day on which anything can still be done, where it is known.
    pub(super) on: Option<NaiveDate>,
}

impl<'a> Question<'a> {
    /// The same stay, moved to another day of arrival.
    pub(super) fn stay_from(&self, arrives: NaiveDate) -> Stay {
        let length = days_between(self.stay.arrives, self.stay.leaves);
        let length = u32::try_from(length.max(0)).unwrap_or(0);
        Stay {
            arrives,
            leaves: crate::calendar::days_after(arrives, length),
        }
    }

    /// Everything that the rule sets ask, with the set that asks it.
    pub(super) fn asks(&self) -> impl Iterator<Item = (&'a RuleSet, &'a Asks)> + use<'a> {
        self.sets
            .iter()
            .flat_map(|set| set.clauses.iter().map(move |clause| (*set, &clause.asks)))
    }
}

/// One matter that must be in order on the day of arrival: the doses of a disease, a test, a paper, a chip.
pub(super) trait Need<'a> {
    /// The first arrival, not before `arrives`, on which it can be in order.
    fn earliest(&self, arrives: NaiveDate) -> Option<NaiveDate>;

    /// What puts it in order for that arrival. `moves_it` says that this matter alone keeps the arrival from being
    /// earlier, so that any delay moves it.
    fn actions(&self, arrives: NaiveDate, moves_it: bool) -> Vec<Action>;

    /// Enters into a record what the plan for that arrival does, as if it had been done on the first day.
    fn carry_out(&self, arrives: NaiveDate, record: &mut Record<'a>);

    /// Whether the plan for that arrival puts a chip into the horse.
    fn gives_a_chip(&self, _arrives: NaiveDate) -> bool {
        false
    }
}

fn needs<'a>(question: Question<'a>) -> Vec<Box<dyn Need<'a> + 'a>> {
    let mut diseases = Vec::new();
    let mut tests: Vec<&str> = Vec::new();
    let mut needs: Vec<Box<dyn Need<'a> + 'a>> = Vec::new();
    let mut papers = (false, false);
    for (_, asks) in question.asks() {
        let disease = match asks {
            Asks::Course(course) => course.disease,
            Asks::Recent(recent) => recent.disease,
            Asks::StandDown(wait) => wait.disease,
            Asks::Test(test) => {
                if !tests.contains(&test.test.as_str()) {
                    tests.push(&test.test);
                    needs.push(Box::new(TestNeed::new(question, &test.test)));
                }
                continue;
            }
            Asks::Certificate(_) => {
                if !papers.0 {
                    needs.push(Box::new(CertificateNeed::new(question)));
                }
                papers.0 = true;
                continue;
            }
            Asks::Microchip(_) => {
                if !papers.1 {
                    needs.push(Box::new(ChipNeed::new(question)));
                }
                papers.1 = true;
                continue;
            }
        };
        if !diseases.contains(&disease) {
            diseases.push(disease);
            needs.push(Box::new(DoseNeed::new(question, disease)));
        }
    }
    needs
}

/// How often the date may be moved on before the search is given up; each round settles at least one matter.
const ROUNDS: usize = 32;

/// Finds the first arrival, not before the one asked about, that a plan makes possible.
///
/// None if there is none, or if feeding the plan back into the rules does not make the horse eligible.
pub(super) fn find(mut question: Question<'_>) -> Option<Plan> {
    if met(&question, &question.facts, question.stay) {
        return Some(Plan {
            arrives: question.stay.arrives,
            actions: Vec::new(),
        });
    }
    // Nothing can be done any more for an arrival in the past.
    if let Some(on) = question.on.filter(|on| *on > question.stay.arrives) {
        question.stay = question.stay_from(on);
    }
    let needs = needs(question);
    let asked = question.stay.arrives;
    let alone: Vec<NaiveDate> = needs
        .iter()
        .map(|need| need.earliest(asked))
        .collect::<Option<_>>()?;
    let mut arrives = alone.iter().copied().max().unwrap_or(asked);
    for round in 0.. {
        let next = needs
            .iter()
            .map(|need| need.earliest(arrives))
            .try_fold(arrives, |latest, day| day.map(|day| latest.max(day)))?;
        if next == arrives {
            break;
        }
        if round == ROUNDS {
            return None;
        }
        arrives = next;
    }
    let mut record = question.facts.record.clone();
    let mut actions = Vec::new();
    let mut chip = question.facts.microchip;
    for (need, alone) in needs.iter().zip(alone) {
        let moves_it = arrives > asked && alone == arrives;
        actions.extend(need.actions(arrives, moves_it));
        need.carry_out(arrives, &mut record);
        if need.gives_a_chip(arrives) {
            chip = Some(A_CHIP);
        }
    }
    record.sort();
    let facts = Facts {
        record: &record,
        microchip: chip,
        ..question.facts
    };
    let stay = question.stay_from(arrives);
    actions.sort_by_key(|action| (action.from, action.until));
    met(&question, &facts, stay).then_some(Plan { arrives, actions })
}

/// Whether every clause of every rule set is met.
fn met(question: &Question<'_>, facts: &Facts<'_>, stay: Stay) -> bool {
    question.sets.iter().all(|set| {
        let met = |clause| check(set, clause, facts, stay).met;
        set.clauses.iter().all(met)
    })
}

/// Any number of the ISO form: what the horse would carry after an implant.
const A_CHIP: &str = "900000000000001";
