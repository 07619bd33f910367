//! The figure `dose`: how much dewormer, where to set the syringe, and what speaks against it.

mod animal;
mod answer;
mod case;
mod ceiling;
pub mod code;
pub mod fact;
mod handling;
mod history;
pub mod input;
pub mod limit;
pub mod pack;
mod product;
mod setting;
mod sound;
mod target;
mod weighed;

use crate::fault::Faults;
use crate::rules::Rules;
use crate::unit::{KILOGRAMS, POUNDS, plain};

pub use answer::{Also, Answer};
use answer::{Amounts, answer};
use case::{Case, Findings};
use ceiling::ceilings;
use code::Code;
pub use input::{Earlier, Input, Product, ReductionTest};
use product::Held;
pub use setting::Step;
use setting::Syringe;
use target::Target;

/// What every answer begins with.
const LABEL_AND_VET: &str = "follow the label and your vet; local law decides who may give what";

/// The dose of a dewormer for a horse on a day, in milligrams of the active (of the base, for a salt), and the setting
/// of its syringe. Never below the label's dose; refused where something speaks against it, or where what matters is not known.
///
/// # Errors
///
/// Faults with pointers into the input: an active or a product that the rules don't know, no weight, both units of one
/// quantity, dates that contradict each other.
///
/// # Source
///
/// The pack `dewormers`; each row names its own.
pub fn dose(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let case = Case::read(input, rules)?;
    let mut found = Findings::default();
    found.basis.caution(LABEL_AND_VET);
    weighed::look(&case, &mut found)?;
    animal::look(&case, &mut found)?;
    handling::look(&case, &mut found);
    history::look(&case, &mut found)?;
    let mut amounts = Amounts {
        target: target::target(&case, &mut found)?,
        ..Amounts::default()
    };
    if let Some(target) = amounts.target {
        let days = target.days.unwrap_or(1);
        amounts.withdrawal_until = animal::food(&case, days, &mut found);
        measure(&case, target, &mut amounts, &mut found);
    }
    sayings(&case, &mut found);
    Ok(answer(&case, amounts, found))
}

/// Works out the setting, and what it gives.
fn measure(case: &Case<'_>, target: Target, amounts: &mut Amounts, found: &mut Findings) {
    let need_mg = target.mg_per_kg * case.kg();
    let days = target.days.unwrap_or(1);
    amounts.need_mg = Some(need_mg);
    if let Some(held) = &case.product {
        if let Some(form) = held.form {
            found.rest_on(case.pack, form);
        }
        if let (Some(mark), Some(marks_go_by)) = (held.mark, held.marks_go_by) {
            let syringe = Syringe {
                mark,
                marks_go_by,
                content_mg: held.content_mg,
            };
            handling::marks(syringe, found);
            let doubled = target.mg_per_kg / marks_go_by;
            if doubled > 1.0 {
                found.basis.caution(format!(
                    "the marks stand for {} mg/kg and this dose is {} times that: the setting is meant to be so much over the horse's weight",
                    plain(marks_go_by),
                    plain(doubled)
                ));
            }
            let setting = syringe.set(need_mg, days);
            amounts.syringes = setting.syringes;
            amounts.setting = Some(setting);
        } else if let Some(content_mg) = held.content_mg {
            let syringes = |days| setting::syringes(need_mg, content_mg, days);
            amounts.syringes = Some((syringes(1), syringes(days)));
            found.warn(
                Code::MarkMissing,
                "say mark_kg or mark_lb, what one mark treats, for a setting; else weigh out the amount",
            );
        }
    }
    ceilings(case, target, amounts.setting.as_ref(), found);
    // A refusal names no setting, not even in words.
    if let Some(held) = case.product.as_ref().filter(|_| !found.refused) {
        several(held, amounts, days, found);
    }
}

/// Case 6: more than one syringe, or nobody knows how many.
fn several(held: &Held<'_>, amounts: &Amounts, days: u32, found: &mut Findings) {
    match amounts.syringes {
        Some((a_day, course)) if a_day > 1 || course > 1 => {
            let each: Vec<String> = amounts
                .setting
                .iter()
                .flat_map(|setting| &setting.steps)
                .map(|step| in_words(step, held))
                .collect();
            let count = if days > 1 {
                format!("{course} for {days} days, {a_day} for each")
            } else {
                format!("{a_day}")
            };
            let how = if each.is_empty() { "" } else { ": " };
            found.warn(
                Code::SeveralSyringes,
                format!("one syringe is not enough; it takes {count}{how}{}", each.join(" and ")),
            );
        }
        None if amounts.setting.is_some() && held.content_mg.is_none() => found.warn(
            Code::ContentMissing,
            "say the strength and what a syringe holds, to know how many it takes and to check its marks",
        ),
        _ => {}
    }
}

/// How the syringes of a step are set.
fn in_words(step: &Step, held: &Held<'_>) -> String {
    if step.whole {
        return format!("{} emptied", step.syringes);
    }
    let (set, unit) = match held.mark {
        Some(mark) if mark.unit == POUNDS => (step.setting_lb, POUNDS.name),
        _ => (step.setting_kg, KILOGRAMS.name),
    };
    format!("{} set to {} {unit}", step.syringes, plain(set))
}

/// What is said with every dose of these actives.
fn sayings(case: &Case<'_>, found: &mut Findings) {
    for saying in &case.pack.saying {
        let of_active = |id: &String| case.all.iter().any(|active| active.id == *id);
        let of_class = |id: &String| case.all.iter().any(|active| active.class == *id);
        if saying.active.as_ref().is_none_or(of_active)
            && saying.class.as_ref().is_none_or(of_class)
        {
            found.rest_on(case.pack, saying);
            found.basis.caution(saying.text.clone());
        }
    }
}
