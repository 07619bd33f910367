//! What is due of vaccinations: core and by risk, by age and dam, before foaling, before mosquitoes, after a wound.

use chrono::NaiveDate;

use super::case::{Age, Case, Draft, past};
use super::course::Next;
use super::{Item, Status};
use crate::calendar::{Period, days_before, days_between};
use crate::details::Domain;
use crate::disease::Disease;
use crate::horse::Sex;
use crate::kind::Role;
use crate::record::Look;
use crate::rules::vaccination::{Population, Schedule, Trigger, Vaccine};

const WHO: &[Role] = &[Role::Vet];

impl<'a> Case<'a> {
    pub(super) fn add_vaccinations(&self, items: &mut Vec<Item>) {
        for vaccine in &self.rules.vaccination.vaccines {
            if let Some(draft) = self.vaccination(vaccine) {
                items.push(draft.finish(self.on));
            }
        }
    }

    /// The days of the doses against a disease up to now, and the last dose that came from an expired vial.
    fn doses(&self, disease: Disease) -> (Vec<NaiveDate>, Option<NaiveDate>) {
        let mut expired = None;
        let mut days: Vec<NaiveDate> = Vec::new();
        for dose in past(&self.record.doses, self.on, |one| &one.entry) {
            if !dose.targets.contains(disease) {
                continue;
            }
            if dose.expired {
                expired = Some(dose.entry.day);
            } else if days.last() != Some(&dose.entry.day) {
                days.push(dose.entry.day);
            }
        }
        let last = days.last().copied();
        (
            days,
            expired.filter(|day| last.is_none_or(|last| *day > last)),
        )
    }

    fn vaccination(&self, vaccine: &'a Vaccine) -> Option<Draft<'a>> {
        let (doses, expired) = self.doses(vaccine.disease);
        if let Some(draft) = self.in_pregnancy(vaccine, &doses) {
            return Some(draft);
        }
        let undated = self.record.undated.contains(vaccine.disease);
        let advised = vaccine.core || self.has_risk(&vaccine.risks);
        if !advised && doses.is_empty() && expired.is_none() {
            return None;
        }
        let code = format!("vaccination.{}", vaccine.disease);
        let Some(population) = self.population(vaccine.disease, &doses) else {
            let mut draft = Draft::new(code, vaccine, WHO);
            draft.ask_vet = true;
            draft.last_on = doses.last().copied();
            draft.say("whether it goes by the schedule for foals or for grown horses depends on its age, which isn't known well enough");
            return Some(draft);
        };
        let Some(schedule) = self.rules.vaccination.schedule(vaccine.disease, population) else {
            if population == Population::Adult || !advised {
                return None;
            }
            let mut draft = Draft::new(code, vaccine, WHO);
            draft.ask_vet = true;
            draft.say("there is no schedule for foals");
            return Some(draft);
        };
        let mut draft = Draft::new(code, schedule, WHO);
        draft.last_on = doses.last().copied();
        let mut next = self.next_dose(schedule, &doses);
        if self.had_in_pregnancy(vaccine.disease) {
            next.doubt = None;
        }
        draft.dose_number = next.number;
        (draft.from, draft.by) = (next.from, next.by);
        self.describe(&mut draft, vaccine, schedule, &next);
        if next.booster.is_some() {
            self.before_foaling(&mut draft, vaccine, &doses);
            self.before_mosquitoes(&mut draft, vaccine);
        }
        self.by_order(&mut draft, vaccine, &next);
        self.after_a_wound(&mut draft, vaccine, &doses, &next);
        if let Some(day) = expired {
            draft.ask_vet = true;
            draft.say(format_args!("the vial of {day} had expired"));
        }
        if undated {
            draft.say("a dose without a day is on record and isn't counted");
        }
        if vaccine.not_in_foal && self.in_foal.is_some() {
            draft.ask_vet = true;
            draft.say("not for a mare in foal unless her vet decides so");
        }
        if let Some(ask) = vaccine
            .ask
            .as_deref()
            .filter(|_| draft.status(self.on) < Status::Upcoming)
        {
            draft.say(ask);
        }
        Some(draft)
    }

    /// Whether doses may have been spaced by a pregnancy, so that the intervals of a first course don't judge them.
    fn had_in_pregnancy(&self, disease: Disease) -> bool {
        let may_be_mare = !matches!(
            self.horse.sex,
            Some(Sex::Stallion | Sex::Gelding | Sex::Colt)
        );
        let rows = &self.rules.vaccination.gestation;
        may_be_mare && rows.iter().any(|row| row.disease == disease)
    }

    /// Which schedule a horse goes by: that of its age when the course began, or now.
    fn population(&self, disease: Disease, doses: &[NaiveDate]) -> Option<Population> {
        let began = doses.first().copied().unwrap_or(self.on);
        match self.age {
            Age::Grown => Some(Population::Adult),
            Age::Unknown => None,
            Age::Born(..) => match self.age.reached(Period::months(12), began) {
                Some(true) => Some(Population::Adult),
                Some(false) if self.dam_vaccinated(disease) => {
                    Some(Population::FoalOfVaccinatedDam)
                }
                Some(false) => Some(Population::FoalOfUnvaccinatedDam),
                // A course begun about the first birthday: two years on it makes no difference.
                None if self.age.at_least(Period::months(36), self.on) => Some(Population::Adult),
                None => None,
            },
        }
    }

    fn describe(
        &self,
        draft: &mut Draft<'a>,
        vaccine: &'a Vaccine,
        schedule: &Schedule,
        next: &Next<'_>,
    ) {
        let need = if vaccine.core {
            "every horse needs it"
        } else if self.has_risk(&vaccine.risks) {
            "advisable for this horse's risks"
        } else {
            "begun earlier"
        };
        match (next.number, next.booster) {
            (Some(1), _) => {
                draft.say(format_args!("no dose on record; {need}"));
                if draft.from.is_none() && draft.by.is_none() {
                    draft.from = Some(self.on);
                }
            }
            (Some(number), _) => {
                draft.say(format_args!(
                    "dose {number} of {} of the first course",
                    schedule.doses.len()
                ));
                if let Some(by) = next.by.filter(|by| *by < self.on) {
                    draft.ask_vet = true;
                    draft.say(format_args!(
                        "it should have come by {by}: the vet decides whether the course goes on or begins again"
                    ));
                }
            }
            (None, Some(booster)) => {
                draft.say(format_args!("booster every {}", booster.every));
                if next.before_record {
                    draft.say(
                        "doses a year apart: the first course is taken to lie before this record",
                    );
                }
                let lapsed = self.rules.vaccination.reminder("booster");
                let lapsed = lapsed.and_then(|row| row.lapsed_after);
                let lapsed = next.by.zip(lapsed).map(|(by, after)| after.after(by));
                if lapsed.is_some_and(|day| self.on > day) {
                    draft.ask_vet = true;
                    draft.say("the last dose lies very far back: the vet decides whether one dose is enough");
                }
            }
            (None, None) => {}
        }
        if let Some(doubt) = &next.doubt {
            draft.ask_vet = true;
            draft.say(format_args!("{doubt}: ask the vet whether it counts"));
        }
    }

    /// Boosters against what mosquitoes carry: not after the season has begun.
    fn before_mosquitoes(&self, draft: &mut Draft<'a>, vaccine: &'a Vaccine) {
        let (true, Some(season), Some(by)) = (vaccine.mosquitoes, self.season, draft.by) else {
            return;
        };
        let Some(ahead) = self.rules.vaccination.reminder("before_mosquitoes") else {
            return;
        };
        let Some(start) = season.start_of(by) else {
            return;
        };
        let pulled = days_before(start, ahead.ahead.rough_days());
        let after_last = draft.last_on.is_none_or(|last| pulled > last);
        if pulled < by && after_last {
            let lead = draft.from.map_or(0, |from| days_between(from, by));
            draft.by = Some(pulled);
            draft.from = Some(days_before(pulled, u32::try_from(lead).unwrap_or(0)));
            draft.say(format_args!(
                "moved ahead of the mosquito season, which begins about {start} here ({})",
                season.id
            ));
        }
    }

    /// A vet's order about vaccination: about the diseases that it names, or all if it names none.
    fn by_order(&self, draft: &mut Draft<'a>, vaccine: &'a Vaccine, next: &Next<'_>) {
        let Some(order) = self.order(Domain::Vaccination) else {
            return;
        };
        let words = order.instructions.unwrap_or_default().to_lowercase();
        let names = |disease: Disease| {
            words.contains(disease.code()) || words.contains(&disease.name().to_lowercase())
        };
        let about_some = Disease::ALL.iter().any(|disease| names(*disease));
        if about_some && !names(vaccine.disease) {
            return;
        }
        // An interval is for boosters: it does not shorten or stretch a first course.
        if next.booster.is_some() || order.interval_weeks.is_none() {
            let pressing = draft.status(self.on) < Status::UpToDate;
            if order.interval_weeks.is_some() || pressing {
                let last = draft.last_on;
                draft.follow(order, last);
            }
        }
    }

    /// A wound makes a booster due at once if the last dose lies far back, and it stays so until one is given: waiting makes
    /// nobody safer.
    fn after_a_wound(
        &self,
        draft: &mut Draft<'a>,
        vaccine: &'a Vaccine,
        doses: &[NaiveDate],
        next: &Next<'_>,
    ) {
        for trigger in &self.rules.vaccination.triggers {
            if trigger.disease != vaccine.disease {
                continue;
            }
            let Some((day, code)) = self.last_wound(trigger) else {
                continue;
            };
            let last = doses.last().copied();
            if last.is_some_and(|last| last >= day) {
                continue;
            }
            let what = code.replace(['_', '-'], " ");
            if next.booster.is_none() {
                if self.on <= trigger.antitoxin_within.after(day) {
                    draft.ask_vet = true;
                    draft.say(format_args!(
                        "{what} on {day} and no complete course: call the vet now, who decides on antitoxin as well"
                    ));
                }
            } else if last.is_some_and(|last| trigger.older_than.after(last) < day) {
                draft.take_row(trigger);
                (draft.from, draft.by) = (Some(day), Some(day));
                draft.ask_vet = false;
                draft.say(format_args!(
                    "{what} on {day}, more than {} after the last dose: a booster at once",
                    trigger.older_than
                ));
            }
        }
    }

    /// The last wound: the day and its code.
    fn last_wound(&self, trigger: &Trigger) -> Option<(NaiveDate, &'a str)> {
        let seen = past(&self.record.observations, self.on, |one| &one.entry)
            .rev()
            .find_map(|look| Some((look.entry.day, look.wound()?)));
        let on_feet = |list: &'a [Look<'a>]| {
            past(list, self.on, |one| &one.entry)
                .rev()
                .find_map(|look| {
                    let is_wound = |code: &&str| trigger.findings.iter().any(|one| one == code);
                    Some((look.entry.day, look.findings().find(is_wound)?))
                })
        };
        let found = on_feet(&self.record.hoof_checks).max(on_feet(&self.record.hoof_visits));
        seen.max(found)
    }
}
