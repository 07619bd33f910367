//! Searching for the days of new doses that let the horse arrive as early as can be.

use chrono::NaiveDate;

use crate::calendar::{Period, days_after, days_before, days_between};
use crate::disease::Disease;
use crate::figure::entry::check::until;
use crate::figure::entry::plan::Question;
use crate::figure::entry::rule_set::{Asks, Course, Evidence, Place, Recent, StandDown};

/// How far behind the arrival the last planned dose may lie, in days: two years and a bit.
pub(super) const HORIZON: u32 = 800;
/// How many sets of days one search may try. Rules that contradict each other would keep it busy for hours; those that
/// can be met are met within a few thousand.
const TRIES: u32 = 200_000;
/// Doses against one disease are planned at least so many days apart, whatever a rule would allow: no schedule that was
/// read wants two doses of these vaccines closer together (a proposal of ours).
const APART: u32 = 21;

/// The days of the doses that count, by whose word is taken, and of all. Each in order, no day twice.
#[derive(Clone, Debug, Default)]
pub(super) struct Days {
    pub(super) vet: Vec<NaiveDate>,
    pub(super) vet_or_lot: Vec<NaiveDate>,
    pub(super) any: Vec<NaiveDate>,
    /// Every dose that was or may have been given.
    pub(super) given: Vec<NaiveDate>,
}

impl Days {
    pub(super) fn of(&self, evidence: Evidence) -> &[NaiveDate] {
        match evidence {
            Evidence::Vet => &self.vet,
            Evidence::VetOrLot => &self.vet_or_lot,
            Evidence::Any => &self.any,
        }
    }

    /// With further doses, given by a vet.
    pub(super) fn with(&self, extra: &[NaiveDate]) -> Self {
        let mut days = self.clone();
        for list in [
            &mut days.vet,
            &mut days.vet_or_lot,
            &mut days.any,
            &mut days.given,
        ] {
            for day in extra {
                if let Err(place) = list.binary_search(day) {
                    list.insert(place, *day);
                }
            }
        }
        days
    }

    /// Whether a new dose on a day keeps its distance from those on record.
    pub(super) fn keep_apart(&self, day: NaiveDate) -> bool {
        let near = |given: &NaiveDate| days_between(*given, day).unsigned_abs() < u64::from(APART);
        !self.given.iter().any(near)
    }
}

/// What all the rule sets together ask of the doses against one disease.
pub(super) struct Asked<'a> {
    question: Question<'a>,
    pub(super) courses: Vec<&'a Course>,
    pub(super) recents: Vec<&'a Recent>,
    waits: Vec<(&'a StandDown, Option<&'a Course>)>,
    /// Days on which a limit of a rule begins or ends.
    edges: Vec<NaiveDate>,
    /// The shortest wait after a dose, in days.
    shortest_wait: u32,
}

impl<'a> Asked<'a> {
    pub(super) fn of(question: Question<'a>, disease: Disease) -> Self {
        let mut asked = Self {
            question,
            courses: Vec::new(),
            recents: Vec::new(),
            waits: Vec::new(),
            edges: Vec::new(),
            shortest_wait: 0,
        };
        for (set, asks) in question.asks() {
            match asks {
                Asks::Course(course) if course.disease == disease => asked.courses.push(course),
                Asks::Recent(recent) if recent.disease == disease => asked.recents.push(recent),
                Asks::StandDown(wait) if wait.disease == disease => {
                    asked.waits.push((wait, set.course(disease)));
                }
                _ => {}
            }
        }
        asked.find_edges();
        let shortest = |wait: &StandDown| {
            let days = wait
                .waits
                .iter()
                .map(|one| one.wait.months * 28 + one.wait.days);
            days.min()
        };
        asked.shortest_wait = asked
            .waits
            .iter()
            .filter_map(|(wait, _)| shortest(wait))
            .max()
            .unwrap_or(0);
        asked
    }

    fn find_edges(&mut self) {
        let next = |day: Option<NaiveDate>| day.map(|day| days_after(day, 1));
        for recent in &self.recents {
            for limit in &recent.limits {
                self.edges.extend(limit.arrives_from);
                self.edges.extend(next(limit.arrives_until));
            }
        }
        for step in self.courses.iter().flat_map(|course| &course.steps) {
            self.edges.extend(step.given_from);
            self.edges.extend(next(step.given_until));
        }
    }

    /// Whether a horse must wait after a dose.
    pub(super) fn makes_wait(&self) -> bool {
        !self.waits.is_empty()
    }

    /// Whether the doses are right for an arrival.
    pub(super) fn right(&self, days: &Days, arrives: NaiveDate) -> bool {
        let stay = self.question.stay_from(arrives);
        self.recents.iter().all(|recent| {
            let last = until(days.of(recent.evidence), arrives).last();
            let limit = recent.limit(arrives);
            last.zip(limit).is_some_and(|(last, limit)| {
                limit.within.after(*last) >= stay.through(recent.through)
            })
        }) && self.courses.iter().all(|course| {
            let counted = until(days.of(course.evidence), arrives);
            course.judge(counted, arrives).met()
        }) && self.waits.iter().all(|(wait, course)| {
            let counted = course.map_or(&[][..], |course| until(days.of(course.evidence), arrives));
            let given = until(&days.given, arrives);
            let first = wait.first_arrival(*course, counted, given, arrives);
            first.is_none_or(|first| first <= arrives)
        })
    }

    /// The first arrival, from `arrives` on, for which these doses are right as they are.
    ///
    /// They can only become right on a day on which something changes: a dose comes to count, a wait ends, a limit of
    /// a rule begins.
    fn first_right(&self, days: &Days, arrives: NaiveDate) -> Option<NaiveDate> {
        if self.right(days, arrives) {
            return Some(arrives);
        }
        let waits = self
            .waits
            .iter()
            .flat_map(|(wait, _)| wait.waits.iter().map(|one| one.wait));
        let mut changes: Vec<NaiveDate> = waits
            .chain([Period::default()])
            .flat_map(|wait| days.given.iter().map(move |given| wait.after(*given)))
            .chain(self.edges.iter().copied())
            .filter(|day| *day > arrives)
            .collect();
        changes.sort_unstable();
        changes.dedup();
        changes.into_iter().find(|day| self.right(days, *day))
    }

    /// The first day on which a last dose still reaches an arrival.
    fn reaching(&self, arrives: NaiveDate) -> NaiveDate {
        let stay = self.question.stay_from(arrives);
        let by_limit = self.recents.iter().filter_map(|recent| {
            let through = stay.through(recent.through);
            let firsts = recent
                .limits
                .iter()
                .map(|limit| limit.within.first_reaching(through));
            firsts.min()
        });
        let by_course = self.courses.iter().filter_map(|course| {
            let gap = course.longest_gap()?;
            Some(days_before(arrives, gap))
        });
        by_limit.chain(by_course).max().unwrap_or(NaiveDate::MIN)
    }

    /// The longest time between two doses that no course minds, in days.
    fn longest_gap(&self) -> u32 {
        let gaps = self
            .courses
            .iter()
            .filter_map(|course| course.longest_gap());
        gaps.min().unwrap_or(HORIZON)
    }
}

/// A search for the days of new doses.
pub(super) struct Search<'s, 'a> {
    asked: &'s Asked<'a>,
    days: &'s Days,
    /// The first day for a new dose.
    start: NaiveDate,
    arrives: NaiveDate,
    /// The first day on which a last dose makes sense.
    floor: NaiveDate,
    longest_gap: u32,
    /// Only an earlier arrival than this is of interest.
    before: Option<NaiveDate>,
    /// The earliest arrival found and the doses for it.
    found: Option<(NaiveDate, Vec<NaiveDate>)>,
    tries: u32,
}

impl<'s, 'a> Search<'s, 'a> {
    /// A search for an arrival from `arrives` on, but before a given day.
    pub(super) fn new(
        asked: &'s Asked<'a>,
        days: &'s Days,
        start: NaiveDate,
        arrives: NaiveDate,
        before: Option<NaiveDate>,
    ) -> Self {
        Self {
            asked,
            days,
            start,
            arrives,
            floor: asked.reaching(arrives),
            longest_gap: asked.longest_gap(),
            before,
            found: None,
            tries: TRIES,
        }
    }

    /// Looks for so many doses more after those given; the earliest arrival and all the doses for it.
    pub(super) fn run(
        mut self,
        more: usize,
        mut doses: Vec<NaiveDate>,
    ) -> Option<(NaiveDate, Vec<NaiveDate>)> {
        self.go(more, &mut doses);
        self.found
    }

    fn better(&self, day: NaiveDate) -> bool {
        self.before.is_none_or(|before| day < before)
    }

    /// Tries every day for each of `more` doses after those given so far.
    fn go(&mut self, more: usize, doses: &mut Vec<NaiveDate>) {
        let days = self.days.with(doses);
        if more == 0 {
            self.tries = self.tries.saturating_sub(1);
            let from = doses
                .last()
                .map_or(self.arrives, |last| self.arrives.max(*last));
            let right = self.asked.first_right(&days, from);
            if let Some(day) = right.filter(|day| self.better(*day)) {
                self.before = Some(day);
                self.found = Some((day, doses.clone()));
            }
            return;
        }
        let back = u32::try_from(more - 1).unwrap_or(0) * self.longest_gap;
        let first = doses
            .last()
            .map_or(self.start, |last| self.start.max(days_after(*last, APART)))
            .max(days_before(self.floor, back));
        let last = match doses.last() {
            Some(last) => days_after(*last, self.longest_gap),
            None => days_after(self.arrives.max(self.start), HORIZON),
        };
        let going_on = GoingOn::after(self.asked, &days, more);
        let last = going_on.latest().map_or(last, |latest| latest.min(last));
        for day in first.iter_days().take_while(|day| *day <= last) {
            let soonest = days_after(day, self.asked.shortest_wait);
            if self.tries == 0 || !self.better(self.arrives.max(soonest)) {
                break;
            }
            if self.days.keep_apart(day) && going_on.allows(day) {
                doses.push(day);
                self.go(more - 1, doses);
                doses.pop();
            }
        }
    }
}

/// How the last dose of a plan can go on with the courses so far: only an earlier one may begin a course. Spares the
/// search most days.
struct GoingOn<'a> {
    courses: Vec<(&'a Course, Vec<super::super::course::Run>)>,
}

impl<'a> GoingOn<'a> {
    fn after(asked: &Asked<'a>, days: &Days, more: usize) -> Self {
        let must_go_on = |course: &&&'a Course| more == 1 && course.entry_after != Place::First;
        let courses = asked.courses.iter().filter(must_go_on);
        Self {
            courses: courses
                .map(|course| (*course, course.runs(days.of(course.evidence))))
                .collect(),
        }
    }

    fn latest(&self) -> Option<NaiveDate> {
        let by_course = self.courses.iter().filter_map(|(course, runs)| {
            runs.iter().filter_map(|run| course.latest_next(run)).max()
        });
        by_course.min()
    }

    fn allows(&self, day: NaiveDate) -> bool {
        self.courses.iter().all(|(course, runs)| {
            // A dose between two on record is left to the full check.
            runs.iter()
                .any(|run| run.last > day || course.continues(run, day))
        })
    }
}
