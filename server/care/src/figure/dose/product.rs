//! The product as it is held in the hand: what is in it, how strong it is, and how it is marked.

use crate::fault::Faults;
use crate::unit::{Given, KILOGRAMS, POUNDS, WEIGHTS, either};

use super::fact::{ActiveRow, Form, Part};
use super::input::{Make, Product, Species, StrengthOf};
use super::pack::Dewormers;

/// A product, with what its form says filled in.
pub(super) struct Held<'a> {
    /// The form it was said to be.
    pub(super) form: Option<&'a Form>,
    /// Its other actives, by code.
    pub(super) with: Vec<String>,
    /// The label's dose of the active, in mg/kg, where the product decides.
    pub(super) mg_per_kg: Option<f64>,
    /// The dose in mg/kg that its marks stand for.
    pub(super) marks_go_by: Option<f64>,
    /// How strong it is.
    pub(super) strength: Option<Strength>,
    /// What one syringe holds, in milligrams of the active (of the base, for a salt).
    pub(super) content_mg: Option<f64>,
    /// What one mark treats.
    pub(super) mark: Option<Given>,
    /// Whether its label names tapeworm.
    pub(super) tapeworm_claim: bool,
    /// Whether the ring is set to zero first.
    pub(super) zero_first: bool,
    /// What it is.
    pub(super) make: Option<Make>,
    /// The animal on its label.
    pub(super) species: Option<Species>,
}

/// Milligrams of the active (of the base, for a salt) in a gram or a millilitre.
#[derive(Clone, Copy)]
pub(super) struct Strength {
    pub(super) mg: f64,
    pub(super) liquid: bool,
}

/// From this strength on, in per cent, a salt is counted whole where nobody says what is counted: pastes hold 43.9 % of
/// the salt, or 15 to 23 % of the base.
const SALT_FROM_PERCENT: f64 = 30.0;

/// What a pack may hold, in grams or millilitres: less or more is a slip, and would upset the counting of syringes.
const LEAST_CONTENT: f64 = 0.001;
const MOST_CONTENT: f64 = 100_000.0;

/// What a mark may treat, in kilograms: a drop for a small foal to a whole syringe for the heaviest horse.
const LEAST_MARK_KG: f64 = 1.0;
const MOST_MARK_KG: f64 = 1200.0;

impl<'a> Held<'a> {
    /// Reads a product; `None` after a fault that leaves nothing to go on with.
    pub(super) fn read(
        product: &Product,
        active: &ActiveRow,
        pack: &'a Dewormers,
        faults: &mut Faults,
    ) -> Option<Self> {
        let form = match &product.form {
            Some(id) => Some(named(id, product, pack, faults)?),
            None => None,
        };
        // Where the dose is the product's own, a known strength tells which product it is.
        let like = form.or_else(|| alike(product, active, pack));
        let part = like.and_then(|form| form.parts.iter().find(|part| part.active == active.id));
        if let Some(form) = form
            && part.is_none()
        {
            faults.add(
                "/product/form",
                format!("{} does not hold {}", form.id, active.name),
            );
            return None;
        }
        let strength = strength(product, part.filter(|_| form.is_some()), active, faults);
        let content_mg = content(product, form, strength, faults);
        let mark = mark(product, form, faults);
        let with = others(product, like, active, pack, faults);
        Some(Self {
            form,
            with,
            mg_per_kg: part
                .map(|part| part.mg_per_kg)
                .filter(|_| active.by_product),
            marks_go_by: part.map(|part| part.mg_per_kg).or(active.marks_go_by),
            strength,
            content_mg,
            mark,
            tapeworm_claim: product
                .tapeworm_claim
                .unwrap_or(form.is_some_and(|form| form.tapeworm_claim)),
            zero_first: form.is_some_and(|form| form.zero_first) || active.narrow_margin,
            make: product.make.or(form.map(|form| form.make)),
            species: product.species,
        })
    }
}

fn named<'a>(
    id: &str,
    product: &Product,
    pack: &'a Dewormers,
    faults: &mut Faults,
) -> Option<&'a Form> {
    let Some(form) = pack.form(id) else {
        let known: Vec<_> = pack.form.iter().map(|row| &*row.id).collect();
        let detail = format!("`{id}` is not one of {}", known.join(", "));
        faults.add("/product/form", detail);
        return None;
    };
    if product.concentration_percent.is_some() || product.concentration_mg_per_ml.is_some() {
        faults.add(
            "/product/form",
            "a form states its strength: give one or the other",
        );
        return None;
    }
    Some(form)
}

/// The first form of the rules with this strength of an active whose dose is the product's own.
fn alike<'a>(product: &Product, active: &ActiveRow, pack: &'a Dewormers) -> Option<&'a Form> {
    if !active.by_product {
        return None;
    }
    let same = |ours: Option<f64>, theirs: Option<f64>| matches!((ours, theirs), (Some(ours), Some(theirs)) if (ours / theirs - 1.0).abs() < 0.005);
    pack.form.iter().find(|form| {
        form.parts.iter().any(|part| {
            part.active == active.id
                && (same(part.percent, product.concentration_percent)
                    || same(part.mg_per_ml, product.concentration_mg_per_ml))
        })
    })
}

/// How much active is in a gram or a millilitre.
fn strength(
    product: &Product,
    part: Option<&Part>,
    active: &ActiveRow,
    faults: &mut Faults,
) -> Option<Strength> {
    let percent = part.map_or(product.concentration_percent, |part| part.percent);
    let mg_per_ml = part.map_or(product.concentration_mg_per_ml, |part| part.mg_per_ml);
    let (stated, liquid) = match (percent, mg_per_ml) {
        (Some(_), Some(_)) => {
            faults.add(
                "/product/concentration_mg_per_ml",
                "give concentration_percent or concentration_mg_per_ml, not both",
            );
            return None;
        }
        (Some(percent), None) => (percent * 10.0, product.content_ml.is_some()),
        (None, Some(stated)) => (stated, true),
        (None, None) => return None,
    };
    let (field, most) = if percent.is_some() {
        ("concentration_percent", 1000.0)
    } else {
        ("concentration_mg_per_ml", 2000.0)
    };
    if !(stated > 0.0 && stated <= most) {
        faults.add(
            format!("/product/{field}"),
            "it is no strength that a product can have",
        );
        return None;
    }
    let said = part.and_then(|part| part.base).map(|base| {
        if base {
            StrengthOf::Base
        } else {
            StrengthOf::Salt
        }
    });
    let assumed = if stated >= SALT_FROM_PERCENT * 10.0 {
        StrengthOf::Salt
    } else {
        StrengthOf::Base
    };
    let counted = product.strength_of.or(said).unwrap_or(assumed);
    let factor = match (&active.base_in_salt, counted) {
        (Some(salt), StrengthOf::Salt) => salt.factor,
        _ => 1.0,
    };
    Some(Strength {
        mg: stated * factor,
        liquid,
    })
}

/// What one syringe holds of the active.
fn content(
    product: &Product,
    form: Option<&Form>,
    strength: Option<Strength>,
    faults: &mut Faults,
) -> Option<f64> {
    let (grams, millilitres) = match (product.content_g, product.content_ml) {
        (None, None) => (
            form.and_then(|form| form.content_g),
            form.and_then(|form| form.content_ml),
        ),
        own => own,
    };
    let (field, amount, liquid) = match (grams, millilitres) {
        (Some(_), Some(_)) => {
            faults.add(
                "/product/content_ml",
                "give content_g or content_ml, not both",
            );
            return None;
        }
        (Some(grams), None) => ("content_g", grams, false),
        (None, Some(millilitres)) => ("content_ml", millilitres, true),
        (None, None) => return None,
    };
    if !(LEAST_CONTENT..=MOST_CONTENT).contains(&amount) {
        faults.add(
            format!("/product/{field}"),
            format!("no pack holds that: it is outside {LEAST_CONTENT} to {MOST_CONTENT}"),
        );
        return None;
    }
    let strength = strength?;
    if strength.liquid != liquid {
        faults.add(
            format!("/product/{field}"),
            "the strength is by the millilitre: say content_ml",
        );
        return None;
    }
    Some(strength.mg * amount)
}

/// What one mark treats.
fn mark(product: &Product, form: Option<&Form>, faults: &mut Faults) -> Option<Given> {
    let (kg, lb) = match (product.mark_kg, product.mark_lb) {
        (None, None) => (
            form.and_then(|form| form.mark_kg),
            form.and_then(|form| form.mark_lb),
        ),
        own => own,
    };
    let mark = either(
        faults,
        "/product",
        ("mark_kg", kg, KILOGRAMS),
        ("mark_lb", lb, POUNDS),
    )?;
    let what = "what one mark treats";
    if let Some(doubt) = mark.doubt(what, &(LEAST_MARK_KG..=MOST_MARK_KG), WEIGHTS) {
        let field = if lb.is_some() { "mark_lb" } else { "mark_kg" };
        faults.add(format!("/product/{field}"), doubt);
        return None;
    }
    Some(mark)
}

/// The other actives in it.
fn others(
    product: &Product,
    like: Option<&Form>,
    active: &ActiveRow,
    pack: &Dewormers,
    faults: &mut Faults,
) -> Vec<String> {
    let mut with: Vec<String> = Vec::new();
    let parts = like.iter().flat_map(|form| &form.parts);
    for id in parts.map(|part| &part.active).chain(&product.with) {
        if *id != active.id && !with.contains(id) {
            with.push(id.clone());
        }
    }
    for (n, id) in product.with.iter().enumerate() {
        if pack.active(id).is_none() {
            faults.add(
                format!("/product/with/{n}"),
                format!("`{id}` is not an active that the rules know"),
            );
        }
    }
    with
}
