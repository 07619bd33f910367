//! A horse's record as the figures read it: the log gone through once, each kind in its own list, by day.
//!
//! Reading is lenient. A figure must answer from an old log or a foreign one, so what can't be read is noted and
//! counts for nothing; it never counts in the horse's favour.

mod care;

use chrono::NaiveDate;
use serde_json::Value;

pub use self::care::{Actives, Bred, Look, Order, Worming};

use crate::disease::{Disease, Diseases};
use crate::effective::{Standing, effective};
use crate::figure::Warning;
use crate::horse::CareEvent;
use crate::ids::EventId;
use crate::kind::{Kind, Provenance, Role, codes};
use crate::when::PartialDate;

codes! {
    /// The grade of evidence of an entry, the best first.
    Grade {
        /// Recorded and signed by somebody whose licence covers it.
        Attested = "attested",
        /// Copied from paper or recorded by others, and vouched for by a vet since.
        Countersigned = "countersigned",
        /// Recorded by anyone else who may.
        Recorded = "recorded",
        /// Copied from paper.
        Transcribed = "transcribed",
    }
}

/// What every entry of the record has: when, which event, and how far it can be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry {
    /// The calendar day that counts for it.
    pub day: NaiveDate,
    /// The event.
    pub id: Option<EventId>,
    /// Its grade.
    pub grade: Grade,
    /// Whether a vet recorded it as their own or vouched for it.
    pub by_vet: bool,
}

/// A vaccine given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dose<'a> {
    /// When, and how far it can be relied on.
    pub entry: Entry,
    /// What it is aimed at.
    pub targets: Diseases,
    /// Whether the vial had expired by that day.
    pub expired: bool,
    /// The details; none for a dose that is only planned.
    pub details: Option<&'a Value>,
}

impl Dose<'_> {
    /// Whether product, lot number and a readable expiry are known.
    #[must_use]
    pub fn lot_known(&self) -> bool {
        self.details.is_some_and(|details| {
            text(details, "product").is_some()
                && text(details, "lot_number").is_some()
                && expiry(details).is_some()
        })
    }
}

/// The result of a laboratory test, as far as entry rules go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Test<'a> {
    /// Dated by the day the sample was drawn.
    pub entry: Entry,
    /// Which test.
    pub test: &'a str,
    /// Its result; none while it is pending.
    pub result: Option<&'a str>,
}

/// A health certificate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Certificate {
    /// Dated by the day of issue.
    pub entry: Entry,
    /// Its own last day, where it states one.
    pub valid_until: Option<NaiveDate>,
}

/// A transponder number that an identity event states.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chip<'a> {
    /// When it was stated.
    pub entry: Entry,
    /// The number.
    pub number: &'a str,
}

/// The record, each list by day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record<'a> {
    /// Vaccines given.
    pub doses: Vec<Dose<'a>>,
    /// Laboratory tests.
    pub tests: Vec<Test<'a>>,
    /// Health certificates.
    pub certificates: Vec<Certificate>,
    /// Transponder numbers stated.
    pub chips: Vec<Chip<'a>>,
    /// Diseases of which there is a dose without a day.
    pub undated: Diseases,
    /// Dewormers given.
    pub wormings: Vec<Worming>,
    /// Faecal egg counts.
    pub egg_counts: Vec<Look<'a>>,
    /// Weights.
    pub weighings: Vec<Look<'a>>,
    /// The farrier's visits.
    pub hoof_visits: Vec<Look<'a>>,
    /// Feet picked out and looked at.
    pub hoof_checks: Vec<Look<'a>>,
    /// Dental work and exams.
    pub dental_visits: Vec<Look<'a>>,
    /// Signs that somebody saw.
    pub observations: Vec<Look<'a>>,
    /// Steps of breeding.
    pub breeding: Vec<Bred>,
    /// Care plans.
    pub orders: Vec<Order<'a>>,
    /// What could not be read, and so counts for nothing.
    pub unread: Vec<Warning>,
}

/// The kinds of events that a record or a profile is read from; others may be left out of the log.
pub const READ: &[Kind] = &[
    Kind::Vaccination,
    Kind::LaboratoryTest,
    Kind::HealthCertificate,
    Kind::Identity,
    Kind::Deworming,
    Kind::EggCount,
    Kind::Weight,
    Kind::HoofCare,
    Kind::HoofCheck,
    Kind::Dental,
    Kind::Observation,
    Kind::Breeding,
    Kind::CarePlan,
    Kind::Amendment,
    Kind::Retraction,
    Kind::Countersign,
    Kind::Erasure,
];

impl<'a> Record<'a> {
    /// Reads a log.
    #[must_use]
    pub fn of(events: &'a [CareEvent]) -> Self {
        let resolved = effective(events);
        let mut record = Self::default();
        for standing in resolved.in_force() {
            record.take(standing);
        }
        record.sort();
        for event in resolved.unresolved {
            record.unread.push(Warning::new(
                "unknown_target",
                format!(
                    "{} speaks of an event that is not in this log; it changes nothing",
                    described(event.kind, event.id)
                ),
            ));
        }
        record.unread.sort_by(|a, b| a.text.cmp(&b.text));
        record
    }

    /// Puts every list in the order of its days, the same whatever order the entries came in.
    pub(crate) fn sort(&mut self) {
        self.doses.sort_by_key(|one| (one.entry, one.targets));
        self.tests
            .sort_by_key(|one| (one.entry, one.test, one.result));
        self.certificates
            .sort_by_key(|one| (one.entry, one.valid_until));
        self.chips.sort_by_key(|one| (one.entry, one.number));
        self.sort_care();
    }

    fn take(&mut self, standing: &Standing<'a>) {
        match standing.event.kind {
            Kind::Vaccination => self.take_dose(standing),
            Kind::LaboratoryTest => self.take_test(standing),
            Kind::HealthCertificate => self.take_certificate(standing),
            Kind::Identity => self.take_chip(standing),
            _ => self.take_care(standing),
        }
    }

    fn take_dose(&mut self, standing: &Standing<'a>) {
        let details = standing.details;
        let mut targets = Diseases::default();
        let mut unknown = Vec::new();
        for code in details
            .get("targets")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
        {
            match code.as_str().map(str::parse::<Disease>) {
                Some(Ok(disease)) => targets.insert(disease),
                _ => unknown.push(code.to_string()),
            }
        }
        if targets.is_empty() || !unknown.is_empty() {
            let what = if unknown.is_empty() {
                "doesn't say against which diseases".to_owned()
            } else {
                format!("names no disease known here: {}", unknown.join(", "))
            };
            self.note(standing, "unknown_disease", &what);
        }
        let Some(entry) = self.dated(standing) else {
            let could_be = if targets.is_empty() {
                Disease::ALL.iter().copied().collect()
            } else {
                targets
            };
            self.undated.insert_all(could_be);
            return;
        };
        self.doses.push(Dose {
            entry,
            targets,
            expired: expiry(details).is_some_and(|expiry| expiry.latest() < entry.day),
            details: Some(details),
        });
    }

    fn take_test(&mut self, standing: &Standing<'a>) {
        let details = standing.details;
        let Some(test) = text(details, "test") else {
            return self.note(standing, "unknown_test", "doesn't say which test it was");
        };
        let Some(day) = date(details, "drawn_on") else {
            let what = "doesn't say when the sample was drawn, and that day counts";
            return self.note(standing, "undated", what);
        };
        self.tests.push(Test {
            entry: entry(standing, day),
            test,
            result: text(details, "result"),
        });
    }

    fn take_certificate(&mut self, standing: &Standing<'a>) {
        let details = standing.details;
        let Some(day) = date(details, "issued_on") else {
            let what = "doesn't say when it was issued, and that day counts";
            return self.note(standing, "undated", what);
        };
        self.certificates.push(Certificate {
            entry: entry(standing, day),
            valid_until: date(details, "valid_until"),
        });
    }

    fn take_chip(&mut self, standing: &Standing<'a>) {
        if let Some(number) = text(standing.details, "microchip")
            && let Some(entry) = self.dated(standing)
        {
            self.chips.push(Chip { entry, number });
        }
    }

    /// The entry dated by the day the event happened.
    fn dated(&mut self, standing: &Standing<'a>) -> Option<Entry> {
        let day = standing.event.day().ok();
        if day.is_none() {
            self.note_undated(standing);
        }
        day.map(|day| entry(standing, day))
    }

    fn note_undated(&mut self, standing: &Standing<'_>) {
        self.note(standing, "undated", "has no day, or two that differ");
    }

    fn note(&mut self, standing: &Standing<'_>, code: &str, what: &str) {
        let who = described(standing.event.kind, standing.event.id);
        let text = format!("{who} {what}; it counts for nothing");
        self.unread.push(Warning::new(code, text));
    }
}

fn described(kind: Kind, id: Option<EventId>) -> String {
    match id {
        Some(id) => format!("the {kind} event {id}"),
        None => format!("a {kind} event"),
    }
}

fn entry(standing: &Standing<'_>, day: NaiveDate) -> Entry {
    let vouched = standing.countersigned_by == Some(Role::Vet);
    let attested = standing.provenance == Provenance::Attested;
    let as_vet = matches!(standing.role, None | Some(Role::Vet));
    Entry {
        day,
        id: standing.event.id,
        grade: match standing.provenance {
            Provenance::Attested => Grade::Attested,
            _ if vouched => Grade::Countersigned,
            Provenance::Recorded => Grade::Recorded,
            Provenance::Transcribed => Grade::Transcribed,
        },
        by_vet: vouched || (attested && as_vet),
    }
}

/// A field that holds some text.
pub(crate) fn text<'a>(details: &'a Value, field: &str) -> Option<&'a str> {
    let text = details.get(field)?.as_str()?.trim();
    (!text.is_empty()).then_some(text)
}

/// When a vial expires.
fn expiry(details: &Value) -> Option<PartialDate> {
    text(details, "expiration_date")?.parse().ok()
}

/// A field that holds a day.
pub(crate) fn date(details: &Value, field: &str) -> Option<NaiveDate> {
    text(details, field)?.parse().ok()
}
