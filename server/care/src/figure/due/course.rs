//! Where a horse stands in a vaccine's first course and its boosters.

use chrono::NaiveDate;

use super::case::Case;
use crate::calendar::days_between;
use crate::rules::vaccination::{Booster, DoseRule, Population, Schedule};
use crate::sentence::counted;

/// The next dose of a schedule.
pub(super) struct Next<'a> {
    /// Its number in the first course; none for a booster.
    pub(super) number: Option<u32>,
    pub(super) from: Option<NaiveDate>,
    pub(super) by: Option<NaiveDate>,
    /// The booster row that it follows.
    pub(super) booster: Option<&'a Booster>,
    /// What was wrong with the last dose of the first course, in words.
    pub(super) doubt: Option<String>,
    /// Whether the first course is taken to lie before the record.
    pub(super) before_record: bool,
}

impl Case<'_> {
    /// The next dose after those given; `doses` are in order, no day twice.
    pub(super) fn next_dose<'s>(&self, schedule: &'s Schedule, doses: &[NaiveDate]) -> Next<'s> {
        let given = doses.len();
        let before_record = schedule.population == Population::Adult
            && given < schedule.doses.len() + 2
            && self.are_boosters(doses);
        let doubt = given
            .checked_sub(1)
            .and_then(|last| schedule.doses.get(last))
            .filter(|_| !before_record)
            .and_then(|rule| self.doubt(rule, doses));
        let number = u32::try_from(given + 1).ok();
        if let Some(rule) = schedule.doses.get(given).filter(|_| !before_record) {
            let (from, by) = self.window(rule, doses.last().copied());
            return Next {
                number,
                from,
                by,
                booster: None,
                doubt,
                before_record,
            };
        }
        let booster = schedule.boosters.iter().find(|booster| {
            let by_risk = booster.risks.is_empty() || self.has_risk(&booster.risks);
            let by_age = booster
                .younger_than
                .is_none_or(|age| self.age.below(age, self.on));
            by_risk && by_age
        });
        let by = doses
            .last()
            .zip(booster)
            .map(|(last, row)| row.every.after(*last));
        let ahead = self.rules.vaccination.reminder("booster");
        let from = by.map(|by| match ahead {
            Some(row) => crate::calendar::days_before(by, row.ahead.rough_days()),
            None => by,
        });
        Next {
            number: None,
            from,
            by,
            booster,
            doubt,
            before_record,
        }
    }

    /// Whether the record begins with doses as far apart as boosters are.
    fn are_boosters(&self, doses: &[NaiveDate]) -> bool {
        let [first, second, ..] = doses else {
            return false;
        };
        self.rules
            .vaccination
            .rhythms
            .iter()
            .any(|row| (row.at_least.after(*first)..=row.at_most.after(*first)).contains(second))
    }

    /// The days between which a dose should come.
    pub(super) fn window(
        &self,
        rule: &DoseRule,
        last: Option<NaiveDate>,
    ) -> (Option<NaiveDate>, Option<NaiveDate>) {
        let after = last.zip(rule.after).map(|(last, after)| after.after(last));
        let before = last
            .zip(rule.before)
            .map(|(last, before)| before.after(last));
        // A dose that is set by age still keeps four weeks from the one before.
        let apart = last
            .filter(|_| rule.after.is_none())
            .map(|last| crate::calendar::days_after(last, 28));
        let by_age = rule.age_from.and_then(|age| self.age.first_day(age));
        let until_age = rule.age_until.and_then(|age| self.age.last_day(age));
        let covered = self.in_foal.and_then(|pregnancy| pregnancy.covered_on);
        let by_gestation = covered
            .zip(rule.gestation_from)
            .map(|(day, after)| after.after(day));
        let until_gestation = covered
            .zip(rule.gestation_until)
            .map(|(day, until)| until.after(day));
        let from = [after, apart, by_age, by_gestation]
            .into_iter()
            .flatten()
            .max();
        let by = [before, until_age, until_gestation]
            .into_iter()
            .flatten()
            .min();
        (from, by.map(|by| from.map_or(by, |from| by.max(from))))
    }

    /// What was wrong with the last dose, if it belongs to the first course.
    fn doubt(&self, rule: &DoseRule, doses: &[NaiveDate]) -> Option<String> {
        let (last, before) = doses.split_last()?;
        let (from, by) = self.window(rule, before.last().copied());
        let number = doses.len();
        if let Some(from) = from.filter(|from| last < from) {
            return Some(match before.last() {
                Some(before) => format!(
                    "dose {number} came early, {} after the one before ({from} would have been the first day)",
                    counted(days_between(*before, *last), "day", "days")
                ),
                None => format!(
                    "the first dose was given early, on {last}: before {from} antibody from the dam may block it"
                ),
            });
        }
        // A first dose that began late breaks nothing.
        let before = before.last()?;
        by.filter(|by| last > by).map(|by| {
            format!(
                "dose {number} came late, {} after the one before ({by} would have been the last day)",
                counted(days_between(*before, *last), "day", "days")
            )
        })
    }
}
