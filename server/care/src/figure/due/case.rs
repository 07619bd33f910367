//! One horse on one day: what the domains of the due list read.

use std::fmt::Display;

use chrono::NaiveDate;

use super::{BarnContext, Item, Programme, Status};
use crate::calendar::{Period, days_between};
use crate::code::Shedder;
use crate::details::{BreedingStep, Domain};
use crate::disease::Disease;
use crate::figure::Warning;
use crate::horse::{DamVaccinated, Horse, Pregnancy, Risk, Sex};
use crate::kind::Role;
use crate::record::{Entry, Order, Record};
use crate::rules::parasite_programme::Profile;
use crate::rules::vector_season::Season;
use crate::rules::{Mark, Row, Rules};

/// How long before its first day an item is called upcoming, in days (a proposal of ours).
const UPCOMING: i64 = 30;

/// One horse on one day.
pub(super) struct Case<'a> {
    pub(super) horse: &'a Horse,
    pub(super) record: &'a Record<'a>,
    pub(super) on: NaiveDate,
    pub(super) age: Age,
    /// A pregnancy in hand.
    pub(super) in_foal: Option<Pregnancy>,
    pub(super) season: Option<&'a Season>,
    pub(super) programme: &'a Programme,
    pub(super) barn: &'a BarnContext,
    pub(super) rules: &'a Rules,
}

/// When a horse was born, as far as that is known.
#[derive(Clone, Copy, Debug)]
pub(super) enum Age {
    /// Between two days, both included.
    Born(NaiveDate, NaiveDate),
    /// Not known, but it is a grown horse: a mare, a stallion or a gelding.
    Grown,
    /// Not known at all.
    Unknown,
}

impl Age {
    fn of(horse: &Horse) -> Self {
        match (horse.foaled_on, horse.sex) {
            (Some(foaled), _) => Self::Born(foaled.earliest(), foaled.latest()),
            (None, Some(Sex::Mare | Sex::Stallion | Sex::Gelding)) => Self::Grown,
            (None, _) => Self::Unknown,
        }
    }

    /// Whether the horse had reached an age on a day; none if that can't be told. A grown horse of unknown age counts as
    /// past its youth and short of old age.
    pub(super) fn reached(self, age: Period, day: NaiveDate) -> Option<bool> {
        match self {
            Self::Born(earliest, latest) => {
                if age.after(latest) <= day {
                    Some(true)
                } else if age.after(earliest) > day {
                    Some(false)
                } else {
                    None
                }
            }
            Self::Grown => Some(age.months < 180),
            Self::Unknown => None,
        }
    }

    /// Whether it surely had not reached an age on a day.
    pub(super) fn below(self, age: Period, day: NaiveDate) -> bool {
        self.reached(age, day) == Some(false)
    }

    /// Whether it surely had.
    pub(super) fn at_least(self, age: Period, day: NaiveDate) -> bool {
        self.reached(age, day) == Some(true)
    }

    /// The first day on which the horse can be of an age.
    pub(super) fn first_day(self, age: Period) -> Option<NaiveDate> {
        match self {
            Self::Born(earliest, _) => Some(age.after(earliest)),
            Self::Grown | Self::Unknown => None,
        }
    }

    /// The last day on which it can come to be of an age.
    pub(super) fn last_day(self, age: Period) -> Option<NaiveDate> {
        match self {
            Self::Born(_, latest) => Some(age.after(latest)),
            Self::Grown | Self::Unknown => None,
        }
    }
}

impl<'a> Case<'a> {
    pub(super) fn new(
        horse: &'a Horse,
        record: &'a Record<'a>,
        on: NaiveDate,
        programme: &'a Programme,
        barn: &'a BarnContext,
        rules: &'a Rules,
    ) -> Self {
        let zone = barn.time_zone.as_deref();
        Self {
            horse,
            record,
            on,
            age: Age::of(horse),
            in_foal: in_foal(horse, record, on),
            season: rules.vector_season.at(barn.region.as_deref(), zone),
            programme,
            barn,
            rules,
        }
    }

    /// Every item, the most pressing first.
    pub(super) fn items(&self) -> Vec<Item> {
        let mut items = Vec::with_capacity(16);
        self.add_vaccinations(&mut items);
        self.add_parasite(&mut items);
        self.add_hoof(&mut items);
        self.add_dental(&mut items);
        self.add_weight(&mut items);
        items.sort_by(|a, b| {
            let key = |item: &Item| (item.status, item.due_by.unwrap_or(NaiveDate::MAX));
            key(a).cmp(&key(b)).then_with(|| a.code.cmp(&b.code))
        });
        items
    }

    /// What should be said besides the items.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let mut warnings = Vec::new();
        if matches!(self.age, Age::Unknown) {
            warnings.push(Warning::new(
                "age_unknown",
                "no date of birth is known: what depends on age is left to the vet",
            ));
        }
        if let Some(flagged) = self
            .parasite_profile()
            .and_then(|row| row.flagged.as_deref())
        {
            warnings.push(Warning::new("flagged_programme", flagged));
        }
        if self.season.is_none() {
            warnings.push(Warning::new(
                "season_unknown",
                "the barn's region is not known: boosters are not moved ahead of the mosquito season",
            ));
        }
        warnings
    }

    /// The profile of parasite control that is followed.
    pub(super) fn parasite_profile(&self) -> Option<&'a Profile> {
        chosen(
            self.programme.parasite.as_deref(),
            &self.rules.parasite_programme.profiles,
        )
    }

    /// Whether the horse has any of these risks.
    pub(super) fn has_risk(&self, risks: &[Risk]) -> bool {
        risks.iter().any(|risk| self.horse.risks.contains(risk))
    }

    /// Whether the dam is known to have been vaccinated against a disease.
    pub(super) fn dam_vaccinated(&self, disease: Disease) -> bool {
        match &self.horse.dam_vaccinated {
            Some(DamVaccinated::All(vaccinated)) => *vaccinated,
            Some(DamVaccinated::ByDisease(by_disease)) => {
                by_disease.get(disease.code()) == Some(&true)
            }
            None => false,
        }
    }

    /// How many strongyle eggs the horse sheds, by its last count.
    pub(super) fn shedder(&self) -> Option<(Shedder, NaiveDate)> {
        let counts = past(&self.record.egg_counts, self.on, |one| &one.entry);
        let (epg, day) = counts
            .rev()
            .filter(|one| !self.still_acts(one.entry.day))
            .find_map(|one| Some((one.strongyle_epg()?, one.entry.day)))?;
        Some((self.rules.egg_counts.shedder(epg).0, day))
    }

    /// The order in force for a domain: the last one made that stands on a professional's word.
    pub(super) fn order(&self, domain: Domain) -> Option<&'a Order<'a>> {
        let may_order = |order: &&Order<'_>| match order.role {
            Some(Role::Farrier) => domain == Domain::Hoof,
            Some(Role::Vet) | None => true,
            Some(Role::Owner | Role::BarnStaff) => false,
        };
        self.record.orders.iter().rev().find(|order| {
            order.domain == domain
                && order.stands
                && order.entry.day <= self.on
                && order.valid_until.is_none_or(|until| self.on <= until)
                && may_order(order)
        })
    }
}

/// The row of a pack that a programme names, else the first.
pub(super) fn chosen<'a, R: Row>(name: Option<&str>, profiles: &'a [R]) -> Option<&'a R> {
    match name {
        Some(name) => profiles.iter().find(|row| row.id() == name),
        None => profiles.first(),
    }
}

/// The entries up to a day; lists are in the order of their days.
pub(super) fn past<T>(
    list: &[T],
    on: NaiveDate,
    entry: impl Fn(&T) -> &Entry,
) -> std::slice::Iter<'_, T> {
    list[..list.partition_point(|one| entry(one).day <= on)].iter()
}

/// The pregnancy in hand on a day: the profile's, unless the log tells of its end, else the log's.
fn in_foal(horse: &Horse, record: &Record<'_>, on: NaiveDate) -> Option<Pregnancy> {
    let mut found: Option<Pregnancy> = None;
    let mut ended = None;
    for step in past(&record.breeding, on, |one| &one.entry) {
        match (step.step, step.in_foal) {
            // A covering counts until a check, a loss or a foal says otherwise.
            (BreedingStep::Covered, _) => {
                found = Some(Pregnancy {
                    covered_on: Some(step.entry.day),
                });
            }
            (BreedingStep::PregnancyChecked, Some(true)) => {
                found.get_or_insert(Pregnancy { covered_on: None });
            }
            (BreedingStep::PregnancyChecked, Some(false))
            | (BreedingStep::Foaled | BreedingStep::Lost, _) => {
                found = None;
                ended = Some(step.entry.day);
            }
            (BreedingStep::PregnancyChecked, None) | (BreedingStep::Weaned, _) => {}
        }
    }
    let Some(given) = horse.pregnancy else {
        return found;
    };
    match given.covered_on {
        Some(day) => (day <= on && ended.is_none_or(|ended| ended <= day)).then_some(given),
        None => found.or(Some(given)),
    }
}

/// An item in the making.
pub(super) struct Draft<'r> {
    pub(super) code: String,
    pub(super) row: &'r dyn Row,
    pub(super) from: Option<NaiveDate>,
    pub(super) by: Option<NaiveDate>,
    pub(super) dose_number: Option<u32>,
    pub(super) last_on: Option<NaiveDate>,
    pub(super) reason: String,
    pub(super) who: Vec<Role>,
    /// Whether the schedules don't say what is right, so that the vet must.
    pub(super) ask_vet: bool,
    /// The order that takes the rule's place.
    pub(super) by_order: bool,
}

impl<'r> Draft<'r> {
    pub(super) fn new(code: impl Into<String>, row: &'r dyn Row, who: &[Role]) -> Self {
        Self {
            code: code.into(),
            row,
            from: None,
            by: None,
            dose_number: None,
            last_on: None,
            reason: String::new(),
            who: who.to_vec(),
            ask_vet: false,
            by_order: false,
        }
    }

    /// Puts another rule in the place of the one that it followed.
    pub(super) fn take_row(&mut self, row: &'r dyn Row) {
        self.row = row;
    }

    /// Adds to the reason.
    pub(super) fn say(&mut self, words: impl Display) {
        use std::fmt::Write;
        let gap = if self.reason.is_empty() { "" } else { "; " };
        // Writing to a string can't fail.
        let _ = write!(self.reason, "{gap}{words}");
    }

    /// How it stands on a day.
    pub(super) fn status(&self, on: NaiveDate) -> Status {
        if self.ask_vet {
            return Status::AskVet;
        }
        match (self.from, self.by) {
            (_, Some(by)) if on > by => Status::Overdue,
            (Some(from), _) if from > on && days_between(on, from) > UPCOMING => Status::UpToDate,
            (Some(from), _) if from > on => Status::Upcoming,
            _ => Status::Due,
        }
    }

    pub(super) fn finish(self, on: NaiveDate) -> Item {
        Item {
            status: self.status(on),
            code: self.code,
            due_from: self.from,
            due_by: self.by,
            dose_number: self.dose_number,
            last_on: self.last_on,
            reason: self.reason,
            rule: if self.by_order {
                "care_plan".to_owned()
            } else {
                self.row.id().to_owned()
            },
            who: self.who,
            source: self.row.source().to_owned(),
            mark: if self.by_order {
                Mark::Read
            } else {
                self.row.mark()
            },
        }
    }
}
