//! When a mare in foal is due.

use chrono::NaiveDate;

use crate::calendar::days_after;
use crate::horse::BreedType;
use crate::kind::codes;

use super::pack::{BreedGestation, GestationRule, Growth};

codes! {
    /// How long a mare carried.
    Carried {
        /// So short that a foal rarely lives.
        VeryShort = "very_short",
        /// A premature foal.
        Short = "short",
        /// As mares do.
        Usual = "usual",
        /// Longer.
        Long = "long",
    }
}

/// When a mare is due, from the day of her last covering.
#[derive(Clone, Copy, Debug)]
pub struct Gestation<'a> {
    /// A foal before this day rarely lives.
    pub viable_from: NaiveDate,
    /// Watch her from this day on; a foal before it is early and needs a vet.
    pub watch_from: NaiveDate,
    /// The day she is due. Healthy foals come weeks to either side of it.
    pub due_on: NaiveDate,
    /// Still in foal after this day: ask the vet.
    pub long_after: NaiveDate,
    /// The usual day for mares of her build, where a study gives one, and the rule that says so.
    pub usual_on: Option<(NaiveDate, &'a BreedGestation)>,
    /// The rule that the dates come from.
    pub rule: &'a GestationRule,
}

impl Gestation<'_> {
    /// How long she carried, if she foaled on this day.
    #[must_use]
    pub fn carried(&self, foaled_on: NaiveDate) -> Carried {
        if foaled_on < self.viable_from {
            Carried::VeryShort
        } else if foaled_on < self.watch_from {
            Carried::Short
        } else if foaled_on <= self.long_after {
            Carried::Usual
        } else {
            Carried::Long
        }
    }
}

/// The dates of a pregnancy; `None` only if a pack has no rule of gestation.
///
/// # Source
///
/// The pack `growth`: 340 days from the last covering (Penn Vet field service), 320 to 365 normal.
#[must_use]
pub fn gestation(
    covered_on: NaiveDate,
    breed_type: Option<BreedType>,
    growth: &Growth,
) -> Option<Gestation<'_>> {
    let rule = growth.gestations.first()?;
    let breed = growth
        .breeds
        .iter()
        .find(|row| Some(row.breed_type) == breed_type);
    Some(Gestation {
        viable_from: days_after(covered_on, rule.viable_day),
        watch_from: days_after(covered_on, rule.watch_day),
        due_on: days_after(covered_on, rule.due_day),
        long_after: days_after(covered_on, rule.long_day),
        usual_on: breed.map(|row| (days_after(covered_on, row.days), row)),
        rule,
    })
}
