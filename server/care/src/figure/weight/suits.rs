//! Whether a weight that was computed by a method can be relied on for a given horse.

use chrono::NaiveDate;

use crate::calendar::days_between;
use crate::figure::growth::age::{AgeClass, class};
use crate::horse::BreedType;
use crate::rules::Rules;
use crate::when::PartialDate;

use super::formula::{Formula, InFoal, WeightClass};

/// Whether a formula was made for horses like this one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Suits {
    /// It was, as far as is known.
    Yes,
    /// It may mislead, and why.
    InDoubt(String),
    /// It was not, and why.
    No(String),
}

/// Whether `method` was made for a horse of this build, age and state; `None` if there is no such method. What is not
/// known is not held against it.
#[must_use]
pub fn suits(
    method: &str,
    breed_type: Option<BreedType>,
    foaled_on: Option<PartialDate>,
    on: NaiveDate,
    pregnant: Option<bool>,
    rules: &Rules,
) -> Option<Suits> {
    let all = &rules.weight.formula;
    let named: Vec<&Formula> = all.iter().filter(|row| row.method == method).collect();
    let first = named.first()?;
    let classes = classes(breed_type, foaled_on, on, rules);
    let of_class = |row: &&&Formula| {
        classes.is_empty() || classes.iter().any(|class| row.suits(*class, breed_type))
    };
    let of_age = |row: &&&Formula| {
        let (Some([from, until]), Some(foaled_on)) = (row.age_days, foaled_on) else {
            return true;
        };
        days_between(foaled_on.earliest(), on) >= from
            && days_between(foaled_on.latest(), on) <= until
    };
    if !named.iter().any(|row| of_class(&row) && of_age(&row)) {
        let whom: Vec<_> = classes.iter().map(|class| class.code()).collect();
        let whom = whom.join(" or ");
        return Some(Suits::No(format!(
            "{method} was not made for horses like this one ({whom}): weigh it on a scale or by its own formula"
        )));
    }
    Some(match (pregnant, first.pregnant) {
        (Some(true), InFoal::Refused) => Suits::No(format!(
            "{method} was made on mares that were not in foal: weigh her on a scale"
        )),
        (Some(true), InFoal::Caution) => Suits::InDoubt(format!(
            "late in pregnancy {method} misleads: weigh her on a scale"
        )),
        _ => Suits::Yes,
    })
}

/// The classes that it may belong to; none if its build and its age do not tell.
fn classes(
    breed_type: Option<BreedType>,
    foaled_on: Option<PartialDate>,
    on: NaiveDate,
    rules: &Rules,
) -> Vec<WeightClass> {
    let grown = match breed_type {
        Some(BreedType::Donkey) => return vec![WeightClass::Donkey],
        Some(BreedType::Miniature) => return vec![WeightClass::Miniature],
        Some(BreedType::Pony) => WeightClass::Pony,
        Some(BreedType::Draft) => WeightClass::Draft,
        _ => WeightClass::Adult,
    };
    let Some(foaled_on) = foaled_on else {
        return match grown {
            WeightClass::Adult => Vec::new(),
            build => vec![build],
        };
    };
    let by_age = |born: NaiveDate| {
        let born = PartialDate::Day(born.min(on));
        match class(born, None, on, &rules.growth) {
            Some(AgeClass::Foal) => WeightClass::Foal,
            Some(AgeClass::Weanling) => WeightClass::Weanling,
            Some(AgeClass::Yearling) => WeightClass::Yearling,
            _ => grown,
        }
    };
    let mut classes = vec![by_age(foaled_on.earliest())];
    let youngest = by_age(foaled_on.latest());
    if !classes.contains(&youngest) {
        classes.push(youngest);
    }
    classes
}
