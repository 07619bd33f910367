//! Planning the doses against one disease, for all rule sets at once.

use chrono::NaiveDate;

use super::papers::a_vets_entry;
use super::search::{Asked, Days, HORIZON, Search};
use super::{Action, Need, Question};
use crate::calendar::{days_after, days_before, days_between};
use crate::disease::Disease;
use crate::figure::entry::check::{counted_days, given_days, until};
use crate::figure::entry::rule_set::{Evidence, Place, Step};
use crate::kind::Role;
use crate::record::{Dose, Record};

/// The most doses that a plan may need.
const MOST_DOSES: usize = 3;
/// A window for a later dose that a barn can keep to, in days.
const COMFORTABLE: i64 = 7;
/// How far the first dose is moved to make room for a later one, in days.
const MOVED_AT_MOST: i64 = 60;

/// What makes the doses right: some by a vet's word for what is on record, some given anew.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Way {
    arrives: NaiveDate,
    countersign: bool,
    doses: Vec<NaiveDate>,
}

/// The doses of one disease.
pub(super) struct DoseNeed<'a> {
    question: Question<'a>,
    disease: Disease,
    asked: Asked<'a>,
    counted: Days,
    /// The same if a vet countersigned what isn't theirs; none if that changes nothing.
    vouched: Option<Days>,
    /// The first day for a new dose.
    start: NaiveDate,
}

impl<'a> DoseNeed<'a> {
    pub(super) fn new(question: Question<'a>, disease: Disease) -> Self {
        let record = question.facts.record;
        let all_of = |vouched: bool| {
            let days = |evidence: Evidence| {
                counted_days(record, disease, |dose| {
                    (vouched && !dose.expired) || evidence.takes_dose(dose)
                })
            };
            Days {
                vet: days(Evidence::Vet),
                vet_or_lot: days(Evidence::VetOrLot),
                any: days(Evidence::Any),
                given: given_days(record, disease),
            }
        };
        let counted = all_of(false);
        let vouched = all_of(true);
        let after_the_last = counted.given.last().map(|last| days_after(*last, 1));
        let start = question.on.or(after_the_last);
        Self {
            question,
            disease,
            asked: Asked::of(question, disease),
            vouched: (vouched.vet.len() != counted.vet.len()).then_some(vouched),
            counted,
            start: start.unwrap_or(question.stay.arrives),
        }
    }

    /// Whether a dose without a day may have been given too shortly before: no new dose settles that.
    fn in_doubt(&self) -> bool {
        let undated = self.question.facts.record.undated.contains(self.disease);
        undated && self.asked.makes_wait()
    }

    fn search<'s>(
        &'s self,
        days: &'s Days,
        arrives: NaiveDate,
        before: Option<NaiveDate>,
    ) -> Search<'s, 'a> {
        Search::new(&self.asked, days, self.start, arrives, before)
    }

    /// The best way for an arrival: the earliest, then the fewest needles, then the fewest signatures.
    fn way(&self, arrives: NaiveDate) -> Option<Way> {
        if self.in_doubt() {
            return None;
        }
        let mut best: Option<Way> = None;
        for doses in 0..=MOST_DOSES {
            // A third dose, with its months between, is for rules that can't be met otherwise.
            if doses == MOST_DOSES && best.is_some() {
                break;
            }
            for countersign in [false, true] {
                let days = match (countersign, &self.vouched) {
                    (false, _) => &self.counted,
                    (true, Some(vouched)) => vouched,
                    (true, None) => continue,
                };
                let before = best.as_ref().map(|way| way.arrives);
                let found = self.search(days, arrives, before).run(doses, Vec::new());
                if let Some((arrives, doses)) = found {
                    best = Some(Way {
                        arrives,
                        countersign,
                        doses,
                    });
                }
            }
            if best.as_ref().is_some_and(|way| way.arrives == arrives) {
                break;
            }
        }
        best
    }

    fn days_of(&self, way: &Way) -> &Days {
        match &self.vouched {
            Some(vouched) if way.countersign => vouched,
            _ => &self.counted,
        }
    }

    /// Where a dose stands in the course of the first rule set that asks for one.
    fn place(&self, days: &Days, dose: NaiveDate) -> Option<Place> {
        let course = self.asked.courses.first()?;
        let ruling = course.judge(until(days.of(course.evidence), dose), dose);
        ruling.run().map(|run| run.place)
    }

    /// Whether doses given so far can be completed for the arrival with so many more.
    fn can_complete(
        &self,
        days: &Days,
        doses: &[NaiveDate],
        more: usize,
        arrives: NaiveDate,
        moves_it: bool,
    ) -> bool {
        let Some(last) = doses.last() else {
            return false;
        };
        // Where the date moves with the dose, it is enough that the horse may enter some day soon after.
        let arrives = if moves_it {
            arrives.max(*last)
        } else {
            arrives
        };
        let before = (!moves_it).then(|| days_after(arrives, 1));
        let search = self.search(days, arrives, before);
        search.run(more, doses.to_vec()).is_some()
    }

    /// The last day on which a dose does as well as on its first: same place in the course, and the plan still holds.
    fn last_day(&self, way: &Way, nth: usize, moves_it: bool) -> Option<NaiveDate> {
        let days = self.days_of(way);
        let before = &way.doses[..nth];
        let first = way.doses[nth];
        let place = self.place(&days.with(&way.doses[..=nth]), first);
        if moves_it && (place == Some(Place::First) || self.asked.courses.is_empty()) {
            return None;
        }
        let holds = |day: NaiveDate| {
            let doses = [before, &[day]].concat();
            days.keep_apart(day)
                && self.place(&days.with(&doses), day) == place
                && self.can_complete(
                    days,
                    &doses,
                    way.doses.len() - nth - 1,
                    way.arrives,
                    moves_it,
                )
        };
        (1..=HORIZON)
            .map(|n| days_after(first, n))
            .take_while(|day| holds(*day))
            .last()
            .or(Some(first))
    }

    /// A plan may begin so late that a later dose fits one day only, or so early that the first day is long past:
    /// moves the first dose to where the barn has room.
    fn make_room(&self, way: &mut Way, moves_it: bool) {
        if moves_it || way.doses.is_empty() {
            return;
        }
        if way.doses.len() == 1 && self.question.on.is_none() && self.counted.given.is_empty() {
            let days = self.days_of(way).clone();
            let earlier = (1..=HORIZON)
                .map(|n| days_before(way.doses[0], n))
                .take_while(|day| self.asked.right(&days.with(&[*day]), way.arrives))
                .last();
            way.doses[0] = earlier.unwrap_or(way.doses[0]);
            return;
        }
        let mut roomiest = way.clone();
        let mut room = self.room(&roomiest);
        let mut day = way.doses[0];
        while room < COMFORTABLE {
            day = days_after(day, 1);
            let Some(moved) = self.begun_on(way, day) else {
                break;
            };
            let room_then = self.room(&moved);
            if room_then > room {
                (roomiest, room) = (moved, room_then);
            }
            if days_between(way.doses[0], day) > MOVED_AT_MOST {
                break;
            }
        }
        *way = roomiest;
    }

    /// The same way with its first dose on another day, and the others as soon as they may follow.
    fn begun_on(&self, way: &Way, day: NaiveDate) -> Option<Way> {
        let before = Some(days_after(way.arrives, 1));
        let search = self.search(self.days_of(way), way.arrives, before);
        let found = search.run(way.doses.len() - 1, vec![day]);
        found.map(|(arrives, doses)| Way {
            arrives,
            countersign: way.countersign,
            doses,
        })
    }

    /// The width of the window of the last dose, in days.
    fn room(&self, way: &Way) -> i64 {
        let last = way.doses.len() - 1;
        if last == 0 {
            return COMFORTABLE;
        }
        self.last_day(way, last, false)
            .map_or(COMFORTABLE, |until| days_between(way.doses[last], until))
    }

    /// The doses that a vet's countersign would make count.
    fn to_countersign(&self) -> impl Iterator<Item = &Dose<'a>> {
        let record: &'a Record<'a> = self.question.facts.record;
        record.doses.iter().filter(|dose| {
            dose.targets.contains(self.disease) && !dose.entry.by_vet && !dose.expired
        })
    }

    fn who(&self) -> Vec<Role> {
        let evidence = self.asked.courses.iter().map(|course| course.evidence);
        let recent = self.asked.recents.iter().map(|recent| recent.evidence);
        if evidence.chain(recent).any(|one| one == Evidence::Vet) {
            vec![Role::Vet]
        } else {
            vec![Role::Vet, Role::Owner]
        }
    }

    fn describe(&self, days: &Days, before: &[NaiveDate], dose: NaiveDate) -> String {
        let name = self.disease.name();
        let with = days.with(&[before, &[dose]].concat());
        let Some(course) = self.asked.courses.first() else {
            return format!("{name} vaccination: one dose");
        };
        let counted = until(with.of(course.evidence), dose);
        let (Some(run), previous) = (
            course.judge(counted, dose).run(),
            counted.iter().rev().nth(1),
        ) else {
            return format!("{name} vaccination: one dose");
        };
        match previous {
            Some(previous) if run.place != Place::First => {
                let steps: Vec<String> = course
                    .steps_for(run.place, run.began, dose)
                    .filter(|step| step.accepts(*previous, dose))
                    .map(Step::words)
                    .take(1)
                    .collect();
                format!(
                    "{name} vaccination: {}, {} after the dose of {previous}",
                    run.place.words(),
                    steps.join("")
                )
            }
            _ => format!("{name} vaccination: first dose of a new course"),
        }
    }
}

impl<'a> Need<'a> for DoseNeed<'a> {
    fn earliest(&self, arrives: NaiveDate) -> Option<NaiveDate> {
        self.way(arrives).map(|way| way.arrives)
    }

    fn actions(&self, arrives: NaiveDate, moves_it: bool) -> Vec<Action> {
        let Some(way) = self.planned(arrives, moves_it) else {
            return Vec::new();
        };
        let mut actions = Vec::new();
        if way.countersign {
            let days: Vec<String> = self
                .to_countersign()
                .map(|dose| dose.entry.day.to_string())
                .collect();
            actions.push(Action {
                what: format!(
                    "{} vaccination: have a vet compare the entries of {} with the papers and countersign them",
                    self.disease.name(),
                    days.join(", ")
                ),
                from: self.start.min(arrives),
                until: Some(arrives),
                who: vec![Role::Vet],
            });
        }
        for (nth, dose) in way.doses.iter().enumerate() {
            let mut what = self.describe(self.days_of(&way), &way.doses[..nth], *dose);
            if moves_it && nth + 1 == way.doses.len() {
                what = format!(
                    "{what}. Given on the first day, the horse may arrive from {arrives}; a later day moves that on"
                );
            }
            actions.push(Action {
                what,
                from: *dose,
                until: self.last_day(&way, nth, moves_it),
                who: self.who(),
            });
        }
        actions
    }

    fn carry_out(&self, arrives: NaiveDate, record: &mut Record<'a>) {
        let moves_it = arrives > self.question.stay.arrives
            && self.earliest(self.question.stay.arrives) == Some(arrives);
        let Some(way) = self.planned(arrives, moves_it) else {
            return;
        };
        if way.countersign {
            for dose in &mut record.doses {
                if dose.targets.contains(self.disease) && !dose.expired {
                    dose.entry.by_vet = true;
                }
            }
        }
        record.doses.extend(way.doses.iter().map(|day| Dose {
            entry: a_vets_entry(*day),
            targets: [self.disease].into_iter().collect(),
            expired: false,
            details: None,
        }));
    }
}

impl DoseNeed<'_> {
    fn planned(&self, arrives: NaiveDate, moves_it: bool) -> Option<Way> {
        let mut way = self.way(arrives).filter(|way| way.arrives == arrives)?;
        self.make_room(&mut way, moves_it);
        Some(way)
    }
}
