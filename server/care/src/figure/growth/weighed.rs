//! The weight by the curve, and how far a horse's own lies from it.

use std::ops::RangeInclusive;

use crate::fault::Faults;
use crate::rules::Rules;
use crate::unit::{Given, KILOGRAMS, POUNDS, WEIGHTS, either, plain};

use super::age::months;
use super::curve::Curve;
use super::pack::{Growth, ToleranceName};
use super::{Found, Input, Life};

/// The weights as they were given, within what is possible for any horse.
pub(super) struct Weights {
    /// Grown.
    pub(super) mature: Option<Given>,
    /// On the day to answer for.
    pub(super) now: Option<Given>,
}

impl Weights {
    pub(super) fn taken(input: &Input, rules: &Rules, faults: &mut Faults) -> Self {
        let mut weight = |limit, kg: (&str, Option<f64>), lb: (&str, Option<f64>)| {
            let given = either(faults, "", (kg.0, kg.1, KILOGRAMS), (lb.0, lb.1, POUNDS))?;
            let field = if given.unit == POUNDS { lb.0 } else { kg.0 };
            if let Err(detail) = rules.limits.allow(limit, given.metric()) {
                faults.add(format!("/{field}"), detail);
            }
            Some(given)
        };
        let mature = weight(
            "mature_weight_kg",
            ("mature_weight_kg", input.mature_weight_kg),
            ("mature_weight_lb", input.mature_weight_lb),
        );
        let now = weight(
            "weight_kg",
            ("weight_kg", input.weight_kg),
            ("weight_lb", input.weight_lb),
        );
        let stated = input.mature_weight_kg.or(input.mature_weight_lb);
        if input.foaled_on.is_some() && stated.is_none() {
            faults.add(
                "/mature_weight_kg",
                "mature_weight_kg is missing: say what it will weigh grown, as its dam and sire do",
            );
        }
        Self { mature, now }
    }
}

/// The weight by the curve.
pub(super) struct Weighed {
    /// In kilograms, unless the days on which it can have been born are too far apart for one number.
    pub(super) expected_kg: Option<f64>,
    /// For the youngest that it can be, in kilograms.
    pub(super) low_kg: f64,
    /// For the oldest that it can be, in kilograms.
    pub(super) high_kg: f64,
    mature_kg: f64,
    /// The middle of the ages that it can have.
    months: f64,
}

impl Weighed {
    pub(super) fn by(
        curve: &Curve,
        life: &Life,
        mature: Given,
        growth: &Growth,
        found: &mut Found,
    ) -> Result<Self, Faults> {
        let mature_kg = mature.metric();
        let (oldest, youngest) = (months(life.oldest, life.on), months(life.youngest, life.on));
        let (high_kg, low_kg) = (curve.kg(oldest, mature_kg), curve.kg(youngest, mature_kg));
        let middle = f64::midpoint(low_kg, high_kg);
        let open = growth.tolerance(ToleranceName::OpenAge)?;
        let expected_kg = (100.0 * (high_kg - low_kg) <= open.percent * middle).then_some(middle);
        found.rest_on(&format!("growth curve {}", curve.id), curve, growth);
        found.basis.caution(
            "The curve is for checking, not for dosing: weigh or tape a young horse for every dose.",
        );
        if let Some(note) = &curve.note {
            found.basis.caution(note.clone());
        }
        let foaled_on = life.foaled_on;
        if expected_kg.is_none() {
            found.warn(
                "age-uncertain",
                format!(
                    "foaled {foaled_on} is not exact enough at this age: give the day for the weight expected; it lies \
                     between {} and {} kg",
                    plain(low_kg),
                    plain(high_kg)
                ),
            );
        } else if foaled_on.exact().is_none() {
            found.basis.caution(format!(
                "the day of its birth is not known ({foaled_on}): the middle of what is possible is taken"
            ));
        }
        let months = f64::midpoint(oldest, youngest);
        if months > curve.until_months {
            found.basis.caution(format!(
                "the curve {} holds until {} months of age; beyond that it is a guess",
                curve.id.to_uppercase(),
                plain(curve.until_months)
            ));
        }
        Ok(Self {
            expected_kg,
            low_kg,
            high_kg,
            mature_kg,
            months,
        })
    }

    /// The curve's percent of the grown weight.
    pub(super) fn percent_of_mature(&self) -> Option<f64> {
        self.expected_kg.map(|kg| 100.0 * kg / self.mature_kg)
    }

    /// How far the horse's own weight lies from the curve, in percent; refuses one that no horse of this age has.
    pub(super) fn compare(
        &self,
        now: Given,
        curve: &Curve,
        growth: &Growth,
        found: &mut Found,
    ) -> Result<Option<f64>, Faults> {
        let share = |name| Ok::<f64, Faults>(growth.tolerance(name)?.percent / 100.0);
        let around = |less: f64, more: f64| -> RangeInclusive<f64> {
            self.low_kg * less..=self.high_kg * more
        };
        let possible = around(share(ToleranceName::Least)?, share(ToleranceName::Most)?);
        let what = "a horse of this age and grown weight";
        if let Some(doubt) = now.doubt(what, &possible, WEIGHTS) {
            let unit = if now.unit == POUNDS { "lb" } else { "kg" };
            return Err(Faults::one(format!("/weight_{unit}"), doubt));
        }
        let off = growth.tolerance(ToleranceName::Off)?;
        let usual = around(1.0 - off.percent / 100.0, 1.0 + off.percent / 100.0);
        if !usual.contains(&now.metric()) {
            let side = if now.metric() < self.low_kg {
                "below"
            } else {
                "above"
            };
            let meant = now.slip(&usual, WEIGHTS).map_or_else(String::new, |unit| {
                format!(" Did you mean {} {}?", plain(now.number), unit.name)
            });
            found.warn(
                "weight-off-the-curve",
                format!(
                    "more than {} % {side} the curve: check kilograms and pounds, the tape, the grown weight and the date \
                     of birth; if they are right, ask the vet.{meant}",
                    plain(off.percent)
                ),
            );
            found.rest_on(&off.id, off, growth);
        }
        self.note_fit(curve, growth, found);
        Ok(self
            .expected_kg
            .map(|expected| 100.0 * (now.metric() / expected - 1.0)))
    }

    /// Says how far the curve is known to be off at this age.
    fn note_fit(&self, curve: &Curve, growth: &Growth, found: &mut Found) {
        for row in &growth.fits {
            if row.curve != curve.id || !row.months.holds(self.months) {
                continue;
            }
            let off = match (row.under_kg, row.over_kg) {
                (under, over) if under > 0.0 && over > 0.0 => {
                    format!("within {} kg of it", plain(under.max(over)))
                }
                (under, _) if under > 0.0 => format!("up to {} kg above it", plain(under)),
                (_, over) => format!("up to {} kg below it", plain(over)),
            };
            found.basis.caution(format!(
                "at this age the mean of Thoroughbreds lay {off}; other breeds are not known"
            ));
            found.rest_on(&row.id, row, growth);
        }
    }
}
