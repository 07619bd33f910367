//! What is due of worming and counting: by egg counts, or by the older fixed interval.

use chrono::NaiveDate;

use super::case::{Age, Case, Draft, past};
use super::{Item, Status};
use crate::calendar::{Period, days_after, days_between};
use crate::code::Active;
use crate::details::Domain;
use crate::kind::Role;
use crate::record::Worming;
use crate::rules::parasite_programme::{FoalDose, Grown};
use crate::sentence::words;

/// A foal whose birthday is not known to within so many days can't follow a programme by age.
const MONTH: i64 = 31;
const GIVES: &[Role] = &[Role::Owner, Role::Vet];
pub(super) const COUNTS: &[Role] = &[Role::BarnStaff, Role::Vet];

/// The dewormers that act on strongyles: all but the one for tapeworm.
pub(super) fn on_strongyles(worming: &Worming) -> bool {
    Active::ALL
        .iter()
        .any(|active| *active != Active::Praziquantel && worming.actives.contains(*active))
}

impl<'a> Case<'a> {
    pub(super) fn add_parasite(&self, items: &mut Vec<Item>) {
        let Some(profile) = self.parasite_profile() else {
            return;
        };
        let profile = profile.id.as_str();
        let order = self.order(Domain::Parasite);
        let mut drafts: Vec<Draft<'a>> = Vec::new();
        drafts.extend(
            self.foal_treatment(profile)
                .or_else(|| self.treatment(profile)),
        );
        drafts.extend(self.tapeworm(profile));
        drafts.extend(self.egg_count(profile));
        drafts.extend(self.reduction_test(profile));
        for mut draft in drafts {
            let treats = draft.code == "parasite.treatment";
            let gives = treats || draft.code == "parasite.tapeworm";
            let pressing = draft.status(self.on) < Status::UpToDate;
            if let Some(order) = order
                && ((treats && order.interval_weeks.is_some())
                    || (order.interval_weeks.is_none()
                        && pressing
                        && (gives || !order.names_actives)))
            {
                let last = draft.last_on;
                draft.follow(order, last);
            }
            items.push(draft.finish(self.on));
        }
    }

    pub(super) fn wormings(&self) -> std::slice::Iter<'_, Worming> {
        past(&self.record.wormings, self.on, |one| &one.entry)
    }

    fn last_worming(&self, counts: impl Fn(&Worming) -> bool) -> Option<NaiveDate> {
        self.wormings()
            .rev()
            .find(|one| counts(one))
            .map(|one| one.entry.day)
    }

    fn foal_treatment(&self, profile: &str) -> Option<Draft<'a>> {
        let Age::Born(earliest, latest) = self.age else {
            return None;
        };
        let rows: Vec<&FoalDose> = self
            .rules
            .parasite_programme
            .foals
            .iter()
            .filter(|row| row.profile == profile)
            .collect();
        // The programme of the first year ends when its last treatment has been given, or its time is past.
        let over = rows
            .iter()
            .all(|row| self.age.at_least(row.credit_until, self.on));
        if over || earliest > self.on || days_between(earliest, latest) > MONTH {
            return None;
        }
        let given: Vec<NaiveDate> = self
            .wormings()
            .filter(|one| on_strongyles(one))
            .map(|one| one.entry.day)
            .collect();
        let credited = |row: &FoalDose| {
            let (from, until) = (
                row.credit_from.after(earliest),
                row.credit_until.after(latest),
            );
            given.iter().any(|day| (from..until).contains(day))
        };
        let repeated = |row: &&&FoalDose| row.every.is_some();
        if let Some(row) = rows.iter().find(repeated) {
            return Some(self.repeated_foal_treatment(row, given.last().copied()));
        }
        let open = rows.iter().enumerate().find(|(n, row)| {
            let passed = rows
                .get(n + 1)
                .is_some_and(|next| self.age.at_least(next.age_from, self.on));
            !credited(row) && !passed
        });
        let (_, row) = open?;
        let mut draft = Draft::new("parasite.treatment", *row, GIVES);
        draft.from = self.age.first_day(row.age_from);
        draft.by = self.age.last_day(row.age_until);
        draft.dose_number = Some(row.number);
        draft.last_on = given.last().copied();
        draft.say(format_args!(
            "treatment {} of the first year: {}",
            row.number, row.what
        ));
        if self.age.below(Period::months(6), self.on) {
            draft.say("no moxidectin before six months of age");
        }
        Some(draft)
    }

    fn repeated_foal_treatment<'s>(&self, row: &'s FoalDose, last: Option<NaiveDate>) -> Draft<'s> {
        let mut draft = Draft::new("parasite.treatment", row, GIVES);
        draft.last_on = last;
        let next = last.zip(row.every).map(|(last, every)| every.after(last));
        let first = self.age.first_day(row.age_from);
        draft.from = next.max(first);
        draft.by = next.max(self.age.last_day(row.age_until));
        draft.say(row.what.as_str());
        draft
    }

    fn treatment(&self, profile: &str) -> Option<Draft<'a>> {
        let shedder = self.shedder();
        let fits = |row: &&Grown| {
            row.profile == profile
                && row.only.is_empty()
                && self.of_age(row)
                && (row.shedders.is_empty()
                    || shedder.is_some_and(|(shedder, _)| row.shedders.contains(&shedder)))
        };
        let Some(row) = self.rules.parasite_programme.grown.iter().find(fits) else {
            return self.treatment_at_unknown_age(profile);
        };
        let mut draft = Draft::new("parasite.treatment", row, GIVES);
        let last = self.last_worming(on_strongyles);
        draft.last_on = last;
        match last {
            None => {
                draft.from = Some(self.on);
                draft.say("no treatment on record");
            }
            Some(last) => {
                draft.from = Some(row.from.after(last));
                draft.by = Some(row.by.after(last));
            }
        }
        self.at_least(&mut draft, row);
        match shedder {
            Some((shedder, day)) if profile == "evidence" => {
                draft.say(format_args!("{shedder} shedder by the egg count of {day}"));
            }
            None if profile == "evidence"
                && row.shedders.is_empty()
                && !row.at_least.is_empty() =>
            {
                draft.say("no egg count on record: count before treating");
            }
            _ => {}
        }
        if last.is_some() {
            draft.say(format_args!("{} to {} after the last", row.from, row.by));
        }
        Some(draft)
    }

    /// One of certain dewormers must come round within a time, whatever else was given.
    fn at_least(&self, draft: &mut Draft<'a>, row: &Grown) {
        let (false, Some(every), Some(_)) =
            (row.at_least.is_empty(), row.at_least_every, draft.last_on)
        else {
            return;
        };
        let last = self.last_worming(|one| one.actives.contains_any(&row.at_least));
        let names: Vec<String> = row
            .at_least
            .iter()
            .map(|active| words(active.code()))
            .collect();
        match last {
            None => {
                draft.from = draft.from.map(|from| from.min(self.on));
                draft.say(format_args!("no {} on record", names.join(" or ")));
            }
            Some(last) => {
                let by = every.after(last);
                if draft.by.is_none_or(|other| by < other) {
                    draft.by = Some(by);
                    draft.from = draft.from.map(|from| from.min(by));
                    draft.say(format_args!("{} once in {every}", names.join(" or ")));
                }
            }
        }
    }

    fn of_age(&self, row: &Grown) -> bool {
        self.age.at_least(row.age_from, self.on)
            && row
                .age_until
                .is_none_or(|until| !self.age.at_least(until, self.on))
    }

    fn treatment_at_unknown_age(&self, profile: &str) -> Option<Draft<'a>> {
        let unborn = matches!(self.age, Age::Born(earliest, _) if earliest > self.on);
        let row = self
            .rules
            .parasite_programme
            .grown
            .iter()
            .find(|row| row.profile == profile && row.only.is_empty())?;
        if unborn {
            return None;
        }
        let mut draft = Draft::new("parasite.treatment", row, GIVES);
        draft.ask_vet = true;
        draft.last_on = self.last_worming(on_strongyles);
        draft.say("its age isn't known well enough to choose between the programmes for foals, young and grown horses");
        Some(draft)
    }

    fn tapeworm(&self, profile: &str) -> Option<Draft<'a>> {
        let fits =
            |row: &&Grown| row.profile == profile && !row.only.is_empty() && self.of_age(row);
        let row = self.rules.parasite_programme.grown.iter().find(fits)?;
        let mut draft = Draft::new("parasite.tapeworm", row, GIVES);
        draft.last_on = self.last_worming(|one| one.actives.contains_any(&row.only));
        let names: Vec<String> = row.only.iter().map(|active| words(active.code())).collect();
        if let Some(last) = draft.last_on {
            draft.from = Some(row.from.after(last));
            draft.by = Some(row.by.after(last));
        } else {
            draft.from = Some(self.on);
            draft.say("none on record");
        }
        draft.say(format_args!(
            "{} once a year for a horse on pasture",
            names.join(" or ")
        ));
        Some(draft)
    }

    fn egg_count(&self, profile: &str) -> Option<Draft<'a>> {
        let rows = self.rules.parasite_programme.counts.iter();
        let row = rows
            .filter(|row| row.profile == profile && self.age.at_least(row.age_from, self.on))
            .find(|row| {
                row.age_until
                    .is_none_or(|until| !self.age.at_least(until, self.on))
            })?;
        let mut draft = Draft::new("parasite.egg_count", row, COUNTS);
        let counts = past(&self.record.egg_counts, self.on, |one| &one.entry);
        let last = counts.last().map(|one| one.entry.day);
        draft.last_on = last;
        if let Some(until) = row.age_until {
            let from = self.age.first_day(row.age_from);
            if last.zip(from).is_some_and(|(last, from)| last >= from) {
                return None;
            }
            draft.from = from;
            draft.by = self.age.last_day(until);
            draft.say("once at this age: it tells which worms the next treatment must reach");
            return Some(draft);
        }
        if let (Some(last), Some(from), Some(by)) = (last, row.from, row.by) {
            draft.from = Some(from.after(last));
            draft.by = Some(by.after(last));
            draft.say("once or twice a year, to know how many eggs the horse sheds");
        } else {
            draft.from = Some(self.on);
            draft.say("no count on record: it tells how many eggs the horse sheds");
        }
        self.after_the_last_worming(&mut draft);
        Some(draft)
    }

    /// The first day on which a count says something of the horse again after a treatment.
    fn silent_until(&self, worming: &Worming) -> Option<NaiveDate> {
        let waits = self.rules.parasite_programme.waits.iter();
        let acting = waits.filter(|wait| worming.actives.contains_any(&wait.actives));
        Some(days_after(
            worming.entry.day,
            acting.map(|wait| wait.days).max()?,
        ))
    }

    /// Whether a count of that day shows what a dewormer left, and not what the horse sheds.
    pub(super) fn still_acts(&self, day: NaiveDate) -> bool {
        self.wormings().any(|one| {
            one.entry.day <= day && self.silent_until(one).is_some_and(|until| day < until)
        })
    }

    /// A count soon after a treatment says nothing about the horse.
    fn after_the_last_worming(&self, draft: &mut Draft<'a>) {
        let silent_until = self
            .wormings()
            .filter_map(|one| self.silent_until(one))
            .max();
        if let Some(day) = silent_until.filter(|day| draft.from.is_some_and(|from| from < *day)) {
            draft.from = Some(day);
            draft.by = draft.by.map(|by| by.max(day));
            draft.say(format_args!(
                "not before {day}: the last dewormer still acts"
            ));
        }
    }
}
