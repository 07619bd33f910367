//! Doses of mares in foal: those of every pregnancy, and the one some weeks before foaling.

use chrono::NaiveDate;

use super::case::{Case, Draft};
use crate::calendar::days_before;
use crate::figure::growth::gestation::{Gestation, gestation};
use crate::kind::Role;
use crate::rules::vaccination::{Gestation as Doses, Prepartum, Vaccine};

/// A yearly dose that would fall within so many days before the window before foaling waits for it (a proposal of ours).
const WAITS: u32 = 60;
/// A dose given so many days before that window still counts for it (a proposal of ours).
const EARLY: u32 = 14;

impl<'a> Case<'a> {
    /// The foaling that is expected, from the day of covering, and the rule about the dose before it.
    fn foaling(&self) -> Option<(Gestation<'a>, &'a Prepartum)> {
        let row = self.rules.vaccination.prepartum.first()?;
        let covered = self.in_foal?.covered_on?;
        let dates = gestation(covered, self.horse.breed_type, &self.rules.growth)?;
        Some((dates, row))
    }

    /// The doses that every pregnancy has of this vaccine; none if it has none, or all are given.
    pub(super) fn in_pregnancy(
        &self,
        vaccine: &'a Vaccine,
        doses: &[NaiveDate],
    ) -> Option<Draft<'a>> {
        let covered = self.in_foal?.covered_on;
        let row = self.rules.vaccination.gestation.iter().find(|row| {
            row.disease == vaccine.disease && (row.risks.is_empty() || self.has_risk(&row.risks))
        })?;
        let mut draft = Draft::new(
            format!("vaccination.{}", vaccine.disease),
            row,
            &[Role::Vet],
        );
        draft.last_on = doses.last().copied();
        let Some(covered) = covered else {
            if row.unless_begun && !doses.is_empty() {
                return None;
            }
            draft.ask_vet = true;
            draft.say("in foal, but the day of covering isn't known: the vet sets the days");
            return Some(draft);
        };
        self.next_of_pregnancy(draft, row, covered, doses)
    }

    fn next_of_pregnancy(
        &self,
        mut draft: Draft<'a>,
        row: &Doses,
        covered: NaiveDate,
        doses: &[NaiveDate],
    ) -> Option<Draft<'a>> {
        let first = row.doses.first()?;
        let begins = first
            .gestation_from
            .map_or(covered, |from| days_before(from.after(covered), EARLY));
        if row.unless_begun && doses.iter().any(|day| *day < begins) {
            return None;
        }
        let given: Vec<NaiveDate> = doses.iter().copied().filter(|day| *day >= begins).collect();
        let mut counted = given.len();
        // A dose whose time is past is not made up for: the next one comes in its own time.
        let mut missed = None;
        let windows = |nth: usize| {
            let last = given.last().copied();
            row.doses.get(nth).map(|rule| self.window(rule, last))
        };
        while let (Some((_, Some(by))), Some((Some(next_from), _))) =
            (windows(counted), windows(counted + 1))
            && by < self.on
            && next_from <= self.on
            && row.doses[counted].gestation_from.is_some()
            && row.doses[counted + 1].gestation_from.is_some()
        {
            missed = Some(counted + 1);
            counted += 1;
        }
        let (from, by) = windows(counted)?;
        (draft.from, draft.by) = (from, by);
        draft.dose_number = u32::try_from(counted + 1).ok();
        draft.say(format_args!(
            "dose {} of {} of this pregnancy (covered on {covered})",
            counted + 1,
            row.doses.len()
        ));
        if let Some(missed) = missed {
            draft.say(format_args!("dose {missed} was missed: tell the vet"));
        }
        if by.is_some_and(|by| by < self.on) {
            draft.ask_vet = true;
            draft.say("it is late: the vet decides");
        }
        Some(draft)
    }

    /// Moves a booster to the weeks before foaling.
    pub(super) fn before_foaling(
        &self,
        draft: &mut Draft<'a>,
        vaccine: &'a Vaccine,
        doses: &[NaiveDate],
    ) {
        if !vaccine.prepartum || self.in_foal.is_none() {
            return;
        }
        let Some((foaling, row)) = self.foaling() else {
            draft.say("in foal, but the day of covering isn't known: the dose before foaling can't be dated");
            return;
        };
        let (foaling, long_after) = (foaling.due_on, foaling.long_after);
        let from = days_before(foaling, row.before_foaling_from);
        let by = days_before(foaling, row.before_foaling_until);
        let given = doses
            .last()
            .is_some_and(|last| *last >= days_before(from, EARLY));
        let yearly_first = draft
            .by
            .is_some_and(|yearly| yearly < days_before(from, WAITS));
        if given || long_after < self.on {
            return;
        }
        if yearly_first {
            draft.say(format_args!("and again before foaling, from {from}"));
            return;
        }
        draft.take_row(row);
        (draft.from, draft.by) = (Some(from), Some(by));
        draft.say(format_args!(
            "in foal, expected about {foaling}: the yearly dose comes six to four weeks before"
        ));
    }
}
