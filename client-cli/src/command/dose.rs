//! `whorl dose`: how much dewormer, and where to set the syringe.

use chrono::NaiveDate;
use serde_json::{Map, Value, json};
use whorl_care::code::{Efficacy, Parasite, Shedder, WeightMethod};
use whorl_care::fault;
use whorl_care::figure::Warning;
use whorl_care::figure::dose::input::{Food, Label, Make, Plan, Regimen, Species, StrengthOf};
use whorl_care::figure::dose::{Answer, Input, dose};
use whorl_care::horse::BreedType;
use whorl_care::sentence::words;
use whorl_care::unit::plain;
use whorl_care::when::PartialDate;

use crate::basis;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::recording;
use crate::render::Sheet;
use crate::unit;

/// Work out a dewormer's dose and where to set the syringe; refuse where something speaks against it
///
/// With a horse, its weight, age, condition, pregnancy and earlier dewormers come from its record; a flag overrides.
/// Nothing is recorded: `whorl record deworming` does that. Follow the label and your vet.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The active: ivermectin, moxidectin, `pyrantel_pamoate`, fenbendazole …
    active: String,
    /// The horse
    horse: Option<String>,
    /// Its weight
    #[arg(long, value_name = "kg|lb")]
    weight: Option<String>,
    /// How the weight was come by: scale, tape, formula or visual
    #[arg(long, value_name = "HOW")]
    weight_from: Option<WeightMethod>,
    /// The day it is given; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
    /// When it was foaled: a date, a month or a year
    #[arg(long, value_name = "DATE")]
    foaled: Option<PartialDate>,
    /// Its build
    #[arg(long, value_name = "TYPE")]
    breed_type: Option<BreedType>,
    /// Whether she is in foal
    #[arg(long, value_name = "yes|no", num_args = 0..=1, require_equals = true, default_missing_value = "yes")]
    pregnant: Option<String>,
    /// Condition score, 1 to 9
    #[arg(long, value_name = "SCORE")]
    condition: Option<f64>,
    /// It is weak, ill or wasted
    #[arg(long)]
    debilitated: bool,
    /// A vet has seen it and orders this dose
    #[arg(long)]
    vet_ordered: bool,
    /// What it is for: strongyles, ascarids, tapeworm …
    #[arg(long)]
    parasite: Option<Parasite>,
    /// How it is given: single, larvicidal (five days in a row) or daily
    #[arg(long)]
    regimen: Option<Regimen>,
    /// Whose label to go by, us or gb; the strictest if left out
    #[arg(long)]
    label: Option<Label>,
    /// What people will eat of it: meat or milk
    #[arg(long)]
    food: Option<Food>,
    /// How many eggs it sheds: low, moderate or high
    #[arg(long)]
    shedder: Option<Shedder>,
    /// Why it is given now: baseline, `egg_count`, `fixed_interval` or `vet_order`
    #[arg(long)]
    plan: Option<Plan>,
    /// What the last reduction test on this yard said of it
    #[arg(long)]
    efficacy: Option<Efficacy>,
    #[command(flatten)]
    product: ProductArgs,
}

/// The product, as its label has it.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "The product")]
struct ProductArgs {
    /// A product form of the rules, such as `ivermectin_us` (`whorl rules dewormers` lists them)
    #[arg(long)]
    form: Option<String>,
    /// Its strength, in percent
    #[arg(long, value_name = "%")]
    concentration: Option<String>,
    /// What the strength of a salt counts: base or salt
    #[arg(long)]
    strength_of: Option<StrengthOf>,
    /// What one syringe holds, in grams or millilitres
    #[arg(long, value_name = "g|ml")]
    content: Option<String>,
    /// What one mark of the syringe treats
    #[arg(long, value_name = "kg|lb")]
    mark: Option<String>,
    /// Other actives in it
    #[arg(long, value_delimiter = ',')]
    with: Vec<String>,
    /// Its label names tapeworm
    #[arg(long)]
    tapeworm_claim: bool,
    /// The animal on its label, if not horses
    #[arg(long)]
    species: Option<Species>,
    /// What it is: paste, gel, drench, feed …
    #[arg(long)]
    make: Option<Make>,
    /// When it expires
    #[arg(long, value_name = "DATE")]
    expires: Option<PartialDate>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if something is missing or wrong, or if there is no dose: the reasons have been shown, then.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let on = self.on.unwrap_or_else(|| desk.machine().now().date_naive());
        let chart = match &self.horse {
            Some(name) => {
                let mut conn = desk.database()?;
                let horse = herd::named(&mut conn, name)?;
                let mut chart = Chart::of(&mut conn, &horse, on)?;
                chart.ask_yard(&mut conn, &horse, on, &rules)?;
                chart
            }
            None => Chart::default(),
        };
        let base = serde_json::to_value(chart.dose(&self.active, on))
            .map_err(|error| Failure::Device(error.to_string()))?;
        let input: Input = fault::read(&self.over(base)?)?;
        let answer = dose(&input, &rules).map_err(|faults| recording::spoken(&faults, flag))?;
        desk.show(&answer, || table(&answer))?;
        if answer.refused {
            return Err(Failure::input(
                "there is no dose: see the reasons above, and ask your vet",
            ));
        }
        Ok(())
    }

    /// The flags laid over what the record says.
    fn over(&self, base: Value) -> Result<Value, Failure> {
        let Value::Object(mut document) = base else {
            return Ok(base);
        };
        if let Some(text) = &self.weight {
            let (field, number) = quantity("--weight", "weight_kg", text)?;
            for name in ["weight_kg", "weight_lb", "weight_from", "weighed_on"] {
                document.remove(name);
            }
            document.insert(field, json!(number));
        }
        let pregnant = match self.pregnant.as_deref() {
            None => None,
            Some("yes") => Some(json!(true)),
            Some("no") => Some(json!(false)),
            Some(other) => {
                return Err(Failure::input(format!(
                    "--pregnant: `{other}` is neither yes nor no"
                )));
            }
        };
        for (name, value) in [
            ("weight_from", self.weight_from.map(|one| json!(one))),
            ("foaled_on", self.foaled.map(|one| json!(one))),
            ("breed_type", self.breed_type.map(|one| json!(one))),
            ("pregnant", pregnant),
            ("body_condition", self.condition.map(|one| json!(one))),
            ("debilitated", self.debilitated.then_some(Value::Bool(true))),
            ("vet_ordered", self.vet_ordered.then_some(Value::Bool(true))),
            ("parasite", self.parasite.map(|one| json!(one))),
            ("regimen", self.regimen.map(|one| json!(one))),
            ("label", self.label.map(|one| json!(one))),
            ("food", self.food.map(|one| json!(one))),
            ("shedder", self.shedder.map(|one| json!(one))),
            ("plan", self.plan.map(|one| json!(one))),
            ("efficacy", self.efficacy.map(|one| json!(one))),
            ("product", self.product.document()?),
        ] {
            if let Some(value) = value {
                document.insert(name.to_owned(), value);
            }
        }
        Ok(Value::Object(document))
    }
}

impl ProductArgs {
    fn document(&self) -> Result<Option<Value>, Failure> {
        let mut product = Map::new();
        if let Some(text) = &self.concentration {
            let (name, number) = quantity("--concentration", "concentration_percent", text)?;
            product.insert(name, json!(number));
        }
        if let Some(text) = &self.mark {
            let (name, number) = quantity("--mark", "mark_kg", text)?;
            product.insert(name, json!(number));
        }
        if let Some(text) = &self.content {
            let (name, number) = content(text)?;
            product.insert(name.to_owned(), json!(number));
        }
        for (name, value) in [
            ("form", self.form.as_ref().map(|one| json!(one))),
            ("strength_of", self.strength_of.map(|one| json!(one))),
            ("with", (!self.with.is_empty()).then(|| json!(self.with))),
            (
                "tapeworm_claim",
                self.tapeworm_claim.then_some(Value::Bool(true)),
            ),
            ("species", self.species.map(|one| json!(one))),
            ("make", self.make.map(|one| json!(one))),
            ("expiration_date", self.expires.map(|one| json!(one))),
        ] {
            if let Some(value) = value {
                product.insert(name.to_owned(), value);
            }
        }
        Ok((!product.is_empty()).then_some(Value::Object(product)))
    }
}

fn quantity(flag: &str, field: &str, text: &str) -> Result<(String, f64), Failure> {
    unit::read(field, text, false).map_err(|why| Failure::input(format!("{flag}: {why}")))
}

/// What a syringe holds: grams of a paste, or millilitres of a gel or liquid.
fn content(text: &str) -> Result<(&'static str, f64), Failure> {
    if let Ok((_, ml)) = unit::read("content_ml", text, false)
        && text.trim().to_lowercase().ends_with(['l', 'c'])
    {
        return Ok(("content_ml", ml));
    }
    let grams = text.trim().to_lowercase();
    match grams
        .strip_suffix('g')
        .map(|number| unit::read("", number, true))
    {
        Some(Ok((_, grams))) => Ok(("content_g", grams)),
        _ => Err(Failure::input(format!(
            "--content: {text} of what: g or ml? Write 6.08g or 15ml"
        ))),
    }
}

/// The flag of a field of the figure's input.
fn flag(field: &str) -> String {
    let name = match field {
        "weight_kg" | "weight_lb" => "weight",
        "foaled_on" => "foaled",
        "body_condition" => "condition",
        other => other,
    };
    name.replace('_', "-")
}

/// A field's name in the engine's words, as the flag that gives it.
fn by_flag(text: &str) -> String {
    const FLAGS: &[(&str, &str)] = &[
        ("weight_from", "--weight-from"),
        ("say when it was foaled", "say --foaled"),
        ("foaled_on", "--foaled"),
        ("body_condition", "--condition"),
        ("breed_type", "--breed-type"),
        ("mark_kg or mark_lb", "--mark"),
        ("weight_lb", "--weight in lb"),
    ];
    let replace = |text: String, (field, flag): &(&str, &str)| text.replace(field, flag);
    FLAGS.iter().fold(text.to_owned(), replace)
}

fn table(answer: &Answer) -> Sheet {
    let warnings: Vec<Warning> = answer
        .warnings
        .iter()
        .map(|one| Warning::new(&one.code, by_flag(&one.text)))
        .collect();
    // The label and the vet come first; nobody may have to look for them.
    let (first, cautions) = match answer.cautions.split_first() {
        Some((first, rest)) => (first.to_uppercase(), rest),
        None => (String::new(), answer.cautions.as_slice()),
    };
    let sheet = Sheet::new().line(first);
    if answer.refused {
        let sheet = sheet.line(format!(
            "NO DOSE of {} for {} kg.",
            words(&answer.active),
            plain(answer.weight_kg)
        ));
        return basis::under(sheet, &warnings, cautions, &answer.sources);
    }
    let mut facts = vec![
        ("active", words(&answer.active)),
        ("for", format!("{} kg", plain(answer.weight_kg))),
    ];
    if let Some((mg, per_kg)) = answer.dose_mg.zip(answer.dose_mg_per_kg) {
        facts.push((
            "dose by the label",
            format!("{} mg ({} mg/kg)", plain(mg), plain(per_kg)),
        ));
    }
    if let Some(mg) = answer.salt_mg {
        facts.push(("as the salt", format!("{} mg", plain(mg))));
    }
    facts.push((
        "given",
        match answer.days {
            Some(1) => "once".to_owned(),
            Some(days) => format!("on {days} days in a row, the same each day"),
            None => "every day".to_owned(),
        },
    ));
    if let Some((kg, lb)) = answer.setting_kg.zip(answer.setting_lb) {
        facts.push((
            "set the syringe to",
            format!("{} kg ({} lb)", plain(kg), plain(lb)),
        ));
    }
    if let Some(syringes) = answer.syringes.filter(|count| *count > 1) {
        facts.push(("syringes", syringes.to_string()));
    }
    for (name, amount, unit) in [
        ("product", answer.product_g, "g"),
        ("product", answer.product_ml, "ml"),
    ] {
        if let Some(amount) = amount {
            let a_day = if answer.days == Some(1) { "" } else { " a day" };
            facts.push((name, format!("{} {unit}{a_day}", plain(amount))));
        }
    }
    if let Some(given) = answer.given_mg_per_kg {
        facts.push(("that gives", format!("{} mg/kg", plain(given))));
    }
    if let Some(until) = answer.withdrawal_until {
        facts.push(("its meat must not be eaten until", until.to_string()));
    }
    basis::under(sheet.facts(facts), &warnings, cautions, &answer.sources)
}
