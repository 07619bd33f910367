//! One case: the input read against the rules, and what is found while it is looked at.

use chrono::NaiveDate;

use crate::calendar::Period;
use crate::code::{Parasite, WeightMethod};
use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::rules::{Mark, Row, Rules};
use crate::unit::{Given, KILOGRAMS, POUNDS, either};
use crate::when::PartialDate;

use super::code::Code;
use super::fact::{ActiveRow, Dose};
use super::input::{Input, Label, Regimen};
use super::limit::LimitName;
use super::pack::Dewormers;
use super::product::Held;

/// The input, with what it names looked up.
pub(super) struct Case<'a> {
    pub(super) input: &'a Input,
    pub(super) rules: &'a Rules,
    pub(super) pack: &'a Dewormers,
    pub(super) active: &'a ActiveRow,
    /// Every active of the product, this one first.
    pub(super) all: Vec<&'a ActiveRow>,
    pub(super) weight: Given,
    pub(super) weight_from: WeightMethod,
    pub(super) age: Age,
    pub(super) regimen: Regimen,
    pub(super) parasite: Parasite,
    pub(super) label: Option<Label>,
    pub(super) product: Option<Held<'a>>,
}

impl<'a> Case<'a> {
    /// Looks up what the input names.
    pub(super) fn read(input: &'a Input, rules: &'a Rules) -> Result<Self, Faults> {
        let pack = &rules.dewormers;
        let mut faults = Faults::default();
        let weight = either(
            &mut faults,
            "",
            ("weight_kg", input.weight_kg, KILOGRAMS),
            ("weight_lb", input.weight_lb, POUNDS),
        );
        if weight.is_none() && faults.0.is_empty() {
            faults.add("/weight_kg", "say the weight, in weight_kg or weight_lb");
        }
        let active = pack.active(&input.active);
        if active.is_none() {
            faults.add("/active", unknown_active(&input.active, pack));
        }
        plausible(input, pack, &mut faults);
        let (Some(weight), Some(active)) = (weight, active) else {
            return Err(faults);
        };
        let product = match &input.product {
            Some(product) => Held::read(product, active, pack, &mut faults).map(Some),
            None => Some(None),
        };
        let label = label_of(
            input,
            product.as_ref().and_then(Option::as_ref),
            &mut faults,
        );
        let Some(product) = product else {
            return Err(faults);
        };
        let mut all = vec![active];
        let others = product.iter().flat_map(|held| &held.with);
        all.extend(others.filter_map(|id| pack.active(id)));
        let only_tapeworm = active.by_product;
        faults.or(Self {
            input,
            rules,
            pack,
            active,
            all,
            weight,
            weight_from: input.weight_from.unwrap_or(WeightMethod::Tape),
            age: Age {
                foaled_on: input.foaled_on,
                on: input.on,
            },
            regimen: input.regimen.unwrap_or(Regimen::Single),
            parasite: input.parasite.unwrap_or(if only_tapeworm {
                Parasite::Tapeworm
            } else {
                Parasite::Strongyles
            }),
            label,
            product,
        })
    }

    /// The weight in kilograms.
    pub(super) fn kg(&self) -> f64 {
        self.weight.metric()
    }

    /// Whether any active of the product has a narrow margin.
    pub(super) fn narrow(&self) -> Option<&'a ActiveRow> {
        self.all.iter().copied().find(|active| active.narrow_margin)
    }

    /// The doses that labels give of this active.
    pub(super) fn doses(&self) -> impl Iterator<Item = &'a Dose> + use<'a> {
        let active = self.active;
        let rows = self.pack.dose.iter();
        rows.filter(move |row| row.active == active.id)
    }

    /// A number of days or months of the rules.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a conversion of a float to an integer saturates"
    )]
    pub(super) fn whole(&self, name: LimitName) -> Result<u32, Faults> {
        self.number(name).map(|number| number.round() as u32)
    }

    /// A number of the rules.
    pub(super) fn number(&self, name: LimitName) -> Result<f64, Faults> {
        self.pack.limit(name).map(|limit| limit.value)
    }
}

fn unknown_active(id: &str, pack: &Dewormers) -> String {
    let known: Vec<_> = pack.active.iter().map(|row| &*row.id).collect();
    format!("`{id}` is not one of {}", known.join(", "))
}

/// What can't be, whatever the active.
fn plausible(input: &Input, pack: &Dewormers, faults: &mut Faults) {
    if let Some(score) = input.body_condition
        && !(1.0..=9.0).contains(&score)
    {
        faults.add("/body_condition", "condition scores go from 1 to 9");
    }
    if let Some(foaled_on) = input.foaled_on
        && foaled_on.earliest() > input.on
    {
        faults.add("/foaled_on", format!("{foaled_on} is after {}", input.on));
    }
    let late = |day: NaiveDate| day > input.on;
    if input.weighed_on.is_some_and(late) {
        faults.add("/weighed_on", format!("it is after {}", input.on));
    }
    for (n, earlier) in input.earlier.iter().enumerate() {
        if late(earlier.on) {
            faults.add(
                format!("/earlier/{n}/on"),
                format!("it is after {}", input.on),
            );
        }
        for (m, id) in earlier.actives.iter().enumerate() {
            if pack.active(id).is_none() {
                faults.add(
                    format!("/earlier/{n}/actives/{m}"),
                    unknown_active(id, pack),
                );
            }
        }
    }
    if input.course_days.iter().copied().any(late) {
        faults.add("/course_days", format!("a day is after {}", input.on));
    }
    if !input.course_days.is_empty() && input.regimen != Some(Regimen::Larvicidal) {
        faults.add("/course_days", "they belong to the regimen larvicidal");
    }
    let from_formula = input.weight_from == Some(WeightMethod::Formula);
    if input.weight_formula.is_some() && !from_formula {
        faults.add("/weight_formula", "it belongs to weight_from formula");
    }
}

fn label_of(input: &Input, held: Option<&Held<'_>>, faults: &mut Faults) -> Option<Label> {
    let form = held.and_then(|held| held.form);
    match (input.label, form) {
        (Some(label), Some(form)) if label != form.label => {
            faults.add(
                "/label",
                format!("{} has a label of {}", form.id, form.label),
            );
            None
        }
        (label, form) => label.or(form.map(|form| form.label)),
    }
}

/// How old the horse is on the day, as exactly as that is known.
#[derive(Clone, Copy)]
pub(super) struct Age {
    pub(super) foaled_on: Option<PartialDate>,
    pub(super) on: NaiveDate,
}

/// Whether it is under an age.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Under {
    /// It is.
    Yes,
    /// It is not.
    No,
    /// What is known of its age does not tell.
    Maybe,
}

impl Age {
    /// Whether it is under this age.
    pub(super) fn under(self, age: Period) -> Under {
        let Some(foaled_on) = self.foaled_on else {
            return Under::Maybe;
        };
        match (
            age.after(foaled_on.earliest()) > self.on,
            age.after(foaled_on.latest()) > self.on,
        ) {
            (true, _) => Under::Yes,
            (false, true) => Under::Maybe,
            (false, false) => Under::No,
        }
    }
}

/// What is found while a case is looked at.
#[derive(Default)]
pub(super) struct Findings {
    pub(super) warnings: Vec<Warning>,
    pub(super) refused: bool,
    pub(super) basis: Basis,
}

impl Findings {
    /// Something a person must know.
    pub(super) fn warn(&mut self, code: Code, text: impl Into<String>) {
        let warning = Warning::new(code.code(), text);
        if !self.warnings.contains(&warning) {
            self.warnings.push(warning);
        }
    }

    /// A reason for which there is no dose.
    pub(super) fn refuse(&mut self, code: Code, text: impl Into<String>) {
        self.refused = true;
        self.warn(code, text);
    }

    /// Warns, or refuses where the margin is narrow.
    pub(super) fn warn_or_refuse(&mut self, refuse: bool, code: Code, text: impl Into<String>) {
        self.refused |= refuse;
        self.warn(code, text);
    }

    /// Notes the rule that a finding or a number rests on.
    pub(super) fn rest_on(&mut self, pack: &Dewormers, row: &dyn Row) {
        self.rest_on_part(pack, row.id(), row.source(), row.mark());
    }

    /// Notes a part of a rule that has its own source.
    pub(super) fn rest_on_part(&mut self, pack: &Dewormers, rule: &str, source: &str, mark: Mark) {
        if let Some(source) = pack.source(source) {
            self.basis.rests_on(rule, source, mark);
        }
    }

    /// Notes the number that a finding rests on.
    pub(super) fn rest_on_number(&mut self, case: &Case<'_>, name: LimitName) {
        if let Ok(limit) = case.pack.limit(name) {
            self.rest_on(case.pack, limit);
        }
    }
}
