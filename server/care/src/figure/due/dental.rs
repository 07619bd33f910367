//! When the teeth are due.

use super::Item;
use super::case::{Age, Case, Draft, chosen, past};
use crate::calendar::{Period, days_before};
use crate::details::Domain;
use crate::kind::Role;
use crate::rules::dental_programme::Interval;
use crate::sentence::counted;

const WHO: &[Role] = &[Role::Vet];

impl<'a> Case<'a> {
    pub(super) fn add_dental(&self, items: &mut Vec<Item>) {
        if let Some(mut draft) = self.dental() {
            if let Some(order) = self.order(Domain::Dental) {
                let last = draft.last_on;
                draft.follow(order, last);
            }
            items.push(draft.finish(self.on));
        }
    }

    fn dental(&self) -> Option<Draft<'a>> {
        let pack = &self.rules.dental_programme;
        let profile = chosen(self.programme.dental.as_deref(), &pack.profiles)?
            .id
            .as_str();
        if matches!(self.age, Age::Born(earliest, _) if earliest > self.on) {
            return None;
        }
        let last = past(&self.record.dental_visits, self.on, |one| &one.entry).last();
        if let Some((visit, named)) = last.zip(pack.named.first())
            && let Some(months) = visit.next_in_months()
        {
            let mut draft = Draft::new("dental.exam", named, WHO);
            let by = Period::months(months).after(visit.entry.day);
            draft.last_on = Some(visit.entry.day);
            draft.by = Some(by);
            draft.from = Some(days_before(by, named.ahead.rough_days()).max(visit.entry.day));
            draft.say(format_args!(
                "wanted again {} after {}",
                counted(months, "month", "months"),
                visit.entry.day
            ));
            return Some(draft);
        }
        let Some(last) = last.map(|visit| visit.entry.day) else {
            return self.first_exam(profile);
        };
        let row = self.dental_interval(profile)?;
        let mut draft = Draft::new("dental.exam", row, WHO);
        draft.last_on = Some(last);
        draft.from = Some(row.from.after(last));
        draft.by = Some(row.by.after(last));
        draft.say(format_args!(
            "{} to {} after the last look",
            row.from, row.by
        ));
        Some(draft)
    }

    fn dental_interval(&self, profile: &str) -> Option<&'a Interval> {
        self.rules.dental_programme.intervals.iter().find(|row| {
            row.profile == profile
                && row
                    .age_from
                    .is_none_or(|age| self.age.at_least(age, self.on))
                && row.age_until.is_none_or(|age| self.age.below(age, self.on))
        })
    }

    fn first_exam(&self, profile: &str) -> Option<Draft<'a>> {
        let firsts = &self.rules.dental_programme.firsts;
        let first = firsts
            .iter()
            .find(|row| row.profile == profile && !self.age.at_least(row.age_until, self.on));
        if let Some(row) = first
            && matches!(self.age, Age::Born(..))
        {
            let mut draft = Draft::new("dental.exam", row, WHO);
            draft.from = self.age.first_day(row.age_from);
            draft.by = self.age.last_day(row.age_until);
            draft.say("the first look at the teeth");
            return Some(draft);
        }
        let row = self.dental_interval(profile)?;
        let mut draft = Draft::new("dental.exam", row, WHO);
        draft.from = Some(self.on);
        draft.say("no look at the teeth on record");
        Some(draft)
    }
}
