//! The rule pack `weight`.

use serde::Deserialize;

use crate::rules::{Header, Pack, Source, tables};

use super::formula::{Formula, Ideal};

/// The pack `weight`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Formulas {
    pack: Header,
    #[serde(default)]
    source: Vec<Source>,
    /// The formulas.
    #[serde(default)]
    pub formula: Vec<Formula>,
    /// The weights that frames should carry.
    #[serde(default)]
    pub ideal: Vec<Ideal>,
}

impl Formulas {
    /// The source of this name.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.source.iter().find(|source| source.id == id)
    }

    /// The names of all methods, once each, in the order of the pack.
    #[must_use]
    pub fn methods(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for formula in &self.formula {
            if !names.contains(&&*formula.method) {
                names.push(&formula.method);
            }
        }
        names
    }
}

impl Pack for Formulas {
    const SUBJECT: &'static str = "weight";
    const BUILT_IN: &'static str = include_str!("../../../rules/weight.toml");

    tables!(pack, source; formula, ideal);

    fn check(&self) -> Result<(), (String, String)> {
        for formula in &self.formula {
            self.sound(formula)
                .map_err(|reason| (formula.id.clone(), reason))?;
        }
        Ok(())
    }
}

impl Formulas {
    /// Refuses a formula that can't give a weight.
    fn sound(&self, formula: &Formula) -> Result<(), String> {
        if formula.divisor <= 0.0 || !formula.divisor.is_finite() {
            return Err(format!("the divisor {} is not above zero", formula.divisor));
        }
        if formula.takes().next().is_none() {
            return Err("no term takes a measure, so every horse would weigh the same".to_owned());
        }
        if formula.classes.is_empty() {
            return Err("classes is empty: say whom it holds for".to_owned());
        }
        match (formula.error.percent, formula.error.kg) {
            (Some(error), None) | (None, Some(error)) if error > 0.0 => {}
            _ => return Err("error takes percent or kg, one of them, above zero".to_owned()),
        }
        if self.source(&formula.error.source).is_none() {
            return Err(format!(
                "error names the source `{}`, which the file doesn't list",
                formula.error.source
            ));
        }
        let ranges = formula.limits_cm.values().chain(&formula.length_to_girth);
        for [low, high] in ranges.chain([&formula.result_kg]) {
            if !(0.0 <= *low && low < high) {
                return Err(format!("the range {low} to {high} is empty"));
            }
        }
        Ok(())
    }
}
