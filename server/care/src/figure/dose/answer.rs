//! What the figure `dose` answers.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::figure::Warning;
use crate::rules::Source;

use super::case::{Case, Findings};
use super::ceiling::part_mg_per_kg;
use super::code::Code;
use super::setting::{Setting, Step};
use super::target::Target;

/// Another active of the same product.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DoseAlso))]
pub struct Also {
    /// The active.
    pub active: String,
    /// How much of it that setting gives, in mg/kg; unknown where the product's form is.
    pub given_mg_per_kg: Option<f64>,
}

/// The dose, or why there is none: then `refused` is true, the reasons are among the warnings, and every amount is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DoseAnswer))]
pub struct Answer {
    /// The active.
    pub active: String,
    /// The weight it is for, in kilograms.
    pub weight_kg: f64,
    /// The label's dose in mg/kg, of the base for a salt.
    pub dose_mg_per_kg: Option<f64>,
    /// The label's dose for this weight in milligrams each day, of the base for a salt.
    pub dose_mg: Option<f64>,
    /// The same in milligrams of the salt, where the dose counts its base.
    pub salt_mg: Option<f64>,
    /// On how many days in a row; null for a daily dose without an end.
    pub days: Option<u32>,
    /// Where to set the syringe each day, in kilograms on its dial, over all syringes together: rounded up to the next mark.
    /// A double dose is a double setting.
    pub setting_kg: Option<f64>,
    /// The same in pounds.
    pub setting_lb: Option<f64>,
    /// Syringes for the whole course.
    pub syringes: Option<u32>,
    /// Syringes for a day.
    pub syringes_a_day: Option<u32>,
    /// Syringe by syringe, for a day.
    pub steps: Vec<Step>,
    /// How much of the product that is each day, in grams.
    pub product_g: Option<f64>,
    /// How much of the product that is each day, in millilitres.
    pub product_ml: Option<f64>,
    /// How much that setting gives each day, in milligrams.
    pub given_mg: Option<f64>,
    /// The same in mg/kg.
    pub given_mg_per_kg: Option<f64>,
    /// The same in multiples of the label's dose.
    pub given_to_label: Option<f64>,
    /// What it gives of the product's other actives.
    pub also: Vec<Also>,
    /// Until when its meat must not be eaten, where the label allows it at all.
    pub withdrawal_until: Option<NaiveDate>,
    /// Whether the dose counts as partial: some was lost, or the lot had expired.
    pub suspected_partial: bool,
    /// Whether there is no dose.
    pub refused: bool,
    /// Reasons against, and what a person must know.
    pub warnings: Vec<Warning>,
    /// What the numbers rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// The amounts of an answer.
#[derive(Default)]
pub(super) struct Amounts {
    pub(super) target: Option<Target>,
    pub(super) need_mg: Option<f64>,
    pub(super) setting: Option<Setting>,
    pub(super) syringes: Option<(u32, u32)>,
    pub(super) withdrawal_until: Option<NaiveDate>,
}

/// To the next hundredth, for a scale or a measuring syringe.
pub(super) fn round_up(amount: f64) -> f64 {
    (amount * 100.0 - 1e-6).ceil() / 100.0
}

/// Puts the answer together; a refusal carries no amounts.
pub(super) fn answer(case: &Case<'_>, amounts: Amounts, found: Findings) -> Answer {
    let amounts = if found.refused {
        Amounts::default()
    } else {
        amounts
    };
    let kg = case.kg();
    let setting = amounts.setting;
    let given_mg = setting.as_ref().map(|setting| setting.given_mg);
    let salt = case.active.base_in_salt.as_ref();
    let strength = case.product.as_ref().and_then(|held| held.strength);
    let amount = |liquid: bool| {
        let strength = strength.filter(|strength| strength.liquid == liquid)?;
        Some(round_up(given_mg.or(amounts.need_mg)? / strength.mg))
    };
    let times = given_mg
        .zip(amounts.need_mg)
        .map(|(given, need)| given / need);
    let others = case.all.iter().filter(|active| active.id != case.active.id);
    let also = others.map(|active| Also {
        active: active.id.clone(),
        given_mg_per_kg: part_mg_per_kg(case, &active.id)
            .zip(times)
            .map(|(label, times)| label * times),
    });
    let partial = [Code::LotExpired.code(), Code::PartlyLost.code()];
    Answer {
        active: case.active.id.clone(),
        weight_kg: kg,
        dose_mg_per_kg: amounts.target.map(|target| target.mg_per_kg),
        dose_mg: amounts.need_mg,
        salt_mg: salt
            .zip(amounts.need_mg)
            .map(|(salt, need)| need / salt.factor),
        days: amounts.target.and_then(|target| target.days),
        setting_kg: setting.as_ref().map(|setting| setting.dial.kg),
        setting_lb: setting.as_ref().map(|setting| setting.dial.lb),
        syringes: amounts.syringes.map(|(_, course)| course),
        syringes_a_day: amounts.syringes.map(|(a_day, _)| a_day),
        product_g: amount(false),
        product_ml: amount(true),
        given_mg,
        given_mg_per_kg: given_mg.map(|given| given / kg),
        given_to_label: times,
        also: if found.refused {
            Vec::new()
        } else {
            also.collect()
        },
        withdrawal_until: amounts.withdrawal_until,
        suspected_partial: found
            .warnings
            .iter()
            .any(|warning| partial.contains(&&*warning.code)),
        refused: found.refused,
        steps: setting.map_or_else(Vec::new, |setting| setting.steps),
        warnings: found.warnings,
        sources: found.basis.sources,
        cautions: found.basis.cautions,
    }
}
