//! What of the record is about daily care: worming, counting, weighing, feet, teeth, breeding, wounds, standing orders.

use serde_json::Value;

use super::{Entry, Record, date, text};
use crate::code::{Active, Sign};
use crate::details::{BreedingStep, Domain};
use crate::effective::Standing;
use crate::kind::{Kind, Role};

/// A set of dewormers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Actives(u8);

impl Actives {
    /// Puts one in.
    pub const fn insert(&mut self, active: Active) {
        self.0 |= 1 << active as u8;
    }

    /// Whether one is in it.
    #[must_use]
    pub const fn contains(self, active: Active) -> bool {
        self.0 & (1 << active as u8) != 0
    }

    /// Whether any of these is in it.
    #[must_use]
    pub fn contains_any(self, actives: &[Active]) -> bool {
        actives.iter().any(|active| self.contains(*active))
    }
}

/// A dewormer given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Worming {
    /// When.
    pub entry: Entry,
    /// What.
    pub actives: Actives,
}

/// An event whose details are read only where a figure needs them: a log holds years of visits, counts and weights, and
/// the last ones mostly decide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look<'a> {
    /// When.
    pub entry: Entry,
    /// The details.
    pub details: &'a Value,
}

impl<'a> Look<'a> {
    /// Strongyle eggs per gram of an egg count: as given, else from the count and its factor.
    #[must_use]
    pub fn strongyle_epg(&self) -> Option<f64> {
        let number = |field: &str| self.details.get(field).and_then(Value::as_f64);
        number("strongyle_epg").or_else(|| {
            let counted = number("eggs_counted")?;
            Some(counted * number("multiplication_factor")?)
        })
    }

    /// Whether a weight was judged by eye.
    #[must_use]
    pub fn by_eye(&self) -> bool {
        text(self.details, "method") == Some("visual")
    }

    /// After how many weeks the farrier wants to come back.
    #[must_use]
    pub fn next_in_weeks(&self) -> Option<u32> {
        whole_number(self.details, "next_in_weeks")
    }

    /// After how many months the teeth are wanted again.
    #[must_use]
    pub fn next_in_months(&self) -> Option<u32> {
        whole_number(self.details, "next_in_months")
    }

    /// Whether a farrier's visit was a repair alone.
    #[must_use]
    pub fn is_repair(&self) -> bool {
        text(self.details, "service") == Some("repair")
    }

    /// The codes of what was found on the feet; a severity of 0 says that it was not there.
    pub fn findings(&self) -> impl Iterator<Item = &'a str> {
        let details: &'a Value = self.details;
        let feet = details.get("feet").and_then(Value::as_object);
        feet.into_iter()
            .flat_map(|feet| feet.values())
            .flat_map(|foot| list(foot, "findings"))
            .filter(|finding| finding.get("severity").and_then(Value::as_u64) != Some(0))
            .filter_map(|finding| text(finding, "finding"))
    }

    /// The code of a wound among the signs of an observation.
    #[must_use]
    pub fn wound(&self) -> Option<&'a str> {
        let details: &'a Value = self.details;
        list(details, "signs")
            .filter_map(Value::as_str)
            .find(|code| code.parse().is_ok_and(Sign::is_wound))
    }
}

/// A step of breeding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Bred {
    /// When.
    pub entry: Entry,
    /// Which.
    pub step: BreedingStep,
    /// What a pregnancy check found.
    pub in_foal: Option<bool>,
}

/// A care plan: standing orders of a vet or farrier.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Order<'a> {
    /// When it was made.
    pub entry: Entry,
    /// What it is about.
    pub domain: Domain,
    /// In which capacity it was made.
    pub role: Option<Role>,
    /// Whether a professional stands for it: attested, or countersigned.
    pub stands: bool,
    /// Whether it names dewormers that others may give: leave to act, rather than another schedule.
    pub names_actives: bool,
    /// To be done every so many weeks.
    pub interval_weeks: Option<u32>,
    /// What is to be done, in words.
    pub instructions: Option<&'a str>,
    /// Who may carry it out.
    pub roles: Vec<Role>,
    /// Its last day.
    pub valid_until: Option<chrono::NaiveDate>,
}

impl<'a> Record<'a> {
    pub(super) fn take_care(&mut self, standing: &Standing<'a>) {
        let list = match standing.event.kind {
            Kind::EggCount => &mut self.egg_counts,
            Kind::Weight => &mut self.weighings,
            Kind::HoofCare => &mut self.hoof_visits,
            Kind::HoofCheck => &mut self.hoof_checks,
            Kind::Dental => &mut self.dental_visits,
            Kind::Observation => &mut self.observations,
            Kind::Deworming => return self.take_worming(standing),
            Kind::Breeding => return self.take_breeding(standing),
            Kind::CarePlan => return self.take_order(standing),
            _ => return,
        };
        if let Ok(day) = standing.event.day() {
            list.push(Look {
                entry: super::entry(standing, day),
                details: standing.details,
            });
        } else {
            self.note_undated(standing);
        }
    }

    fn take_worming(&mut self, standing: &Standing<'a>) {
        let Some(entry) = self.dated(standing) else {
            return;
        };
        let mut actives = Actives::default();
        for code in list(standing.details, "actives") {
            if let Some(Ok(active)) = code.as_str().map(str::parse) {
                actives.insert(active);
            } else {
                let what = format!("names no dewormer known here: {code}");
                self.note(standing, "unknown_active", &what);
            }
        }
        self.wormings.push(Worming { entry, actives });
    }

    fn take_breeding(&mut self, standing: &Standing<'a>) {
        let step = text(standing.details, "step").and_then(|step| step.parse().ok());
        let (Some(step), Some(entry)) = (step, self.dated(standing)) else {
            return;
        };
        self.breeding.push(Bred {
            entry,
            step,
            in_foal: standing.details.get("in_foal").and_then(Value::as_bool),
        });
    }

    fn take_order(&mut self, standing: &Standing<'a>) {
        let details = standing.details;
        let domain = text(details, "domain").and_then(|domain| domain.parse().ok());
        let Some(domain) = domain else {
            return self.note(standing, "unknown_domain", "doesn't say what it is about");
        };
        let Some(entry) = self.dated(standing) else {
            return;
        };
        let roles = list(details, "roles").filter_map(|role| role.as_str()?.parse().ok());
        self.orders.push(Order {
            entry,
            domain,
            role: standing.role,
            stands: standing.provenance == crate::kind::Provenance::Attested
                || standing.countersigned_by.is_some(),
            names_actives: list(details, "actives").next().is_some(),
            interval_weeks: whole_number(details, "interval_weeks"),
            instructions: text(details, "instructions"),
            roles: roles.collect(),
            valid_until: date(details, "valid_until"),
        });
    }

    /// Puts the lists of care in the order of their days.
    pub(super) fn sort_care(&mut self) {
        for list in [
            &mut self.egg_counts,
            &mut self.weighings,
            &mut self.hoof_visits,
            &mut self.hoof_checks,
            &mut self.dental_visits,
            &mut self.observations,
        ] {
            // Events without ids may share a day: then what they say settles their order.
            list.sort_by(|a, b| {
                let says = |look: &Look<'_>| look.details.to_string();
                a.entry.cmp(&b.entry).then_with(|| says(a).cmp(&says(b)))
            });
        }
        self.wormings.sort_unstable();
        self.breeding.sort_unstable();
        self.orders.sort_unstable();
    }
}

fn whole_number(details: &Value, field: &str) -> Option<u32> {
    let number = details.get(field)?.as_u64()?;
    u32::try_from(number).ok().filter(|number| *number <= 1000)
}

fn list<'a>(details: &'a Value, field: &str) -> impl Iterator<Item = &'a Value> {
    details
        .get(field)
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
}
