//! When a weight is too old to dose by.

use super::Item;
use super::case::{Age, Case, Draft, past};
use crate::kind::Role;

const WHO: &[Role] = &[Role::Owner, Role::BarnStaff, Role::Farrier, Role::Vet];

impl Case<'_> {
    pub(super) fn add_weight(&self, items: &mut Vec<Item>) {
        if matches!(self.age, Age::Born(earliest, _) if earliest > self.on) {
            return;
        }
        let rows = &self.rules.parasite_programme.weights;
        let Some(row) = rows.iter().find(|row| {
            row.age_until
                .is_none_or(|until| self.age.below(until, self.on))
        }) else {
            return;
        };
        let mut draft = Draft::new("weight.measure", row, WHO);
        let last = past(&self.record.weighings, self.on, |one| &one.entry).last();
        draft.last_on = last.map(|one| one.entry.day);
        match last {
            None => {
                draft.from = Some(self.on);
                draft.say("no weight on record, and every dose goes by weight");
            }
            Some(last) if last.by_eye() => {
                draft.from = Some(last.entry.day);
                draft.say("the last weight was judged by eye: measure before dosing");
            }
            Some(last) => {
                draft.from = Some(row.good_for.after(last.entry.day));
                draft.say(format_args!(
                    "a weight is good to dose by for {}",
                    row.good_for
                ));
            }
        }
        items.push(draft.finish(self.on));
    }
}
