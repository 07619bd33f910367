//! The figure `reduction`: whether a dewormer still works in a herd, from egg counts before and after treatment.

use serde::{Deserialize, Serialize};

use crate::code::{Active, Efficacy, Parasite};
use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::quantile::{beta, gamma};
use crate::rules::{Row, Rules, Source};

/// The level of the interval: two one-sided tests at 5 %.
const LEVEL: f64 = 0.90;
/// What lies outside it at each end.
const TAIL: f64 = (1.0 - LEVEL) / 2.0;

/// How the two groups of counts belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Design {
    /// The same horses before and after, in the same order.
    Paired,
    /// Untreated against treated horses.
    Unpaired,
}

/// Eggs per gram that one egg stands for: one for all counts, or one for each.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum Factors {
    /// The same for all counts.
    All(f64),
    /// One for each count: those before, then those after; or one for each horse of a paired test.
    Each(Vec<f64>),
    /// One for each side, or for each count of each side.
    Sides(Sides),
}

/// Factors that differ between before and after.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Sides {
    /// For the counts before.
    pub before: Side,
    /// For the counts after.
    pub after: Side,
}

/// The factor of one side.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum Side {
    /// The same for all counts of this side.
    All(f64),
    /// One for each count of this side.
    Each(Vec<f64>),
}

/// What the figure takes: eggs as they were counted, not eggs per gram.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = ReductionInput, example = json!({
    "active": "pyrantel_pamoate", "parasite": "strongyles", "design": "paired",
    "before": [44, 51, 39, 60, 47], "after": [1, 0, 4, 0, 1], "multiplication_factor": 25.0
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The dewormer.
    pub active: Option<Active>,
    /// What the eggs are of; strongyles if missing.
    pub parasite: Option<Parasite>,
    /// Whether the same horses were counted twice; paired if missing.
    pub design: Option<Design>,
    /// Eggs counted before treatment (unpaired: of the untreated group).
    pub before: Vec<u32>,
    /// Eggs counted after treatment (unpaired: of the treated group).
    pub after: Vec<u32>,
    /// Eggs per gram that one egg stands for; it matters only where it differs.
    pub multiplication_factor: Option<Factors>,
    /// The reduction expected, in percent; else from the rules.
    pub expected_percent: Option<f64>,
    /// The lower threshold, in percent; else from the rules.
    pub lower_percent: Option<f64>,
}

/// An interval for the reduction, in percent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Interval {
    /// Its level: 0.90 is 90 %.
    pub level: f64,
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// `gamma-delta` or `clopper-pearson`.
    pub method: String,
}

/// What the figure gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = ReductionAnswer))]
pub struct Answer {
    /// The reduction in percent; negative where counts rose.
    pub reduction_percent: f64,
    /// Its interval; null where the counts allow none.
    pub interval: Option<Interval>,
    /// What it says of the dewormer in this herd.
    pub class: Efficacy,
    /// The reduction expected, in percent.
    pub expected_percent: f64,
    /// The lower threshold, in percent.
    pub lower_percent: f64,
    /// The fewest eggs before treatment with which it could be called susceptible.
    pub minimum_eggs_before: u32,
    /// What to know about it.
    pub warnings: Vec<Warning>,
    /// What the answer rests on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Counts with their factors, of one side.
struct Group {
    counts: Vec<f64>,
    factors: Vec<f64>,
}

impl Group {
    fn len(&self) -> f64 {
        f64::from(u32::try_from(self.counts.len()).unwrap_or(u32::MAX))
    }

    fn eggs(&self) -> f64 {
        self.counts.iter().sum()
    }

    /// Eggs per gram, count by count.
    fn epg(&self) -> Vec<f64> {
        self.counts
            .iter()
            .zip(&self.factors)
            .map(|(count, factor)| count * factor)
            .collect()
    }

    fn mean_factor(&self) -> f64 {
        self.factors.iter().sum::<f64>() / self.len()
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / f64::from(u32::try_from(values.len()).unwrap_or(u32::MAX))
}

/// The sample covariance (n − 1) of two lists of the same length; of a list with itself, its variance.
fn covariance(x: &[f64], y: &[f64]) -> f64 {
    let (mx, my) = (mean(x), mean(y));
    let sum: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    sum / (f64::from(u32::try_from(x.len()).unwrap_or(u32::MAX)) - 1.0)
}

/// The variance of the logarithm of the ratio of the means, by the delta method.
///
/// # Source
///
/// Levecke B. et al. (2018), faecal egg count reduction with variance by the delta method; the formula is remembered and
/// agrees with Coles et al. (1992) but for the covariance of paired counts.
fn log_ratio_variance(before: &[f64], after: &[f64], design: Design) -> f64 {
    let (m1, m2) = (mean(before), mean(after));
    let count = |values: &[f64]| f64::from(u32::try_from(values.len()).unwrap_or(u32::MAX));
    let apart = covariance(before, before) / (count(before) * m1 * m1)
        + covariance(after, after) / (count(after) * m2 * m2);
    match design {
        Design::Unpaired => apart,
        Design::Paired => apart - 2.0 * covariance(before, after) / (count(before) * m1 * m2),
    }
}

/// The interval by the delta method, with a gamma distribution for the ratio of the means.
fn gamma_delta(ratio: f64, variance: f64) -> Interval {
    let quantile = |p| gamma(p, 1.0 / variance, ratio * variance);
    Interval {
        level: LEVEL,
        low: 100.0 * (1.0 - quantile(1.0 - TAIL)),
        high: 100.0 * (1.0 - quantile(TAIL)),
        method: "gamma-delta".to_owned(),
    }
}

/// The exact binomial interval on raw eggs: `left` of `eggs` survived.
fn clopper_pearson(eggs: f64, left: f64) -> Interval {
    let high = if left == 0.0 {
        1.0
    } else {
        beta(1.0 - TAIL, eggs - left + 1.0, left)
    };
    Interval {
        level: LEVEL,
        low: 100.0 * beta(TAIL, eggs - left, left + 1.0),
        high: 100.0 * high,
        method: "clopper-pearson".to_owned(),
    }
}

/// The reduction of egg counts, its 90 % interval, and what it says of the dewormer.
///
/// The interval is the wider of gamma-delta and Clopper–Pearson: the first is too narrow where few eggs are left by chance
/// evenly, the second where horses differ.
///
/// # Errors
///
/// Faults: counts that are missing or don't pair, no egg before treatment, factors that can't be, thresholds that the rules
/// don't have.
///
/// # Source
///
/// Kaplan et al. (2023), WAAVP guideline, *Veterinary Parasitology* 318:109936, for the design and the rule of decision;
/// Dobson et al. (2012) for the binomial; the pack `egg_counts` for thresholds.
pub fn reduction(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let design = input.design.unwrap_or(Design::Paired);
    check_counts(input, design)?;
    let (before, after) = groups(input, design)?;
    let mut basis = Basis::default();
    let (expected, lower) = thresholds(input, rules, &mut basis)?;
    let (epg_before, epg_after) = (before.epg(), after.epg());
    let ratio = mean(&epg_after) / mean(&epg_before);
    // What the eggs before would have been under the microscope of the counts after, horse for horse.
    let eggs =
        before.epg().iter().sum::<f64>() * (after.len() / before.len()) / after.mean_factor();
    let left = after.eggs();
    let single = before.counts.len() < 2 || after.counts.len() < 2;
    let variance =
        (!single && left > 0.0).then(|| log_ratio_variance(&epg_before, &epg_after, design));
    let delta = variance
        .filter(|variance| *variance > 0.0)
        .map(|variance| gamma_delta(ratio, variance));
    let exact = (left < eggs).then(|| clopper_pearson(eggs, left));
    let interval = match (delta, exact) {
        (Some(delta), Some(exact)) => {
            let wider = delta.high - delta.low > exact.high - exact.low;
            Some(if wider { delta } else { exact })
        }
        (delta, exact) => delta.or(exact),
    };
    let mut warnings = Vec::new();
    let minimum = minimum_eggs(lower);
    let class = class(
        &Verdict {
            interval: interval.as_ref(),
            ratio,
            expected,
            lower,
            single,
            seen: eggs.min(before.eggs()),
            minimum,
        },
        &mut warnings,
    );
    note_size(rules, &before, &mut basis, &mut warnings);
    if before
        .factors
        .iter()
        .chain(&after.factors)
        .any(|factor| (factor - before.factors[0]).abs() > 1e-9)
    {
        warnings.push(Warning::new(
            "factors-differ",
            "the multiplication factors differ; counts by different methods must not be mixed in one test",
        ));
    }
    basis.caution("Count the same horses by the same method before and 14 days after treatment.");
    basis.caution("A dose below the label's, paste spat out or a wrong weight looks like resistance: check them first.");
    basis.caution("What to use instead is for your vet to say.");
    Ok(Answer {
        reduction_percent: 100.0 * (1.0 - ratio),
        interval,
        class,
        expected_percent: expected,
        lower_percent: lower,
        minimum_eggs_before: minimum,
        warnings,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

fn check_counts(input: &Input, design: Design) -> Result<(), Faults> {
    let mut faults = Faults::default();
    for (pointer, counts) in [("/before", &input.before), ("/after", &input.after)] {
        if counts.is_empty() {
            faults.add(pointer, "give the eggs counted, horse by horse");
        } else if counts.len() > 10_000 || counts.iter().any(|count| *count > 100_000) {
            faults.add(
                pointer,
                "at most 10,000 horses with 100,000 eggs each: are these counts per gram?",
            );
        }
    }
    if design == Design::Paired && input.before.len() != input.after.len() {
        faults.add(
            "/after",
            format!(
                "{} counts before but {} after: a paired test needs both of each horse",
                input.before.len(),
                input.after.len()
            ),
        );
    }
    if !input.before.is_empty() && input.before.iter().all(|count| *count == 0) {
        faults.add(
            "/before",
            "no egg was seen before treatment: nothing can have been reduced",
        );
    }
    faults.or(())
}

fn groups(input: &Input, design: Design) -> Result<(Group, Group), Faults> {
    let (n, m) = (input.before.len(), input.after.len());
    let wrong_count = |pointer: &str, got: usize, expected: String| {
        Faults::one(pointer, format!("{got} factors for {expected}"))
    };
    let side = |pointer: &str, side: &Side, count: usize| match side {
        Side::All(factor) => Ok(vec![*factor; count]),
        Side::Each(factors) if factors.len() == count => Ok(factors.clone()),
        Side::Each(factors) => Err(wrong_count(
            pointer,
            factors.len(),
            format!("{count} counts"),
        )),
    };
    let (before, after) = match &input.multiplication_factor {
        None => (vec![1.0; n], vec![1.0; m]),
        Some(Factors::All(factor)) => (vec![*factor; n], vec![*factor; m]),
        Some(Factors::Each(factors)) if factors.len() == n + m => {
            (factors[..n].to_vec(), factors[n..].to_vec())
        }
        Some(Factors::Each(factors)) if design == Design::Paired && factors.len() == n => {
            (factors.clone(), factors.clone())
        }
        Some(Factors::Each(factors)) => {
            return Err(wrong_count(
                "/multiplication_factor",
                factors.len(),
                format!("{n} counts before and {m} after; or give {{\"before\": …, \"after\": …}}"),
            ));
        }
        Some(Factors::Sides(sides)) => (
            side("/multiplication_factor/before", &sides.before, n)?,
            side("/multiplication_factor/after", &sides.after, m)?,
        ),
    };
    if before
        .iter()
        .chain(&after)
        .any(|factor| !(factor.is_finite() && *factor > 0.0 && *factor <= 10_000.0))
    {
        return Err(Faults::one(
            "/multiplication_factor",
            "must be above 0, and no more than 10,000",
        ));
    }
    let group = |counts: &[u32], factors| Group {
        counts: counts.iter().copied().map(f64::from).collect(),
        factors,
    };
    Ok((group(&input.before, before), group(&input.after, after)))
}

fn thresholds(input: &Input, rules: &Rules, basis: &mut Basis) -> Result<(f64, f64), Faults> {
    let pack = &rules.egg_counts;
    let row = input
        .active
        .and_then(|active| pack.threshold(active, input.parasite.unwrap_or(Parasite::Strongyles)));
    let mut faults = Faults::default();
    if row.is_none() && (input.expected_percent.is_none() || input.lower_percent.is_none()) {
        faults.add(
            "/active",
            "the rules have no thresholds for this dewormer and parasite: give expected_percent and lower_percent",
        );
    }
    let expected = input
        .expected_percent
        .or(row.map(|row| row.expected_percent))
        .unwrap_or(f64::NAN);
    let lower = input
        .lower_percent
        .or(row.map(|row| row.lower_percent))
        .unwrap_or(f64::NAN);
    faults.or(())?;
    if !(expected > 0.0 && expected <= 100.0) {
        return Err(Faults::one(
            "/expected_percent",
            "above 0, and no more than 100",
        ));
    }
    if !(lower > 0.0 && lower < expected) {
        return Err(Faults::one(
            "/lower_percent",
            format!("above 0, and below what is expected ({expected})"),
        ));
    }
    if let Some(row) =
        row.filter(|_| input.expected_percent.is_none() || input.lower_percent.is_none())
    {
        basis.rests_on(row.id(), pack.source(row), row.mark());
    }
    Ok((expected, lower))
}

/// The fewest eggs before treatment of which all may vanish and still leave no doubt about the lower threshold: the
/// smallest N with (lower / 100)^N no more than 5 %.
fn minimum_eggs(lower_percent: f64) -> u32 {
    let eggs = (TAIL.ln() / (lower_percent / 100.0).ln()).ceil();
    // Both logarithms are negative, so this is positive; a threshold close to 100 % asks for very many.
    if eggs < f64::from(u32::MAX) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "positive and below the largest u32"
        )]
        let eggs = eggs as u32;
        eggs
    } else {
        u32::MAX
    }
}

/// All that the class depends on.
struct Verdict<'a> {
    interval: Option<&'a Interval>,
    ratio: f64,
    expected: f64,
    lower: f64,
    single: bool,
    /// Eggs before treatment, by whichever of the two counts would have seen fewer.
    seen: f64,
    minimum: u32,
}

fn class(of: &Verdict<'_>, warnings: &mut Vec<Warning>) -> Efficacy {
    if of.single {
        warnings.push(Warning::new(
            "one-horse",
            "one horse says nothing about a herd's worms",
        ));
        return Efficacy::Inconclusive;
    }
    if of.seen < f64::from(of.minimum) {
        warnings.push(Warning::new(
            "too-few-eggs",
            format!(
                "only {:.0} eggs were seen before treatment; at least {} are needed before anything can be said",
                of.seen, of.minimum
            ),
        ));
        return Efficacy::Inconclusive;
    }
    if of.ratio > 1.0 {
        warnings.push(Warning::new("counts-rose", "counts rose after treatment"));
        return Efficacy::Resistant;
    }
    let Some(Interval { low, high, .. }) = of.interval else {
        return Efficacy::Inconclusive;
    };
    match (*high >= of.expected, *low >= of.lower) {
        (false, false) => Efficacy::Resistant,
        (false, true) => Efficacy::LowResistant,
        (true, true) => Efficacy::Susceptible,
        (true, false) => Efficacy::Inconclusive,
    }
}

fn note_size(rules: &Rules, before: &Group, basis: &mut Basis, warnings: &mut Vec<Warning>) {
    let pack = &rules.egg_counts;
    for row in &pack.sizes {
        if before.counts.len() < row.horses || before.eggs() < row.eggs_before {
            basis.rests_on(row.id(), pack.source(row), row.mark());
            warnings.push(Warning::new(
                "indicative",
                format!(
                    "take it as a hint: a test wants {} horses and {} eggs before treatment, in all; here are {} and {}",
                    row.horses,
                    row.eggs_before,
                    before.counts.len(),
                    before.eggs()
                ),
            ));
        }
    }
}
