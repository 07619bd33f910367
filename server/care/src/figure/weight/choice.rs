//! Which formula to use: by class, build, age and the measures that were taken.

use std::cmp::Reverse;

use crate::fault::Faults;
use crate::horse::BreedType;
use crate::rules::Rules;

use super::Input;
use super::formula::{Formula, InFoal, Units, WeightClass};
use super::taken::Taken;

/// The class that formulas go by: a grown horse's build puts it among ponies, draught horses, donkeys or miniatures.
pub(super) fn class_of(input: &Input) -> Result<WeightClass, Faults> {
    let Some(class) = input.class else {
        return Err(Faults::one(
            "/class",
            format!("say the class: one of {}", codes_of(WeightClass::ALL)),
        ));
    };
    let by_build = match input.breed_type {
        Some(BreedType::Pony) => Some(WeightClass::Pony),
        Some(BreedType::Draft) => Some(WeightClass::Draft),
        Some(BreedType::Donkey) => Some(WeightClass::Donkey),
        Some(BreedType::Miniature) => Some(WeightClass::Miniature),
        _ => None,
    };
    let small = [WeightClass::Donkey, WeightClass::Miniature];
    match (class, by_build) {
        (WeightClass::Adult, Some(build)) => Ok(build),
        (class, Some(build)) if class == build => Ok(class),
        (WeightClass::Foal | WeightClass::Weanling | WeightClass::Yearling, Some(build))
            if !small.contains(&build) =>
        {
            Ok(class)
        }
        (WeightClass::Donkey | WeightClass::Miniature | WeightClass::Draft, None)
            if input.breed_type.is_some() =>
        {
            Err(disagree(class, input.breed_type))
        }
        (class, None) => Ok(class),
        (class, Some(_)) => Err(disagree(class, input.breed_type)),
    }
}

fn disagree(class: WeightClass, breed_type: Option<BreedType>) -> Faults {
    let build = breed_type.map_or("unknown", BreedType::code);
    Faults::one(
        "/breed_type",
        format!("there is no formula for class {class} and breed type {build} together"),
    )
}

fn codes_of(classes: &[WeightClass]) -> String {
    let codes: Vec<_> = classes.iter().map(|class| class.code()).collect();
    codes.join(", ")
}

/// The formulas for this class, build and age (and of the method asked for), whatever was measured.
pub(super) fn fitting<'a>(
    input: &Input,
    class: WeightClass,
    taken: &Taken,
    rules: &'a Rules,
) -> Result<Vec<&'a Formula>, Faults> {
    let all = &rules.weight.formula;
    let mut rows: Vec<&Formula> = match &input.method {
        Some(method) => {
            let named: Vec<_> = all.iter().filter(|row| row.method == *method).collect();
            if named.is_empty() {
                let known = rules.weight.methods().join(", ");
                let detail = format!("`{method}` is not a method; known are {known}");
                return Err(Faults::one("/method", detail));
            }
            let suited: Vec<_> = named
                .iter()
                .copied()
                .filter(|row| row.suits(class, input.breed_type))
                .collect();
            if suited.is_empty() {
                return Err(Faults::one("/method", not_for(method, &named, class)));
            }
            suited
        }
        None => all
            .iter()
            .filter(|row| row.rank > 0 && row.suits(class, input.breed_type))
            .filter(|row| row.breed_types.is_empty() || input.breed_type.is_some())
            .collect(),
    };
    if rows.is_empty() {
        return Err(disagree(class, input.breed_type));
    }
    if input.pregnant == Some(true) {
        rows.retain(|row| row.pregnant != InFoal::Refused);
        if rows.is_empty() {
            return Err(Faults::one(
                "/pregnant",
                "these formulas were made on mares that were not in foal; weigh her on a scale",
            ));
        }
    }
    in_age(rows, taken)
}

fn not_for(method: &str, named: &[&Formula], class: WeightClass) -> String {
    let classes = named.iter().flat_map(|row| &row.classes);
    let builds = named.iter().flat_map(|row| &row.breed_types);
    let mut whom: Vec<&str> = classes.map(|class| class.code()).collect();
    whom.extend(builds.map(|build| build.code()));
    whom.dedup();
    format!(
        "{method} was made for {}; it would mislead for this {class}",
        whom.join(", ")
    )
}

/// Leaves out formulas for other ages.
fn in_age<'a>(rows: Vec<&'a Formula>, taken: &Taken) -> Result<Vec<&'a Formula>, Faults> {
    let Some((youngest, oldest)) = taken.age_days else {
        return Ok(rows);
    };
    let holds = |row: &&Formula| {
        row.age_days
            .is_none_or(|[from, until]| oldest >= from && youngest <= until)
    };
    let ages: Vec<_> = rows.iter().filter_map(|row| row.age_days).collect();
    let (kept, other): (Vec<_>, Vec<_>) = rows.into_iter().partition(holds);
    if !kept.is_empty() {
        return Ok(kept);
    }
    let from = ages.iter().map(|[from, _]| *from).min().unwrap_or(0);
    let until = ages.iter().map(|[_, until]| *until).max().unwrap_or(0);
    let method = other.first().map_or("this formula", |row| &row.method);
    let age = if youngest == oldest {
        format!("{youngest} days")
    } else {
        format!("{youngest} to {oldest} days")
    };
    Err(Faults::one(
        "/foaled_on",
        format!(
            "{method} holds from day {from} to day {until}; this one is {age} old: weigh it on a scale"
        ),
    ))
}

/// The best formula whose measures were all taken, else the one that lacks the fewest; of equals, the one in the units
/// of the tape.
pub(super) fn best<'a>(rows: &[&'a Formula], taken: &Taken) -> Option<&'a Formula> {
    let lacks = |row: &Formula| {
        row.takes()
            .filter(|measure| !taken.measures.contains_key(measure))
            .count()
    };
    rows.iter().copied().min_by_key(|row| {
        let other_units = (row.units == Units::LbIn) != taken.in_inches;
        (lacks(row), Reverse(row.rank), other_units)
    })
}

/// The formula itself, and where the age is not known those of its method for other ages.
pub(super) fn alternatives<'a>(
    formula: &'a Formula,
    rows: &[&'a Formula],
    taken: &Taken,
) -> Vec<&'a Formula> {
    let mut same = vec![formula];
    if taken
        .age_days
        .is_none_or(|(youngest, oldest)| youngest < oldest)
    {
        same.extend(rows.iter().copied().filter(|row| {
            row.id != formula.id
                && row.method == formula.method
                && row.rank == formula.rank
                && row.units == formula.units
        }));
    }
    same
}
