//! The figure `egg-count`: eggs per gram from a count, with what chance alone leaves open.

use serde::{Deserialize, Serialize};

use crate::code::Shedder;
use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::quantile::poisson_limits;
use crate::rules::egg_counts::EggCounts;
use crate::rules::{Row, Rules, Source};

/// The most eggs that anyone counts in one sample.
const MOST_EGGS: u32 = 100_000;

/// What the figure takes: the count, and either the factor or the volumes that it follows from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EggCountInput, example = json!({
    "method": "mcmaster", "eggs_counted": 8, "multiplication_factor": 25.0
})))]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// How it was counted: `mcmaster`, `mini_flotac`, `wisconsin`, `stoll` or a laboratory's own name.
    pub method: Option<String>,
    /// Eggs seen under the microscope.
    pub eggs_counted: Option<u32>,
    /// Eggs per gram that one egg stands for.
    pub multiplication_factor: Option<f64>,
    /// Chambers counted.
    pub chambers: Option<u32>,
    /// Volume of one chamber, in millilitres.
    pub chamber_volume_ml: Option<f64>,
    /// Faeces weighed out, in grams.
    pub feces_g: Option<f64>,
    /// Flotation fluid added to it, in millilitres.
    pub flotation_ml: Option<f64>,
}

/// What the figure gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EggCountAnswer))]
pub struct Answer {
    /// Eggs per gram.
    pub epg: f64,
    /// The lower 95 % limit, for counting error alone.
    pub low_epg: f64,
    /// The upper 95 % limit, for counting error alone.
    pub high_epg: f64,
    /// Eggs per gram that one egg stands for.
    pub multiplication_factor: f64,
    /// What such a count makes a grown horse.
    pub shedder: Shedder,
    /// What to know about it.
    pub warnings: Vec<Warning>,
    /// What the answer rests on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Eggs per gram, their exact Poisson limits, and the class of shedder.
///
/// # Errors
///
/// Faults: no count, neither factor nor volumes, both, or values that can't be.
///
/// # Source
///
/// The pack `egg_counts`: AAEP, *Internal Parasite Control Guidelines* (2024), appendix A and page 24.
pub fn egg_count(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let eggs = match input.eggs_counted {
        None => {
            return Err(Faults::one(
                "/eggs_counted",
                "say how many eggs were counted",
            ));
        }
        Some(eggs) if eggs > MOST_EGGS => {
            return Err(Faults::one(
                "/eggs_counted",
                format!("more than {MOST_EGGS} eggs: is this a count per gram?"),
            ));
        }
        Some(eggs) => eggs,
    };
    let factor = factor(input)?;
    let pack = &rules.egg_counts;
    let mut basis = Basis::default();
    let (low, high) = poisson_limits(eggs, 0.95);
    let epg = f64::from(eggs) * factor;
    let (low_epg, high_epg) = (low * factor, high * factor);
    let (shedder, row) = pack.shedder(epg);
    basis.rests_on(row.id(), pack.source(row), row.mark());
    let mut warnings = Vec::new();
    if pack.shedder(low_epg).0 != pack.shedder(high_epg).0 {
        warnings.push(Warning::new(
            "class-uncertain",
            format!(
                "chance alone puts the true count between {low_epg:.0} and {high_epg:.0} eggs per gram, so the class is uncertain"
            ),
        ));
    }
    notes(pack, input, eggs, &mut basis, &mut warnings);
    basis.caution(
        "The limits are for counting error alone; between droppings and days counts differ more.",
    );
    basis.caution("Counts by different methods can't be compared, and must not be mixed in one trend or test.");
    basis.caution(
        "For grown horses. Foals, weanlings and yearlings are not treated by egg count alone; ask your vet.",
    );
    Ok(Answer {
        epg,
        low_epg,
        high_epg,
        multiplication_factor: factor,
        shedder,
        warnings,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

fn notes(
    pack: &EggCounts,
    input: &Input,
    eggs: u32,
    basis: &mut Basis,
    warnings: &mut Vec<Warning>,
) {
    if eggs == 0 {
        warnings.push(Warning::new(
            "none-seen",
            "no egg seen is not no egg: see the upper limit",
        ));
    }
    let Some(method) = input.method.as_deref() else {
        return;
    };
    let plain = method.to_lowercase().replace([' ', '-'], "_");
    let Some(row) = pack.methods.iter().find(|row| row.id == plain) else {
        return;
    };
    basis.rests_on(row.id(), pack.source(row), row.mark());
    if let Some(note) = &row.note {
        basis.caution(note.clone());
    }
    if let Some(given) = input.multiplication_factor
        && !row.usual_factors.is_empty()
        && row
            .usual_factors
            .iter()
            .all(|usual| (usual - given).abs() > 1e-9)
    {
        let usual: Vec<String> = row.usual_factors.iter().map(ToString::to_string).collect();
        warnings.push(Warning::new(
            "unusual-factor",
            format!(
                "{given} is unusual for {method}; usual are {}. Check the volumes.",
                usual.join(", ")
            ),
        ));
    }
}

/// The multiplication factor as given, or total volume / (volume counted × grams).
fn factor(input: &Input) -> Result<f64, Faults> {
    let volumes = [
        ("/chambers", input.chambers.map(f64::from)),
        ("/chamber_volume_ml", input.chamber_volume_ml),
        ("/feces_g", input.feces_g),
        ("/flotation_ml", input.flotation_ml),
    ];
    let any_volume = volumes.iter().any(|(_, value)| value.is_some());
    let mut faults = Faults::default();
    for (pointer, value) in volumes
        .iter()
        .chain(&[("/multiplication_factor", input.multiplication_factor)])
    {
        if value.is_some_and(|value| !(value.is_finite() && value > 0.0 && value <= 10_000.0)) {
            faults.add(*pointer, "must be above 0, and no more than 10,000");
        }
    }
    match (input.multiplication_factor, any_volume) {
        (Some(_), true) => faults.add(
            "/multiplication_factor",
            "give the factor or the volumes, not both",
        ),
        (None, false) => faults.add(
            "/multiplication_factor",
            "give the factor, or chambers, chamber_volume_ml, feces_g and flotation_ml",
        ),
        (None, true) => {
            for (pointer, value) in volumes {
                if value.is_none() {
                    faults.add(pointer, "is needed with the other volumes");
                }
            }
        }
        (Some(_), false) => {}
    }
    faults.or(())?;
    if let Some(factor) = input.multiplication_factor {
        return Ok(factor);
    }
    let [chambers, chamber_ml, feces_g, flotation_ml] =
        volumes.map(|(_, value)| value.unwrap_or(f64::NAN));
    // A gram of faeces adds about a millilitre to the fluid.
    let total_ml = flotation_ml + feces_g;
    let counted_ml = chambers * chamber_ml;
    if counted_ml > total_ml {
        return Err(Faults::one(
            "/chamber_volume_ml",
            "more was counted than there was",
        ));
    }
    Ok(total_ml / (counted_ml * feces_g))
}
