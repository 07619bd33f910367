//! `whorl weigh`: a weight from a tape.

use serde_json::{Map, Value, json};
use whorl_care::fault;
use whorl_care::figure::weight::formula::WeightClass;
use whorl_care::figure::weight::{Answer, Input, weight};
use whorl_care::horse::{BreedType, Horse};
use whorl_care::kind::Kind;
use whorl_care::unit::{KG_PER_LB, plain};
use whorl_care::when::PartialDate;

use crate::author::Author;
use crate::basis;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::jotting::{Beside, Jotting};
use crate::recording::{self, Recorded};
use crate::render::Sheet;
use crate::unit;

/// Estimate a weight from a tape, with how far off it may be
///
/// Measures are given with their unit (188cm, 74in). With --horse its age and build come from its record; with --record
/// the weight is written down as well. No server is needed.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Round the chest, behind the elbow and over the withers
    #[arg(long, value_name = "cm|in")]
    girth: Option<String>,
    /// From the point of the shoulder to the point of the buttock
    #[arg(long, value_name = "cm|in")]
    length: Option<String>,
    /// Height at the withers
    #[arg(long, value_name = "cm|in|hh")]
    height: Option<String>,
    /// Round the neck, midway between poll and withers
    #[arg(long, value_name = "cm|in")]
    neck: Option<String>,
    /// Round the belly at the navel (young donkeys)
    #[arg(long, value_name = "cm|in")]
    umbilical_girth: Option<String>,
    /// Whom it is about: foal, weanling, yearling, adult, pony, draft, donkey or miniature
    #[arg(long)]
    class: Option<WeightClass>,
    /// Its build: light, pony, draft, warmblood, arabian, stock, miniature or donkey
    #[arg(long, value_name = "TYPE")]
    breed_type: Option<BreedType>,
    /// When it was foaled: a date, a month or a year
    #[arg(long, value_name = "DATE")]
    foaled: Option<PartialDate>,
    /// She is in foal
    #[arg(long)]
    in_foal: bool,
    /// The formula; else the best that the measures allow (`whorl rules weight` lists them)
    #[arg(long)]
    method: Option<String>,
    /// Take age and build from this horse's record
    #[arg(long, value_name = "HORSE", conflicts_with = "record")]
    horse: Option<String>,
    /// The same, and write the weight down
    #[arg(long, value_name = "HORSE")]
    record: Option<String>,
    #[command(flatten)]
    beside: Beside,
}

impl Args {
    /// Estimates, and records if asked to.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if no formula fits, or if the measures look like another unit.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let now = desk.machine().now();
        let known = match self.record.as_ref().or(self.horse.as_ref()) {
            Some(name) => {
                let mut conn = desk.database()?;
                let horse = herd::named(&mut conn, name)?;
                let profile = Chart::of(&mut conn, &horse, now.date_naive())?.profile;
                Some((horse, profile))
            }
            None => None,
        };
        let mut document = self.measures()?;
        let profile = known
            .as_ref()
            .map(|(_, profile)| profile.clone())
            .unwrap_or_default();
        self.describe(&mut document, &profile, &json!(now.date_naive()));
        let input: Input = fault::read(&Value::Object(document.clone()))?;
        let answer = weight(&input, &rules).map_err(|faults| recording::spoken(&faults, flag))?;
        let recorded = match known {
            Some((horse, _)) if self.record.is_some() => {
                Some(self.write_down(desk, horse, &document, &answer)?)
            }
            _ => None,
        };
        let shown = json!({"weight": answer, "recorded": recorded});
        match &recorded {
            Some(recorded) => desk.show(&shown, || {
                recorded
                    .warnings
                    .iter()
                    .fold(table(&answer), |sheet, warning| {
                        sheet.line(format!("- {warning}"))
                    })
                    .line(format!(
                        "Recorded for {}; it waits for the next push. Id {}",
                        recorded.horse, recorded.id
                    ))
            }),
            None => desk.show(&answer, || table(&answer)),
        }
    }

    /// The measures under the names of the figure's input.
    fn measures(&self) -> Result<Map<String, Value>, Failure> {
        let mut document = Map::new();
        for (flag, field, text) in [
            ("--girth", "heart_girth_cm", &self.girth),
            ("--length", "body_length_cm", &self.length),
            ("--height", "height_cm", &self.height),
            ("--neck", "neck_cm", &self.neck),
            (
                "--umbilical-girth",
                "umbilical_girth_cm",
                &self.umbilical_girth,
            ),
        ] {
            if let Some(text) = text {
                let (field, number) = unit::read(field, text, false)
                    .map_err(|why| Failure::input(format!("{flag}: {why}")))?;
                document.insert(field, json!(number));
            }
        }
        Ok(document)
    }

    /// Who the horse is: as told, else as its record says.
    fn describe(&self, document: &mut Map<String, Value>, profile: &Horse, on: &Value) {
        let foaled = self.foaled.or(profile.foaled_on);
        let build = self.breed_type.or(profile.breed_type);
        let class = self.class.or_else(|| grown_class(foaled, on));
        let pregnant = self.in_foal || profile.pregnancy.is_some();
        for (name, value) in [
            ("class", class.map(|one| json!(one))),
            ("breed_type", build.map(|one| json!(one))),
            ("foaled_on", foaled.map(|one| json!(one))),
            ("on", foaled.map(|_| on.clone())),
            ("pregnant", pregnant.then_some(Value::Bool(true))),
            ("method", self.method.as_ref().map(|one| json!(one))),
        ] {
            if let Some(value) = value {
                document.insert(name.to_owned(), value);
            }
        }
    }

    fn write_down(
        &self,
        desk: &mut Desk<'_, '_>,
        horse: herd::Known,
        document: &Map<String, Value>,
        answer: &Answer,
    ) -> Result<Recorded, Failure> {
        let kept = ["heart_girth_", "body_length_", "height_", "neck_"];
        let mut details: Map<String, Value> = document
            .iter()
            .filter(|(name, _)| kept.iter().any(|start| name.starts_with(start)))
            .map(|(name, value)| (name.clone(), value.clone()))
            .collect();
        let tenths = (answer.weight_kg * 10.0).round() / 10.0;
        details.insert("weight_kg".to_owned(), json!(tenths));
        details.insert("method".to_owned(), json!("formula"));
        let mut beside = self.beside.clone();
        if beside.note.is_none() {
            beside.note = Some(format!("By the formula {}.", answer.formula));
        }
        let jotting = Jotting {
            kind: Kind::Weight,
            horse,
            details,
            beside,
        };
        let home = desk.home()?;
        let mut conn = desk.database()?;
        let author = Author::new(&home, &mut conn, desk.machine())?.by(desk.rules()?);
        recording::record(desk, &mut conn, &home, &author, jotting)
    }
}

/// The class of a horse whose age alone tells it: in its second year, or three years old and grown. Weaned or not, and
/// grown or not at two, nobody can tell from a date.
fn grown_class(foaled: Option<PartialDate>, on: &Value) -> Option<WeightClass> {
    let on: chrono::NaiveDate = on.as_str()?.parse().ok()?;
    let foaled = foaled?;
    let youngest = on.years_since(foaled.latest())?;
    let oldest = on.years_since(foaled.earliest())?;
    match (youngest, oldest) {
        (1, 1) => Some(WeightClass::Yearling),
        (3.., _) => Some(WeightClass::Adult),
        _ => None,
    }
}

/// The flag of a field of the figure's input.
fn flag(field: &str) -> String {
    let name = field
        .trim_end_matches("_on")
        .trim_end_matches("_cm")
        .trim_end_matches("_in")
        .trim_start_matches("heart_")
        .trim_start_matches("body_");
    name.replace('_', "-")
}

fn table(answer: &Answer) -> Sheet {
    let both = |kg: f64| {
        format!(
            "{} kg ({} lb)",
            plain(kg.round()),
            plain((kg / KG_PER_LB).round())
        )
    };
    let mut facts = vec![
        ("weight", both(answer.weight_kg)),
        (
            "may be",
            format!("{} to {}", both(answer.low_kg), both(answer.high_kg)),
        ),
        ("formula", answer.formula.clone()),
    ];
    if let Some(ideal) = answer.ideal_kg {
        facts.push(("its frame should carry", both(ideal)));
    }
    basis::under(
        Sheet::new().facts(facts),
        &[],
        &answer.cautions,
        &answer.sources,
    )
}
