//! The yearly test whether a dewormer still works: a count before a treatment and one after.

use chrono::NaiveDate;

use super::case::{Case, Draft, past};
use super::parasite::{COUNTS, on_strongyles};
use crate::calendar::{Period, days_after, days_before};
use crate::code::Shedder;
use crate::rules::parasite_programme::ReductionTest;

/// How long ahead of its last day the next test is shown as due, in days (a proposal of ours).
const AHEAD: u32 = 30;

impl<'a> Case<'a> {
    pub(super) fn reduction_test(&self, profile: &str) -> Option<Draft<'a>> {
        let tests = &self.rules.parasite_programme.tests;
        let row = tests.iter().find(|row| row.profile == profile)?;
        let counts: Vec<NaiveDate> = past(&self.record.egg_counts, self.on, |one| &one.entry)
            .map(|one| one.entry.day)
            .collect();
        let treated: Vec<NaiveDate> = self
            .wormings()
            .filter(|one| on_strongyles(one))
            .map(|one| one.entry.day)
            .collect();
        let last_treated = *treated.last()?;
        let mut draft = Draft::new("parasite.reduction_test", row, COUNTS);
        draft.last_on = treated
            .iter()
            .rev()
            .find_map(|day| completed(row, *day, &counts));
        if let Some(from) = half_done(row, last_treated, &counts, self.on) {
            draft.from = Some(from);
            draft.by = Some(days_after(last_treated, row.count_until));
            draft.say(format_args!(
                "counted before the treatment of {last_treated}: count again, best on {}, to see whether it worked",
                days_after(last_treated, row.count_on)
            ));
            return Some(draft);
        }
        if let Some(last) = draft.last_on {
            let by = row.every.after(last);
            draft.by = Some(by);
            draft.from = Some(days_before(by, AHEAD));
        } else {
            // Nobody tests a horse that is no longer treated.
            let lately = Period::months(12).after(last_treated) >= self.on;
            if !lately {
                return None;
            }
            draft.from = Some(self.on);
        }
        draft.say(
            "every dewormer used is tested once a year in a herd: count before the next treatment and 14 days after it",
        );
        if let Some((Shedder::Low, day)) = self.shedder() {
            draft.say(format_args!(
                "this horse shed too few eggs on {day} to show much: take herd-mates that shed more"
            ));
        }
        Some(draft)
    }
}

fn counted_before(row: &ReductionTest, treated: NaiveDate, counts: &[NaiveDate]) -> bool {
    let from = days_before(treated, row.counted_before);
    counts.iter().any(|day| (from..=treated).contains(day))
}

/// The day of the second count of a test around a treatment, if there is one.
fn completed(row: &ReductionTest, treated: NaiveDate, counts: &[NaiveDate]) -> Option<NaiveDate> {
    let from = days_after(treated, row.count_from);
    let until = days_after(treated, row.count_until);
    let second = counts.iter().find(|day| (from..=until).contains(day))?;
    counted_before(row, treated, counts).then_some(*second)
}

/// The first day for the second count, while it still can be made.
fn half_done(
    row: &ReductionTest,
    treated: NaiveDate,
    counts: &[NaiveDate],
    on: NaiveDate,
) -> Option<NaiveDate> {
    let open = on <= days_after(treated, row.count_until);
    let begun = counted_before(row, treated, counts);
    let done = completed(row, treated, counts).is_some();
    (open && begun && !done).then(|| days_after(treated, row.count_from))
}
