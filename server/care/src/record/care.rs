//! What of the record is about daily care: worming, counting, weighing, feet, teeth, breeding, wounds, standing orders.

use serde_json::Value;

use super::{Entry, Record, date, text};
use crate::code::Active;
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

/// A faecal egg count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EggCount {
    /// When.
    pub entry: Entry,
    /// Strongyle eggs per gram.
    pub strongyle_epg: Option<f64>,
}

/// A weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighing {
    /// When.
    pub entry: Entry,
    /// Whether it was judged by eye.
    pub by_eye: bool,
}

/// A visit after which another is wanted: the farrier's, or the one for the teeth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Visit {
    /// When.
    pub entry: Entry,
    /// After how many weeks (feet) or months (teeth) the next is wanted.
    pub next_in: Option<u32>,
    /// Whether the whole foot, or mouth, was seen to: not a repair alone.
    pub whole: bool,
}

/// Something seen: a wound, or a finding on a foot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seen<'a> {
    /// When.
    pub entry: Entry,
    /// Its code.
    pub code: &'a str,
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
        let details = standing.details;
        match standing.event.kind {
            Kind::Deworming => self.take_worming(standing),
            Kind::EggCount => {
                if let Some(entry) = self.dated(standing) {
                    self.egg_counts.push(EggCount {
                        entry,
                        strongyle_epg: epg(details),
                    });
                }
            }
            Kind::Weight => {
                if let Some(entry) = self.dated(standing) {
                    let by_eye = text(details, "method") == Some("visual");
                    self.weighings.push(Weighing { entry, by_eye });
                }
            }
            Kind::HoofCare => {
                if let Some(entry) = self.dated(standing) {
                    self.feet.push(Visit {
                        entry,
                        next_in: whole_number(details, "next_in_weeks"),
                        whole: text(details, "service") != Some("repair"),
                    });
                    self.take_findings(entry, details);
                }
            }
            Kind::HoofCheck => {
                if let Some(entry) = self.dated(standing) {
                    self.take_findings(entry, details);
                }
            }
            Kind::Dental => {
                if let Some(entry) = self.dated(standing) {
                    self.teeth.push(Visit {
                        entry,
                        next_in: whole_number(details, "next_in_months"),
                        whole: true,
                    });
                }
            }
            Kind::Observation => self.take_wounds(standing),
            Kind::Breeding => self.take_breeding(standing),
            Kind::CarePlan => self.take_order(standing),
            _ => {}
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

    fn take_findings(&mut self, entry: Entry, details: &'a Value) {
        let feet = details.get("feet").and_then(Value::as_object);
        for foot in feet.into_iter().flat_map(|feet| feet.values()) {
            for finding in list(foot, "findings") {
                let there = finding.get("severity").and_then(Value::as_u64) != Some(0);
                if let Some(code) = text(finding, "finding").filter(|_| there) {
                    self.findings.push(Seen { entry, code });
                }
            }
        }
    }

    fn take_wounds(&mut self, standing: &Standing<'a>) {
        let is_wound = |sign: &&Value| {
            let sign = sign.as_str().and_then(|code| code.parse().ok());
            sign.is_some_and(crate::code::Sign::is_wound)
        };
        let Some(code) = list(standing.details, "signs")
            .find(is_wound)
            .and_then(Value::as_str)
        else {
            return;
        };
        if let Some(entry) = self.dated(standing) {
            self.wounds.push(Seen { entry, code });
        }
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
            interval_weeks: whole_number(details, "interval_weeks"),
            instructions: text(details, "instructions"),
            roles: roles.collect(),
            valid_until: date(details, "valid_until"),
        });
    }

    /// Puts the lists of care in the order of their days.
    pub(super) fn sort_care(&mut self) {
        self.wormings.sort_unstable();
        self.egg_counts.sort_by(|a, b| {
            let by_epg = |one: &EggCount| one.strongyle_epg.unwrap_or(-1.0);
            a.entry.cmp(&b.entry).then(by_epg(a).total_cmp(&by_epg(b)))
        });
        self.weighings.sort_by_key(|one| (one.entry, one.by_eye));
        self.feet.sort_unstable();
        self.teeth.sort_unstable();
        self.findings.sort_unstable();
        self.wounds.sort_unstable();
        self.breeding.sort_unstable();
        self.orders.sort_unstable();
    }
}

/// Strongyle eggs per gram: as given, else from the count and its factor.
fn epg(details: &Value) -> Option<f64> {
    let number = |field: &str| details.get(field).and_then(Value::as_f64);
    number("strongyle_epg").or_else(|| {
        let counted = number("eggs_counted")?;
        Some(counted * number("multiplication_factor")?)
    })
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
