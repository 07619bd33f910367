//! A dewormer given.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::code::{Active, WeightMethod};
use crate::ids::EventId;
use crate::when::PartialDate;

/// Details of `deworming`: a dewormer given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Deworming {
    /// The active substances.
    pub actives: Vec<Active>,
    /// The product's name, as on the syringe.
    pub product: Option<String>,
    /// The active's share of the product, in percent by weight.
    pub concentration_percent: Option<f64>,
    /// The lot (batch) number.
    pub lot_number: Option<String>,
    /// When it expires: a day, or a month, which counts to its end.
    pub expiration_date: Option<PartialDate>,
    /// The weight that the syringe was set for, in kilograms.
    pub dosed_for_kg: Option<f64>,
    /// How much of the active was given, in milligrams.
    pub dose_mg: Option<f64>,
    /// How that weight was come by.
    pub weight_from: Option<WeightMethod>,
    /// Why it was given.
    pub reason: Option<String>,
    /// The care plan under which it was given.
    pub care_plan_id: Option<EventId>,
}

impl Typed for Deworming {
    fn example() -> Value {
        json!({
            "actives": ["ivermectin"],
            "product": "Drovepaste Ivermectin",
            "concentration_percent": 1.87,
            "lot_number": "DP-7731",
            "expiration_date": "2027-11",
            "dosed_for_kg": 550.0,
            "dose_mg": 110.0,
            "weight_from": "tape",
            "reason": "450 eggs per gram in April",
            "care_plan_id": "019682f0-7c00-7000-8000-000000000018"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.some_of("/actives", &self.actives, "active substance");
        check.short("/product", self.product.as_deref());
        check.short("/lot_number", self.lot_number.as_deref());
        check.expiry("/expiration_date", self.expiration_date);
        check.quantity(
            "/concentration_percent",
            "concentration_percent",
            self.concentration_percent,
        );
        check.quantity("/dosed_for_kg", "weight_kg", self.dosed_for_kg);
        check.quantity("/dose_mg", "dose_mg", self.dose_mg);
        self.check_rate(check);
        check.long("/reason", self.reason.as_deref());
    }
}

impl Deworming {
    /// The dose for each kilogram of the weight that it was meant for must be one that the active can have. Of a
    /// combination `dose_mg` doesn't say whose milligrams it counts, so that isn't held against it.
    fn check_rate(&self, check: &mut Check<'_>) {
        let ([active], Some(dose), Some(weight)) =
            (self.actives.as_slice(), self.dose_mg, self.dosed_for_kg)
        else {
            return;
        };
        let limits = &check.context.rules.limits;
        if limits.allow("dose_mg", dose).is_err() || limits.allow("weight_kg", weight).is_err() {
            return;
        }
        let limit = format!("{active}_mg_per_kg");
        let rate = (dose / weight * 1000.0).round() / 1000.0;
        let lead = format!("{dose} mg for {weight} kg is {rate} mg/kg of {active}");
        if let Err(detail) = limits.allow(&limit, rate) {
            check.that(false, "/dose_mg", format!("{lead}: {detail}"));
        } else if let Some(detail) = limits.doubt(&limit, rate) {
            check.ask("/dose_mg", format!("{lead}: {detail}"));
        }
    }
}
