//! Planning tests, certificates and microchips.

use chrono::NaiveDate;

use super::{Action, Need, Question};
use crate::calendar::days_after;
use crate::figure::entry::check::{Facts, check};
use crate::figure::entry::rule_set::{Asks, LabTest, Paper, Validity};
use crate::kind::Role;
use crate::record::{Certificate, Entry, Grade, Record, Test};

/// How far ahead a first possible arrival is looked for, in days.
const HORIZON: u32 = 800;

/// An entry as a vet would make it on that day.
pub(super) const fn a_vets_entry(day: NaiveDate) -> Entry {
    Entry {
        day,
        id: None,
        grade: Grade::Attested,
        by_vet: true,
    }
}

/// Where to look: every day from the arrival on, within the horizon.
fn days_from(arrives: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    (0..HORIZON).map(move |n| days_after(arrives, n))
}

/// Whether the clauses that `asked_of` picks are met by a record.
fn met(question: &Question<'_>, record: &Record<'_>, arrives: NaiveDate, asked_of: Asked) -> bool {
    let facts = Facts {
        record,
        ..question.facts
    };
    let stay = question.stay_from(arrives);
    question.sets.iter().all(|set| {
        set.clauses
            .iter()
            .filter(|clause| asked_of.covers(&clause.asks))
            .all(|clause| check(set, clause, &facts, stay).met)
    })
}

#[derive(Clone, Copy)]
enum Asked<'a> {
    Test(&'a str),
    Certificate,
    Microchip,
}

impl Asked<'_> {
    fn covers(self, asks: &Asks) -> bool {
        match (self, asks) {
            (Self::Test(code), Asks::Test(test)) => test.test == code,
            (Self::Certificate, Asks::Certificate(_)) | (Self::Microchip, Asks::Microchip(_)) => {
                true
            }
            _ => false,
        }
    }
}

/// What puts a test or certificate in order.
enum Way {
    /// It is.
    Nothing,
    /// A sample or certificate of that day is there, but something about it is missing.
    Complete(NaiveDate),
    /// A new one, from that day on.
    New(NaiveDate),
}

/// A laboratory test.
pub(super) struct TestNeed<'a> {
    question: Question<'a>,
    code: &'a str,
    asked: Vec<&'a LabTest>,
}

impl<'a> TestNeed<'a> {
    pub(super) fn new(question: Question<'a>, code: &'a str) -> Self {
        let asked = question.asks().filter_map(|(_, asks)| match asks {
            Asks::Test(test) if test.test == code => Some(test),
            _ => None,
        });
        Self {
            question,
            code,
            asked: asked.collect(),
        }
    }

    fn sample(&self, day: NaiveDate) -> Test<'a> {
        Test {
            entry: a_vets_entry(day),
            test: self.code,
            result: self.asked.first().map(|test| test.result.as_str()),
        }
    }

    /// Tests that count once their result is in and a vet stands for them.
    fn incomplete(&self, arrives: NaiveDate) -> impl Iterator<Item = NaiveDate> {
        let open = move |one: &Test<'_>| {
            let takes = |test: &&LabTest| test.evidence.takes(&one.entry);
            let undecided = one.result.is_none_or(|result| {
                result.eq_ignore_ascii_case("pending")
                    || result.eq_ignore_ascii_case("inconclusive")
            });
            let covers = self.asked.iter().all(|test| test.is(one.test));
            one.entry.day <= arrives && covers && (undecided || !self.asked.iter().all(takes))
        };
        let tests = self.question.facts.record.tests.iter().rev();
        tests.filter(move |one| open(one)).map(|one| one.entry.day)
    }

    fn way(&self, arrives: NaiveDate) -> Option<Way> {
        let with = |day: Option<NaiveDate>| {
            let mut record = Record {
                tests: self.question.facts.record.tests.clone(),
                ..Record::default()
            };
            record.tests.extend(day.map(|day| self.sample(day)));
            record.sort();
            met(&self.question, &record, arrives, Asked::Test(self.code))
        };
        if with(None) {
            return Some(Way::Nothing);
        }
        if let Some(day) = self.incomplete(arrives).find(|day| with(Some(*day))) {
            return Some(Way::Complete(day));
        }
        let stay = self.question.stay_from(arrives);
        let from = self
            .asked
            .iter()
            .map(|test| test.valid.first_reaching(stay.through(test.through)))
            .chain(self.question.on)
            .max()?;
        (from <= arrives && with(Some(from))).then_some(Way::New(from))
    }
}

impl<'a> Need<'a> for TestNeed<'a> {
    fn earliest(&self, arrives: NaiveDate) -> Option<NaiveDate> {
        days_from(arrives).find(|day| self.way(*day).is_some())
    }

    fn actions(&self, arrives: NaiveDate, _: bool) -> Vec<Action> {
        let name = self.code.to_uppercase();
        let (what, from) = match self.way(arrives) {
            None | Some(Way::Nothing) => return Vec::new(),
            Some(Way::Complete(day)) => (
                format!(
                    "{name} test of {day}: get the result onto the record, entered or countersigned by a vet"
                ),
                self.question.on.unwrap_or(day),
            ),
            Some(Way::New(from)) => (
                format!(
                    "{name} test: have a vet draw blood; the result must be back before arrival"
                ),
                from,
            ),
        };
        vec![Action {
            what,
            from: from.min(arrives),
            until: Some(arrives),
            who: vec![Role::Vet],
        }]
    }

    fn carry_out(&self, arrives: NaiveDate, record: &mut Record<'a>) {
        if let Some(Way::Complete(day) | Way::New(day)) = self.way(arrives) {
            record.tests.push(self.sample(day));
        }
    }
}

/// A health certificate.
pub(super) struct CertificateNeed<'a> {
    question: Question<'a>,
    asked: Vec<&'a Paper>,
}

impl<'a> CertificateNeed<'a> {
    pub(super) fn new(question: Question<'a>) -> Self {
        let asked = question.asks().filter_map(|(_, asks)| match asks {
            Asks::Certificate(paper) => Some(paper),
            _ => None,
        });
        Self {
            question,
            asked: asked.collect(),
        }
    }

    fn way(&self, arrives: NaiveDate) -> Option<Way> {
        let with = |extra: Option<Certificate>| {
            let mut record = Record {
                certificates: self.question.facts.record.certificates.clone(),
                ..Record::default()
            };
            record.certificates.extend(extra);
            record.sort();
            met(&self.question, &record, arrives, Asked::Certificate)
        };
        if with(None) {
            return Some(Way::Nothing);
        }
        let vouched = |one: &Certificate| Certificate {
            entry: a_vets_entry(one.entry.day),
            ..*one
        };
        let on_record = self.question.facts.record.certificates.iter().rev();
        if let Some(one) = on_record
            .filter(|one| !one.entry.by_vet && one.entry.day <= arrives)
            .find(|one| with(Some(vouched(one))))
        {
            return Some(Way::Complete(one.entry.day));
        }
        let stay = self.question.stay_from(arrives);
        let from = self
            .asked
            .iter()
            .map(|paper| Validity::Within(paper.within).first_reaching(stay.through(paper.through)))
            .chain(self.question.on)
            .max()?;
        (from <= arrives && with(Some(a_certificate(from)))).then_some(Way::New(from))
    }
}

const fn a_certificate(day: NaiveDate) -> Certificate {
    Certificate {
        entry: a_vets_entry(day),
        valid_until: None,
    }
}

impl<'a> Need<'a> for CertificateNeed<'a> {
    fn earliest(&self, arrives: NaiveDate) -> Option<NaiveDate> {
        days_from(arrives).find(|day| self.way(*day).is_some())
    }

    fn actions(&self, arrives: NaiveDate, _: bool) -> Vec<Action> {
        let (what, from) = match self.way(arrives) {
            None | Some(Way::Nothing) => return Vec::new(),
            Some(Way::Complete(day)) => (
                format!("health certificate of {day}: have a vet countersign the entry"),
                self.question.on.unwrap_or(day),
            ),
            Some(Way::New(from)) => (
                "health certificate: have an accredited vet examine the horse and issue it"
                    .to_owned(),
                from,
            ),
        };
        vec![Action {
            what,
            from: from.min(arrives),
            until: Some(arrives),
            who: vec![Role::Vet],
        }]
    }

    fn carry_out(&self, arrives: NaiveDate, record: &mut Record<'a>) {
        match self.way(arrives) {
            Some(Way::Complete(day)) => {
                for one in &mut record.certificates {
                    if one.entry.day == day {
                        one.entry = a_vets_entry(day);
                    }
                }
            }
            Some(Way::New(day)) => record.certificates.push(a_certificate(day)),
            None | Some(Way::Nothing) => {}
        }
    }
}

/// A transponder.
pub(super) struct ChipNeed<'a> {
    question: Question<'a>,
}

impl<'a> ChipNeed<'a> {
    pub(super) const fn new(question: Question<'a>) -> Self {
        Self { question }
    }

    fn has_one(&self) -> bool {
        let record = self.question.facts.record;
        met(
            &self.question,
            record,
            self.question.stay.arrives,
            Asked::Microchip,
        )
    }
}

impl<'a> Need<'a> for ChipNeed<'a> {
    fn earliest(&self, arrives: NaiveDate) -> Option<NaiveDate> {
        if self.has_one() {
            Some(arrives)
        } else {
            Some(self.question.on.map_or(arrives, |on| on.max(arrives)))
        }
    }

    fn actions(&self, arrives: NaiveDate, _: bool) -> Vec<Action> {
        if self.has_one() {
            return Vec::new();
        }
        vec![Action {
            what: "microchip: have the horse scanned; if no ISO 11784 chip is found, have one implanted, and record its number"
                .to_owned(),
            from: self.question.on.unwrap_or(arrives).min(arrives),
            until: Some(arrives),
            who: vec![Role::Vet],
        }]
    }

    fn carry_out(&self, _: NaiveDate, _: &mut Record<'a>) {}

    fn gives_a_chip(&self, _: NaiveDate) -> bool {
        !self.has_one()
    }
}
