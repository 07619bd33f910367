//! Checking what a rule set asks of the doses against one disease.

use chrono::NaiveDate;

use super::{Finding, Stay};
use crate::calendar::days_between;
use crate::disease::Disease;
use crate::figure::Warning;
use crate::figure::entry::course::{Break, Ruling};
use crate::figure::entry::rule_set::{Course, Evidence, Place, Recent, StandDown, Step, Wait};
use crate::record::{Dose, Entry, Record};
use crate::sentence::{self, counted};

/// The days of the doses that count, in order, no day twice.
pub(in crate::figure::entry) fn counted_days(
    record: &Record<'_>,
    disease: Disease,
    takes: impl Fn(&Dose<'_>) -> bool,
) -> Vec<NaiveDate> {
    let mut days: Vec<NaiveDate> = record
        .doses
        .iter()
        .filter(|dose| dose.targets.contains(disease) && takes(dose))
        .map(|dose| dose.entry.day)
        .collect();
    days.dedup();
    days
}

/// The days of every dose that was or may have been of a disease, whoever vouches for it: what matters where a
/// dose counts against the horse.
pub(in crate::figure::entry) fn given_days(
    record: &Record<'_>,
    disease: Disease,
) -> Vec<NaiveDate> {
    let mut days: Vec<NaiveDate> = record
        .doses
        .iter()
        .filter(|dose| dose.targets.contains(disease) || dose.targets.is_empty())
        .map(|dose| dose.entry.day)
        .collect();
    days.dedup();
    days
}

/// Those of them that had been given by a day.
pub(in crate::figure::entry) fn until(days: &[NaiveDate], day: NaiveDate) -> &[NaiveDate] {
    &days[..days.partition_point(|given| *given <= day)]
}

/// The entries of the counted doses between two days.
fn entries(
    record: &Record<'_>,
    disease: Disease,
    evidence: Evidence,
    from: NaiveDate,
    until: NaiveDate,
) -> Vec<Entry> {
    record
        .doses
        .iter()
        .filter(|dose| dose.targets.contains(disease) && evidence.takes_dose(dose))
        .map(|dose| dose.entry)
        .filter(|entry| (from..=until).contains(&entry.day))
        .collect()
}

/// Which doses did not count, in words.
fn doubtful_doses(
    record: &Record<'_>,
    disease: Disease,
    evidence: Evidence,
    by: NaiveDate,
) -> Option<String> {
    let mut doubts: Vec<String> = record
        .doses
        .iter()
        .filter(|dose| dose.targets.contains(disease) && !evidence.takes_dose(dose))
        .filter(|dose| dose.entry.day <= by)
        .map(|dose| {
            let day = dose.entry.day;
            if dose.expired {
                format!("the vial of {day} had expired, so that dose doesn't count")
            } else if evidence == Evidence::VetOrLot {
                format!(
                    "the dose of {day} is {} without product, lot and expiry, so it doesn't count",
                    dose.entry.grade
                )
            } else {
                format!(
                    "the dose of {day} is {} and doesn't count until a vet countersigns it",
                    dose.entry.grade
                )
            }
        })
        .collect();
    if record.undated.contains(disease) {
        doubts.push("a dose without a day doesn't count".to_owned());
    }
    (!doubts.is_empty()).then(|| doubts.join("; "))
}

pub(super) fn check_course(course: &Course, record: &Record<'_>, stay: Stay) -> Finding {
    let all = counted_days(record, course.disease, |dose| {
        course.evidence.takes_dose(dose)
    });
    let doses = until(&all, stay.arrives);
    let ruling = course.judge(doses, stay.arrives);
    let name = course.disease.name();
    let rests_on = ruling.run().map_or_else(Vec::new, |run| {
        entries(record, course.disease, course.evidence, run.began, run.last)
    });
    let doubts = doubtful_doses(record, course.disease, course.evidence, stay.arrives);
    let broken = course.breaks(doses);
    match ruling {
        Ruling::NoDose => {
            Finding::not_met(format!("no {name} dose that counts is on record"), rests_on)
        }
        Ruling::TooShort { run } => {
            let wanted = course.entry_after.words();
            let so_far = format!(
                "the {name} course begun on {} has no {wanted} yet",
                run.began
            );
            let reason = if broken.is_empty() {
                so_far
            } else {
                let broken = broken_in_words(course, &broken);
                format!("{broken}: a new course is needed, and {so_far}")
            };
            Finding::not_met(reason, rests_on)
        }
        Ruling::Overdue { run, until } => Finding::not_met(
            format!(
                "the {} after the dose of {} was due by {until}: the {name} course is broken",
                run.place.next().words(),
                run.last
            ),
            rests_on,
        ),
        Ruling::InOrder { run, until } => {
            let reason = format!(
                "the {name} course begun on {} is unbroken; the {} must come by {until}",
                run.began,
                run.place.next().words()
            );
            let mut finding = Finding::met(reason, rests_on);
            finding.note_steps(course, &doses[run.start..]);
            if run.start > 0 && !broken.is_empty() {
                finding.warnings.push(Warning::new(
                    "course_restarted",
                    format!(
                        "an earlier {name} course was broken; the dose of {} counts as the first of a new one. \
                         Ask the body if it sees it so",
                        run.began
                    ),
                ));
            }
            if stay.leaves > until {
                finding.warnings.push(lapses(name, until));
            }
            finding
        }
    }
    .unless(doubts)
}

/// The last two doses that broke a course, and how.
fn broken_in_words(course: &Course, breaks: &[Break]) -> String {
    let in_words = |found: &Break| {
        let windows: Vec<String> = course
            .steps_for(found.place, found.began, found.dose)
            .map(Step::words)
            .collect();
        format!(
            "the {} of {} came {} after the dose of {}, and the rule asks for {}",
            found.place.words(),
            found.dose,
            counted(days_between(found.before, found.dose), "day", "days"),
            found.before,
            windows.join(" or "),
        )
    };
    let latest = &breaks[breaks.len().saturating_sub(2)..];
    let words: Vec<String> = latest.iter().map(in_words).collect();
    words.join("; ")
}

impl Finding {
    /// Notes cautions, sources and marks of the steps that the doses of a run came by.
    fn note_steps(&mut self, course: &Course, run: &[NaiveDate]) {
        let Some(began) = run.first().copied() else {
            return;
        };
        for (pair, place) in run.windows(2).zip(Course::places().skip(1)) {
            let Some(step) = course.accepting(place, began, pair[0], pair[1]) else {
                continue;
            };
            if let Some(caution) = &step.caution {
                let caution = Warning::new("ask_the_body", caution.clone());
                self.warnings.push(caution);
            }
            if step.source.is_some() || step.mark.is_some() {
                self.by.push((step.source.clone(), step.mark));
            }
        }
    }
}

fn lapses(name: &str, until: NaiveDate) -> Warning {
    Warning::new(
        "lapses_during_stay",
        format!(
            "the {name} dose is good for an arrival until {until} and the stay lasts longer; \
             some bodies want it to hold through the last day"
        ),
    )
}

pub(super) fn check_recent(recent: &Recent, record: &Record<'_>, stay: Stay) -> Finding {
    let name = recent.disease.name();
    let all = counted_days(record, recent.disease, |dose| {
        recent.evidence.takes_dose(dose)
    });
    let doubts = doubtful_doses(record, recent.disease, recent.evidence, stay.arrives);
    let Some(last) = until(&all, stay.arrives).last().copied() else {
        return Finding::not_met(
            format!("no {name} dose that counts is on record"),
            Vec::new(),
        )
        .unless(doubts);
    };
    let Some(limit) = recent.limit(stay.arrives) else {
        return Finding::not_met(
            "the rule gives no limit for that day".to_owned(),
            Vec::new(),
        );
    };
    let rests_on = entries(record, recent.disease, recent.evidence, last, last);
    let lasts = limit.within.after(last);
    let needed = stay.through(recent.through);
    let mut finding = if needed <= lasts {
        Finding::met(
            format!(
                "the last {name} dose, of {last}, is good until {lasts} ({})",
                limit.within
            ),
            rests_on,
        )
    } else {
        Finding::not_met(
            format!(
                "the last {name} dose, of {last}, was good until {lasts} ({}), and it must last until {needed}",
                limit.within
            ),
            rests_on,
        )
        .unless(doubts)
    };
    if finding.met {
        if limit.source.is_some() {
            finding.by.push((limit.source.clone(), None));
        }
        if stay.leaves > lasts {
            finding.warnings.push(lapses(name, lasts));
        }
        let receipt = recent.evidence == Evidence::VetOrLot
            && finding.rests_on.iter().all(|entry| !entry.by_vet);
        if receipt {
            finding.warnings.push(Warning::new(
                "receipt_needed",
                format!("no vet gave the {name} dose of {last}: carry the signed receipt for the vaccine"),
            ));
        }
    }
    finding
}

pub(super) fn check_stand_down(
    wait: &StandDown,
    course: Option<&Course>,
    record: &Record<'_>,
    stay: Stay,
) -> Finding {
    let name = wait.disease.name();
    let all = given_days(record, wait.disease);
    let given = until(&all, stay.arrives);
    if record.undated.contains(wait.disease) {
        let reason = format!("a {name} dose without a day may have been given just before");
        return Finding {
            unknown: true,
            ..Finding::not_met(reason, Vec::new())
        };
    }
    let Some(last) = given.last().copied() else {
        return Finding::met(format!("no {name} dose shortly before"), Vec::new());
    };
    let counted = course.map_or_else(Vec::new, |course| {
        counted_days(record, wait.disease, |dose| {
            course.evidence.takes_dose(dose)
        })
    });
    let counted = until(&counted, stay.arrives);
    let first = wait
        .first_arrival(course, counted, given, stay.arrives)
        .unwrap_or(last);
    let rests_on = record
        .doses
        .iter()
        .filter(|dose| dose.targets.contains(wait.disease) || dose.targets.is_empty())
        .map(|dose| dose.entry)
        .filter(|entry| entry.day == last)
        .collect();
    let days = days_between(last, first);
    if first <= stay.arrives {
        let reason =
            format!("the last {name} dose, of {last}, lies far enough back: arrivals from {first}");
        Finding::met(reason, rests_on)
    } else {
        let reason = format!(
            "the {name} dose of {last} is too fresh: the horse may arrive from {first} ({} after it)",
            sentence::counted(days, "day", "days")
        );
        Finding::not_met(reason, rests_on)
    }
}

impl StandDown {
    /// The first day of arrival after the last dose and those before it: each makes the horse wait by its place in
    /// the course.
    pub(in crate::figure::entry) fn first_arrival(
        &self,
        course: Option<&Course>,
        counted: &[NaiveDate],
        given: &[NaiveDate],
        arrives: NaiveDate,
    ) -> Option<NaiveDate> {
        let run = course.and_then(|course| course.judge(counted, arrives).run());
        let in_run = run.map_or(&[][..], |run| &counted[run.start..]);
        let waits = |place: Option<Place>| {
            let fits = move |wait: &&Wait| match place {
                Some(place) => wait.after.is_none_or(|only| only == place),
                // A dose outside the course may be any dose: the longest wait holds for it.
                None => true,
            };
            self.waits.iter().filter(fits)
        };
        let by_run = in_run
            .iter()
            .zip(Course::places())
            .filter_map(|(dose, place)| {
                waits(Some(place)).next().map(|wait| wait.wait.after(*dose))
            });
        let outside = given
            .last()
            .filter(|last| in_run.binary_search(last).is_err())
            .and_then(|last| waits(None).map(|wait| wait.wait.after(*last)).max());
        by_run.chain(outside).max()
    }
}
