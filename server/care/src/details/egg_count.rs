//! A faecal egg count.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;

/// Details of `egg_count`: the worm eggs in a dung sample.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct EggCount {
    /// How it was counted: `mcmaster`, `mini_flotac`, `wisconsin` … Counts by different methods are never compared.
    pub method: Option<String>,
    /// Strongyle eggs seen under the microscope.
    pub eggs_counted: Option<u32>,
    /// Eggs per gram that one counted egg stands for.
    pub multiplication_factor: Option<f64>,
    /// Strongyle eggs per gram.
    pub strongyle_epg: Option<f64>,
    /// Ascarid eggs per gram.
    pub ascarid_epg: Option<f64>,
    /// Whether tapeworm eggs were seen.
    pub tapeworm_eggs_seen: Option<bool>,
    /// When the dung was collected.
    pub collected_at: Option<DateTime<FixedOffset>>,
    /// Who counted, if it was a laboratory.
    pub laboratory: Option<String>,
}

impl EggCount {
    /// Strongyle eggs per gram: as given, else from the count and its factor.
    #[must_use]
    pub fn epg(&self) -> Option<f64> {
        let counted = self
            .eggs_counted
            .map(f64::from)
            .zip(self.multiplication_factor);
        self.strongyle_epg
            .or_else(|| counted.map(|(eggs, factor)| eggs * factor))
    }
}

impl Typed for EggCount {
    fn example() -> Value {
        json!({
            "method": "mcmaster",
            "eggs_counted": 18,
            "multiplication_factor": 25.0,
            "strongyle_epg": 450.0,
            "ascarid_epg": 0.0,
            "tapeworm_eggs_seen": false,
            "collected_at": "2026-05-04T07:30:00+01:00",
            "laboratory": "Saltmarsh barn bench"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.short("/method", self.method.as_deref());
        self.ask_about_method(check);
        check.short("/laboratory", self.laboratory.as_deref());
        check.quantity(
            "/eggs_counted",
            "eggs_counted",
            self.eggs_counted.map(f64::from),
        );
        check.quantity(
            "/multiplication_factor",
            "multiplication_factor",
            self.multiplication_factor,
        );
        check.quantity("/strongyle_epg", "epg", self.strongyle_epg);
        check.quantity("/ascarid_epg", "epg", self.ascarid_epg);
        check.that(
            self.epg().is_some() || self.ascarid_epg.is_some() || self.tapeworm_eggs_seen.is_some(),
            "/strongyle_epg",
            "it is missing: give eggs_counted with its multiplication_factor, or strongyle_epg",
        );
        if let (Some(eggs), Some(factor), Some(epg)) = (
            self.eggs_counted,
            self.multiplication_factor,
            self.strongyle_epg,
        ) {
            let expected = f64::from(eggs) * factor;
            let sensible = factor > 0.0;
            // Laboratories round to whole eggs per gram.
            check.that(
                !sensible || (epg - expected).abs() <= 1.0,
                "/strongyle_epg",
                format!("{eggs} eggs times {factor} are {expected} eggs per gram, not {epg}"),
            );
        }
        let collected = self.collected_at.map(|at| at.date_naive());
        check.past("/collected_at", collected);
    }
}

impl EggCount {
    /// Laboratories have methods of their own, so an unknown one is asked about, not refused.
    fn ask_about_method(&self, check: &mut Check<'_>) {
        let methods = &check.context.rules.egg_counts.methods;
        let Some(given) = &self.method else { return };
        let Some(method) = methods.iter().find(|method| method.id == *given) else {
            let known: Vec<_> = methods.iter().map(|method| method.id.as_str()).collect();
            let detail = format!(
                "{given} is not one of the methods known here: {}",
                known.join(", ")
            );
            check.ask("/method", detail);
            return;
        };
        let usual = &method.usual_factors;
        if let Some(factor) = self.multiplication_factor.filter(|factor| {
            !usual.is_empty() && usual.iter().all(|one| (one - factor).abs() > 1e-9)
        }) {
            let usual: Vec<_> = usual.iter().map(f64::to_string).collect();
            let detail = format!(
                "{factor} is unusual for {given}, where it is {}",
                usual.join(" or ")
            );
            check.ask("/multiplication_factor", detail);
        }
    }
}
