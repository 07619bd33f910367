//! What the care engine says to a deworming before it is written down.

use serde_json::{Map, Value, json};
use whorl_care::code::Active;
use whorl_care::details::Deworming;
use whorl_care::figure::dose::{Answer, Input, Product, dose};
use whorl_care::kind::{Provenance, Role};
use whorl_care::rules::Rules;
use whorl_care::unit::plain;
use whorl_contract::event::Envelope;

use crate::chart::Chart;
use crate::failure::Failure;

/// Fills in the weight that the syringe is taken to be set for, and how it was come by, from the last weight on record.
pub fn fill(details: &mut Map<String, Value>, chart: &Chart) {
    let Some(weighed) = chart.weighed else { return };
    if ["dosed_for_kg", "dosed_for_lb"]
        .iter()
        .any(|name| details.contains_key(*name))
    {
        return;
    }
    details.insert("dosed_for_kg".to_owned(), json!(weighed.kg));
    if let Some(method) = weighed.method {
        details
            .entry("weight_from")
            .or_insert_with(|| json!(method));
    }
}

/// What the engine computes for a deworming.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The dose, where the engine gives one.
    pub answer: Option<Answer>,
    /// What a person must know, in lines.
    pub says: Vec<String>,
}

/// Lets the engine judge a deworming that is about to be recorded.
///
/// What it refuses may not be given, so it is not recorded either. A vet, and whoever copies from paper, records what
/// was in fact given: to them the refusal is a warning.
///
/// # Errors
///
/// [`Failure::Input`] with the engine's reasons, or if it has no weight to go by.
pub fn judge(
    given: &Deworming,
    chart: &Chart,
    envelope: &Envelope,
    rules: &Rules,
) -> Result<Verdict, Failure> {
    let records_a_fact =
        envelope.role == Role::Vet || envelope.provenance == Provenance::Transcribed;
    let input = input(given, chart, envelope);
    let mut verdict = Verdict {
        answer: None,
        says: set_for(given, chart),
    };
    let refused = match dose(&input, rules) {
        Ok(answer) => {
            let texts: Vec<String> = answer.warnings.iter().map(|one| one.text.clone()).collect();
            let refused = answer
                .refused
                .then(|| texts.join("; "))
                .or_else(|| over_ceiling(given, &answer, rules));
            if refused.is_none() {
                verdict.says.extend(texts);
                verdict.says.extend(below_label(given, &answer));
                verdict.says.extend(answer.cautions.iter().cloned());
            }
            verdict.answer = Some(answer);
            refused
        }
        Err(faults) if input.weight_kg.is_none() => Some(format!(
            "there is no weight to dose by ({faults}); weigh or tape the horse first, or say --dosed-for and \
             --weight-from"
        )),
        Err(faults) => Some(faults.to_string()),
    };
    match refused {
        None => Ok(verdict),
        Some(why) if records_a_fact => {
            verdict.says.insert(
                0,
                format!("the dose can't be approved, and is recorded as what was given: {why}"),
            );
            Ok(verdict)
        }
        Some(why) => Err(Failure::input(format!(
            "don't give it, and nothing was recorded: {why}. Ask your vet; a vet can record what was in fact given"
        ))),
    }
}

fn input(given: &Deworming, chart: &Chart, envelope: &Envelope) -> Input {
    let main = main_active(&given.actives);
    let on = envelope.performed_at.date_naive();
    let mut input = chart.dose(main.map_or("", Active::code), on);
    if input.weight_kg.is_none() {
        input.weight_kg = given.dosed_for_kg;
        input.weight_from = given.weight_from;
        input.weighed_on = None;
    }
    let others = given.actives.iter().filter(|one| Some(**one) != main);
    let with: Vec<String> = others.map(ToString::to_string).collect();
    if given.concentration_percent.is_some() || given.expiration_date.is_some() || !with.is_empty()
    {
        input.product = Some(Product {
            concentration_percent: given.concentration_percent,
            expiration_date: given.expiration_date,
            with,
            ..Product::default()
        });
    }
    input
}

/// The active by which a combination is dosed: praziquantel is dosed with its product.
fn main_active(actives: &[Active]) -> Option<Active> {
    let main = actives.iter().find(|one| **one != Active::Praziquantel);
    main.or(actives.first()).copied()
}

/// What must be said where the syringe was set for another weight than the last one on record.
fn set_for(given: &Deworming, chart: &Chart) -> Vec<String> {
    let (Some(set), Some(weighed)) = (given.dosed_for_kg, chart.weighed) else {
        return Vec::new();
    };
    let was = format!(
        "set for {} kg, and the last weight is {} kg ({})",
        plain(set),
        plain(weighed.kg),
        weighed.on
    );
    if set < weighed.kg {
        vec![format!(
            "{was}: too low a dose breeds resistant worms; ask your vet before giving more"
        )]
    } else if set > weighed.kg {
        vec![format!(
            "{was}: check that it is the next mark above it and no more"
        )]
    } else {
        Vec::new()
    }
}

/// Why so much may not be given: what the syringe was set for, or the milligrams, against what may be given at most.
fn over_ceiling(given: &Deworming, answer: &Answer, rules: &Rules) -> Option<String> {
    let active = rules.dewormers.active(&answer.active)?;
    let by_setting = given.dosed_for_kg.map(|kg| kg / answer.weight_kg);
    let by_amount = given
        .dose_mg
        .zip(answer.dose_mg)
        .map(|(gave, label)| gave / label);
    let times = by_setting.into_iter().chain(by_amount).fold(0.0, f64::max);
    // Takes up the rounding of binary fractions.
    (times > active.ceiling.refuse_above + 1e-9).then(|| {
        format!(
            "that is {} times the label's dose of {} for {} kg, and {} is the most",
            plain(times),
            active.name,
            plain(answer.weight_kg),
            plain(active.ceiling.refuse_above)
        )
    })
}

/// What must be said where less was given than the label's dose.
fn below_label(given: &Deworming, answer: &Answer) -> Option<String> {
    let (gave, label) = given.dose_mg.zip(answer.dose_mg)?;
    (gave < label).then(|| {
        format!(
            "{} mg is less than the label's dose for its weight ({} mg): too low a dose breeds resistant worms; ask \
             your vet before giving more",
            plain(gave),
            plain(label)
        )
    })
}
