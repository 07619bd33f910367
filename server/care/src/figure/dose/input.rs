//! What the figure `dose` takes.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::code::{Efficacy, Parasite, Shedder, WeightMethod};
use crate::efficacy::YardTest;
use crate::horse::BreedType;
use crate::kind::codes;
use crate::when::PartialDate;

codes! {
    /// How a dewormer is given.
    Regimen {
        /// Once.
        Single = "single",
        /// On five days in a row, against larvae in the gut wall.
        Larvicidal = "larvicidal",
        /// Every day, in the feed.
        Daily = "daily",
    }
}

codes! {
    /// Whose label it is: ages and claims differ between countries.
    Label {
        /// The United States.
        Us = "us",
        /// Great Britain.
        Gb = "gb",
    }
}

codes! {
    /// What a product is.
    Make {
        /// A paste in a syringe.
        Paste = "paste",
        /// A gel in a syringe.
        Gel = "gel",
        /// A liquid given by mouth or by tube.
        Drench = "drench",
        /// Mixed into feed.
        Feed = "feed",
        /// Injected.
        Injection = "injection",
        /// Poured along the back.
        PourOn = "pour_on",
    }
}

codes! {
    /// The animal on a product's label.
    Species {
        /// Horses.
        Horse = "horse",
        /// Cattle.
        Cattle = "cattle",
        /// Sheep.
        Sheep = "sheep",
        /// Any other.
        Other = "other",
    }
}

codes! {
    /// What people will eat of the horse.
    Food {
        /// Its meat may be eaten: its passport does not say otherwise.
        Meat = "meat",
        /// Its milk is drunk.
        Milk = "milk",
    }
}

codes! {
    /// Why it is given now.
    Plan {
        /// The yearly treatments that every grown horse gets.
        Baseline = "baseline",
        /// An egg count decides who is treated.
        EggCount = "egg_count",
        /// So many weeks since the last one, all year round.
        FixedInterval = "fixed_interval",
        /// A vet ordered it for this horse.
        VetOrder = "vet_order",
    }
}

codes! {
    /// What a strength counts.
    StrengthOf {
        /// The base alone.
        Base = "base",
        /// The whole salt.
        Salt = "salt",
    }
}

/// The product: either one of the known forms, or what its label says.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DoseProduct))]
#[serde(deny_unknown_fields, default)]
pub struct Product {
    /// A form of the rules (`ivermectin_us`), which fills in what is not said below.
    pub form: Option<String>,
    /// The active's strength: grams in 100 g, or in 100 mL of a gel or liquid.
    pub concentration_percent: Option<f64>,
    /// The same in milligrams for each millilitre.
    pub concentration_mg_per_ml: Option<f64>,
    /// What the strength of a salt counts; else salt from 30 % on, and base below.
    pub strength_of: Option<StrengthOf>,
    /// What one syringe holds, in grams.
    pub content_g: Option<f64>,
    /// What one syringe holds, in millilitres.
    pub content_ml: Option<f64>,
    /// What one mark of the syringe treats, in kilograms of horse.
    pub mark_kg: Option<f64>,
    /// What one mark of the syringe treats, in pounds of horse.
    pub mark_lb: Option<f64>,
    /// Other actives in it.
    pub with: Vec<String>,
    /// Whether its label names tapeworm.
    pub tapeworm_claim: Option<bool>,
    /// The animal on its label.
    pub species: Option<Species>,
    /// What it is.
    pub make: Option<Make>,
    /// The day, or the month to whose end, it may be used.
    pub expiration_date: Option<PartialDate>,
}

/// A dewormer that this horse had before.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = EarlierDose))]
#[serde(deny_unknown_fields)]
pub struct Earlier {
    /// Its actives.
    pub actives: Vec<String>,
    /// The day it was given.
    pub on: NaiveDate,
    /// How much of the first active it got, in mg/kg; else the label's dose is assumed.
    #[serde(default)]
    pub mg_per_kg: Option<f64>,
}

/// An egg count reduction test that this treatment belongs to, or that the choice of active rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = ReductionTest))]
#[serde(deny_unknown_fields)]
pub struct ReductionTest {
    /// The day of the treatment that it tests.
    pub treated_on: NaiveDate,
    /// The day of the count after it, once there is one.
    #[serde(default)]
    pub counted_on: Option<NaiveDate>,
    /// Whether both counts were made by the same method.
    #[serde(default)]
    pub same_method: Option<bool>,
    /// How many eggs were counted under the microscope before treatment, all horses together.
    #[serde(default)]
    pub eggs_before: Option<u32>,
}

/// The horse, its weight, and what it is to be given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DoseInput, example = json!({
    "active": "ivermectin", "weight_kg": 500.0, "weight_from": "tape", "on": "2027-05-01", "foaled_on": "2015",
    "product": {"concentration_percent": 1.87, "content_g": 6.08, "mark_lb": 250.0}
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The active: `ivermectin`, `moxidectin`, `pyrantel_pamoate` …, or one that the operator's rules add.
    pub active: String,
    /// The horse's weight in kilograms.
    #[serde(default)]
    pub weight_kg: Option<f64>,
    /// The same in pounds.
    #[serde(default)]
    pub weight_lb: Option<f64>,
    /// The day it is given.
    pub on: NaiveDate,
    /// When the horse was foaled, as exactly as it is known.
    #[serde(default)]
    pub foaled_on: Option<PartialDate>,
    /// Whether she is in foal.
    #[serde(default)]
    pub pregnant: Option<bool>,
    /// Condition score, 1 to 9.
    #[serde(default)]
    pub body_condition: Option<f64>,
    /// How the weight was come by; a tape if it is not said.
    #[serde(default)]
    pub weight_from: Option<WeightMethod>,
    /// The product.
    #[serde(default)]
    pub product: Option<Product>,
    /// What it is for; strongyles if it is not said (tapeworm, for an active that kills nothing else).
    #[serde(default)]
    pub parasite: Option<Parasite>,
    /// How it is given; once if it is not said.
    #[serde(default)]
    pub regimen: Option<Regimen>,
    /// Its build.
    #[serde(default)]
    pub breed_type: Option<BreedType>,
    /// The day it was weighed or measured.
    #[serde(default)]
    pub weighed_on: Option<NaiveDate>,
    /// The formula by which the weight was computed, as the figure `weight` names it.
    #[serde(default)]
    pub weight_formula: Option<String>,
    /// Whether it is severely debilitated: weak, ill, wasted.
    #[serde(default)]
    pub debilitated: Option<bool>,
    /// Whether a vet has seen it and orders this dose in spite of its condition.
    #[serde(default)]
    pub vet_ordered: Option<bool>,
    /// Whose label to go by; the strictest of all if it is not said.
    #[serde(default)]
    pub label: Option<Label>,
    /// What people will eat of it.
    #[serde(default)]
    pub food: Option<Food>,
    /// What it had before, the last year at least.
    #[serde(default)]
    pub earlier: Vec<Earlier>,
    /// The days on which it had the earlier doses of this course.
    #[serde(default)]
    pub course_days: Vec<NaiveDate>,
    /// How many eggs it sheds.
    #[serde(default)]
    pub shedder: Option<Shedder>,
    /// Why it is given now.
    #[serde(default)]
    pub plan: Option<Plan>,
    /// What the last reduction test on this yard said of the active's class.
    #[serde(default)]
    pub efficacy: Option<Efficacy>,
    /// What the egg counts of the yard said of dewormers: a failure is told, and changes no dose.
    #[serde(default)]
    pub yard_tests: Vec<YardTest>,
    /// A reduction test that this treatment belongs to.
    #[serde(default)]
    pub reduction_test: Option<ReductionTest>,
    /// Whether part of the dose was spat out or lost.
    #[serde(default)]
    pub partly_lost: Option<bool>,
}
