//! When the feet are due: by the farrier's own word, else by age, shoes and season.

use chrono::{Datelike, NaiveDate};

use super::Item;
use super::case::{Age, Case, Draft, chosen, past};
use crate::calendar::{days_after, days_before};
use crate::details::Domain;
use crate::kind::Role;
use crate::rules::hoof_programme::Interval;
use crate::sentence::counted;

const WHO: &[Role] = &[Role::Farrier, Role::Vet];

impl<'a> Case<'a> {
    pub(super) fn add_hoof(&self, items: &mut Vec<Item>) {
        if let Some(mut draft) = self.hoof() {
            if let Some(order) = self.order(Domain::Hoof) {
                let last = draft.last_on;
                draft.follow(order, last);
            }
            items.push(draft.finish(self.on));
        }
    }

    fn hoof(&self) -> Option<Draft<'a>> {
        let pack = &self.rules.hoof_programme;
        let profile = chosen(self.programme.hoof.as_deref(), &pack.profiles)?
            .id
            .as_str();
        let visits = past(&self.record.hoof_visits, self.on, |one| &one.entry);
        let last = visits
            .clone()
            .rev()
            .find(|visit| !visit.is_repair() || visit.next_in_weeks().is_some());
        let last_on = visits
            .rev()
            .find(|visit| !visit.is_repair())
            .map(|visit| visit.entry.day);
        // The farrier's own word counts until the feet are done again.
        if let Some((visit, named)) = last.zip(pack.named.first())
            && let Some(weeks) = visit.next_in_weeks()
        {
            let mut draft = Draft::new("hoof.trim", named, WHO);
            let by = days_after(visit.entry.day, weeks * 7);
            draft.last_on = last_on.or(Some(visit.entry.day));
            draft.by = Some(by);
            draft.from = Some(days_before(by, named.ahead.rough_days()).max(visit.entry.day));
            draft.say(format_args!(
                "the farrier wants to come back {} after {}",
                counted(weeks, "week", "weeks"),
                visit.entry.day
            ));
            return Some(draft);
        }
        let Some(last) = last_on else {
            return self.first_trim(profile);
        };
        let fits = |row: &&Interval| {
            row.profile == profile
                && row
                    .age_until
                    .is_none_or(|until| self.age.below(until, self.on))
                && row
                    .shod
                    .is_none_or(|shod| self.horse.shod.unwrap_or(false) == shod)
                && (!row.winter || self.is_winter(last))
        };
        let row = pack.intervals.iter().find(fits)?;
        let mut draft = Draft::new("hoof.trim", row, WHO);
        draft.last_on = Some(last);
        draft.from = Some(days_after(last, row.from_weeks * 7));
        draft.by = Some(days_after(last, row.by_weeks * 7));
        draft.say(format_args!(
            "{} to {} weeks after the last visit ({})",
            row.from_weeks,
            row.by_weeks,
            row.id.replace(['_', '.'], " ")
        ));
        Some(draft)
    }

    fn first_trim(&self, profile: &str) -> Option<Draft<'a>> {
        let pack = &self.rules.hoof_programme;
        if matches!(self.age, Age::Born(earliest, _) if earliest > self.on) {
            return None;
        }
        let young = pack.firsts.iter().find(|row| {
            row.profile == profile && self.age.below(crate::calendar::Period::months(6), self.on)
        });
        if let Some(row) = young {
            let mut draft = Draft::new("hoof.trim", row, WHO);
            draft.from = self.age.first_day(row.age_from);
            draft.by = self.age.last_day(row.age_until);
            draft.say("the first look at a foal's feet");
            return Some(draft);
        }
        let row = pack.intervals.iter().rfind(|row| row.profile == profile)?;
        let mut draft = Draft::new("hoof.trim", row, WHO);
        draft.from = Some(self.on);
        draft.say("no visit of a farrier on record");
        Some(draft)
    }

    /// Whether hooves grow slowly after a day: November to March in the north, May to September in the south. Where the
    /// barn isn't known it is summer, which asks for the shorter interval.
    fn is_winter(&self, day: NaiveDate) -> bool {
        let Some(zone) = self.barn.time_zone.as_deref() else {
            return false;
        };
        let south = self.season.is_some_and(|season| {
            // A season that runs across New Year is a southern summer.
            let new_year = NaiveDate::from_ymd_opt(day.year(), 1, 1);
            new_year.is_some_and(|day| season.start_of(day).is_some())
        });
        let month = day.month();
        !zone.is_empty()
            && if south {
                (5..=9).contains(&month)
            } else {
                !(4..=10).contains(&month)
            }
    }
}
