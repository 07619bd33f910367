//! Checking tests, certificates and microchips.

use chrono::NaiveDate;

use super::{Facts, Finding, Stay};
use crate::figure::Warning;
use crate::figure::entry::rule_set::{LabTest, Paper};
use crate::microchip;
use crate::record::{Entry, Record};

pub(super) fn check_test(test: &LabTest, record: &Record<'_>, stay: Stay) -> Finding {
    let needed = stay.through(test.through);
    let mut latest: Option<(Entry, NaiveDate)> = None;
    let mut doubts = Vec::new();
    for one in &record.tests {
        let day = one.entry.day;
        if !test.is(one.test) || day > stay.arrives {
            continue;
        }
        match one.result {
            None => doubts.push(format!("the result of the sample of {day} is not in")),
            Some(result) if !result.eq_ignore_ascii_case(&test.result) => {
                let pending = result.eq_ignore_ascii_case("pending");
                if pending || result.eq_ignore_ascii_case("inconclusive") {
                    doubts.push(format!("the result of the sample of {day} is {result}"));
                } else {
                    return Finding::not_met(
                        format!("the test of {day} was {result}: the state's vet decides"),
                        vec![one.entry],
                    );
                }
            }
            Some(_) if !test.evidence.takes(&one.entry) => doubts.push(format!(
                "the test of {day} is {} and doesn't count until a vet countersigns it",
                one.entry.grade
            )),
            Some(_) => latest = Some((one.entry, test.valid.last_day(day))),
        }
    }
    let doubts = (!doubts.is_empty()).then(|| doubts.join("; "));
    match latest {
        None => Finding::not_met(
            format!("no {} test that counts is on record", test.result),
            Vec::new(),
        ),
        Some((entry, last)) if needed <= last => {
            let reason = format!(
                "drawn on {}, {}; good through {last}",
                entry.day, test.result
            );
            let mut finding = Finding::met(reason, vec![entry]);
            if needed == last {
                finding.warnings.push(Warning::new(
                    "last_day",
                    format!(
                        "the test ends on {last} itself; some states count it as ended that day"
                    ),
                ));
            }
            finding
        }
        Some((entry, last)) => Finding::not_met(
            format!(
                "the sample of {} was good through {last}, and it must last until {needed}",
                entry.day
            ),
            vec![entry],
        ),
    }
    .unless(doubts)
}

pub(super) fn check_certificate(paper: &Paper, record: &Record<'_>, stay: Stay) -> Finding {
    let needed = stay.through(paper.through);
    let mut best: Option<(Entry, NaiveDate)> = None;
    let mut doubts = Vec::new();
    for one in &record.certificates {
        let day = one.entry.day;
        if day > stay.arrives {
            continue;
        }
        if !paper.evidence.takes(&one.entry) {
            doubts.push(format!(
                "the certificate of {day} is {} and doesn't count until a vet countersigns it",
                one.entry.grade
            ));
            continue;
        }
        let last = paper.within.after(day);
        let last = one.valid_until.map_or(last, |own| own.min(last));
        if best.is_none_or(|(_, other)| last >= other) {
            best = Some((one.entry, last));
        }
    }
    let doubts = (!doubts.is_empty()).then(|| doubts.join("; "));
    match best {
        None => Finding::not_met(
            "no certificate that counts is on record".to_owned(),
            Vec::new(),
        ),
        Some((entry, last)) if needed <= last => {
            let reason = format!("issued on {}; good through {last}", entry.day);
            Finding::met(reason, vec![entry])
        }
        Some((entry, last)) => Finding::not_met(
            format!("the certificate of {} was good through {last}", entry.day),
            vec![entry],
        ),
    }
    .unless(doubts)
}

pub(super) fn check_microchip(facts: &Facts<'_>) -> Finding {
    let stated = facts.record.chips.last();
    let Some(number) = facts.microchip.or(stated.map(|chip| chip.number)) else {
        return Finding {
            unknown: true,
            ..Finding::not_met("no microchip number is on record".to_owned(), Vec::new())
        };
    };
    let rests_on: Vec<Entry> = facts
        .record
        .chips
        .iter()
        .filter(|chip| chip.number == number)
        .map(|chip| chip.entry)
        .next_back()
        .into_iter()
        .collect();
    match microchip::check(number, facts.prefixes) {
        Ok(prefix) => {
            let reason = format!("{number} is of the ISO form: {}", prefix.meaning);
            Finding::met(reason, rests_on)
        }
        Err(reason) => Finding::not_met(reason, rests_on),
    }
}
