//! Whether the measures, and the weight they give, are those of the population that a formula was made for.

use crate::fault::Faults;
use crate::unit::{LENGTHS, plain};

use super::formula::{Formula, Measure, WeightClass};
use super::taken::Taken;

/// What a measure is called in a sentence, and the field that takes it.
pub(super) const fn words(measure: Measure) -> (&'static str, &'static str) {
    match measure {
        Measure::Girth => ("heart girth", "heart_girth_cm"),
        Measure::Length => ("body length", "body_length_cm"),
        Measure::Height => ("height", "height_cm"),
        Measure::Neck => ("neck girth", "neck_cm"),
        Measure::UmbilicalGirth => ("girth at the navel", "umbilical_girth_cm"),
        Measure::AgeMonths => ("age (the day it was foaled)", "foaled_on"),
    }
}

/// Refuses measures that are missing, or outside the population that the formula was made for.
pub(super) fn judge_measures(
    formula: &Formula,
    class: WeightClass,
    taken: &Taken,
) -> Result<(), Faults> {
    let mut faults = Faults::default();
    for measure in formula.takes() {
        if !taken.measures.contains_key(&measure) {
            let (name, field) = words(measure);
            faults.add(
                format!("/{field}"),
                format!("{} needs the {name} too", formula.method),
            );
        }
    }
    for (measure, field, given) in &taken.given {
        let (name, _) = words(*measure);
        let what = format!("the {name} of this class ({class})");
        if let Some(limits) = formula.limits(*measure)
            && let Some(doubt) = given.doubt(&what, &limits, LENGTHS)
        {
            faults.add(format!("/{field}"), doubt);
        }
    }
    faults.or(())?;
    let lengths = taken.measures.get(&Measure::Length);
    if let (Some(girth), Some(length), Some([low, high])) = (
        taken.measures.get(&Measure::Girth),
        lengths,
        formula.length_to_girth,
    ) && formula.takes().any(|measure| measure == Measure::Length)
        && !(low..=high).contains(&(length / girth))
    {
        return Err(Faults::one(
            "/body_length_cm",
            format!(
                "a body length of {} cm does not go with a heart girth of {} cm: it is {} of the girth, and {} to {} is usual; measure both again, and see that both are in the unit you say",
                plain(*length),
                plain(*girth),
                plain(length / girth),
                plain(low),
                plain(high)
            ),
        ));
    }
    Ok(())
}

/// Refuses a weight outside the population that the formula was made for.
pub(super) fn judge_result(
    formula: &Formula,
    class: WeightClass,
    weight_kg: f64,
) -> Result<(), Faults> {
    let [low, high] = formula.result_kg;
    if (low..=high).contains(&weight_kg) {
        return Ok(());
    }
    Err(Faults::one(
        "",
        format!(
            "these measures would give {} kg, and {} holds from {} to {} kg for this class ({class}): measure again, and see that the units and the class are right",
            plain(weight_kg),
            formula.method,
            plain(low),
            plain(high)
        ),
    ))
}
