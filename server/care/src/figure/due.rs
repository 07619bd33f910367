//! The figure `due`: one pass over a horse's log gives everything that is due, and why.

pub mod board;
mod case;
mod course;
mod dental;
mod hoof;
mod order;
mod parasite;
mod parasite_test;
mod pregnancy;
mod vaccination;
mod weight;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use self::case::Case;
use crate::effective::check_ids;
use crate::fault::Faults;
use crate::figure::{Basis, Warning};
use crate::horse::{CareEvent, Horse};
use crate::kind::{Role, codes};
use crate::profile::profile;
use crate::record::Record;
use crate::rules::{Mark, Rules, Source};

codes! {
    /// How an item stands.
    Status {
        /// Its last day is past.
        Overdue = "overdue",
        /// The schedules don't say what is right here: a vet must.
        AskVet = "ask_vet",
        /// It may and should be done now.
        Due = "due",
        /// It comes soon.
        Upcoming = "upcoming",
        /// Nothing to do yet.
        UpToDate = "up_to_date",
    }
}

/// One thing that is or will be due.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DueItem))]
pub struct Item {
    /// What: `vaccination.tetanus`, `parasite.treatment`, `hoof.trim` …
    pub code: String,
    /// How it stands.
    pub status: Status,
    /// The first day for it; null where nothing sets one.
    pub due_from: Option<NaiveDate>,
    /// The last day for it; null where nothing sets one.
    pub due_by: Option<NaiveDate>,
    /// Which dose of a first course or a pregnancy is next; null for a booster and for what has no doses.
    pub dose_number: Option<u32>,
    /// When it was done last.
    pub last_on: Option<NaiveDate>,
    /// Why, in words.
    pub reason: String,
    /// The rule that it follows; `care_plan` where a vet's or farrier's order takes the rule's place.
    pub rule: String,
    /// Who may do it.
    pub who: Vec<Role>,
    /// The id of the rule's source.
    pub source: String,
    /// How well the rule is confirmed.
    pub mark: Mark,
}

/// Which way of going about it a barn follows, by domain; the first of each pack if missing.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields, default)]
pub struct Programme {
    /// Vaccination: `aaep`.
    pub vaccination: Option<String>,
    /// Parasite control: `evidence`, or the older `interval`.
    pub parasite: Option<String>,
    /// Feet: `class_and_season`.
    pub hoof: Option<String>,
    /// Teeth: `aaep`.
    pub dental: Option<String>,
}

/// Where the horse lives, as far as dates depend on it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DueBarn))]
#[serde(deny_unknown_fields, default)]
pub struct BarnContext {
    /// Its time zone, by its IANA name.
    pub time_zone: Option<String>,
    /// Its country, or country and state, as ISO 3166-2 writes it: `GB`, `US-VA`. Tells the mosquito season.
    pub region: Option<String>,
}

/// What the figure `due` is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DueInput, example = json!({
    "horse": {"name": "Marram", "sex": "mare", "foaled_on": "2015-04-12"},
    "events": [{"kind": "vaccination", "performed_on": "2026-03-04", "details": {"targets": ["rabies"]}}],
    "on": "2026-11-25", "barn": {"time_zone": "America/New_York"}
})))]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The horse; what is missing is taken from the log.
    #[serde(default)]
    pub horse: Horse,
    /// Its log, in any order.
    #[serde(default)]
    pub events: Vec<CareEvent>,
    /// The day that is asked about.
    pub on: NaiveDate,
    /// The ways of going about it.
    #[serde(default)]
    pub programme: Programme,
    /// Where the horse lives.
    #[serde(default)]
    pub barn: BarnContext,
}

/// What the figure `due` answers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = DueAnswer))]
pub struct Answer {
    /// What is due, the most pressing first.
    pub items: Vec<Item>,
    /// What a person should know besides.
    pub warnings: Vec<Warning>,
    /// What the rules rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Said with every answer.
const CAUTION: &str = "Guidance, not orders: the product's label, your vet and local law come first. Ranges are what is \
                       recommended; a late or early dose is for the vet to judge.";

/// Answers the figure from its input.
///
/// # Errors
///
/// Faults of the input: an unknown programme or time zone, an event with two days that differ, an id taken by two
/// different events.
pub fn answer(input: &Input, rules: &Rules) -> Result<Answer, Faults> {
    let mut faults = Faults::default();
    if let Err(taken) = check_ids(&input.events) {
        faults.0.extend(taken.under("/events").0);
    }
    for (n, event) in input.events.iter().enumerate() {
        if event.performed_at.is_some()
            && let Err(wrong) = event.day()
        {
            faults.0.extend(wrong.under(&format!("/events/{n}")).0);
        }
    }
    check_programme(&input.programme, rules, &mut faults);
    check_zone(&input.barn, &mut faults);
    faults.or(())?;
    let horse = completed(&input.horse, &input.events);
    let record = Record::of(&input.events);
    let case = Case::new(
        &horse,
        &record,
        input.on,
        &input.programme,
        &input.barn,
        rules,
    );
    let items = case.items();
    let basis = basis(&items, rules);
    let mut warnings = record.unread.clone();
    warnings.extend(case.warnings());
    Ok(Answer {
        items,
        warnings,
        sources: basis.sources,
        cautions: basis.cautions,
    })
}

/// What these items rest on, and what must be said aloud of it.
#[must_use]
pub fn basis<'a>(items: impl IntoIterator<Item = &'a Item>, rules: &Rules) -> Basis {
    let mut basis = Basis::default();
    basis.caution(CAUTION);
    for item in items {
        if let Some(source) = source_of(item, rules) {
            basis.rests_on(&item.rule, source, item.mark);
        }
    }
    basis
}

/// Everything that is or will be due, the most pressing first: the same as [`answer`], for callers that hold a profile
/// and a log already. The programme's names are taken as they are; an unknown one gives no items of its domain.
#[must_use]
pub fn items(
    horse: &Horse,
    events: &[CareEvent],
    on: NaiveDate,
    programme: &Programme,
    barn: &BarnContext,
    rules: &Rules,
) -> Vec<Item> {
    let record = Record::of(events);
    Case::new(horse, &record, on, programme, barn, rules).items()
}

/// The profile as given, with what it lacks taken from the log.
fn completed(given: &Horse, events: &[CareEvent]) -> Horse {
    let logged = profile(events);
    Horse {
        sex: given.sex.or(logged.sex),
        foaled_on: given.foaled_on.or(logged.foaled_on),
        breed_type: given.breed_type.or(logged.breed_type),
        dam_vaccinated: given.dam_vaccinated.clone().or(logged.dam_vaccinated),
        risks: if given.risks.is_empty() {
            logged.risks
        } else {
            given.risks.clone()
        },
        shod: given.shod.or(logged.shod),
        ..given.clone()
    }
}

/// The names of the ways of vaccinating. The pack `vaccination` holds one: that of the American association.
const VACCINATION_PROFILES: &[&str] = &["aaep"];

fn check_programme(programme: &Programme, rules: &Rules, faults: &mut Faults) {
    let parasite = rules.parasite_programme.profiles.iter();
    let hoof = rules.hoof_programme.profiles.iter();
    let dental = rules.dental_programme.profiles.iter();
    let known: [(&str, &Option<String>, Vec<&str>); 4] = [
        (
            "vaccination",
            &programme.vaccination,
            VACCINATION_PROFILES.to_vec(),
        ),
        (
            "parasite",
            &programme.parasite,
            parasite.map(|row| row.id.as_str()).collect(),
        ),
        (
            "hoof",
            &programme.hoof,
            hoof.map(|row| row.id.as_str()).collect(),
        ),
        (
            "dental",
            &programme.dental,
            dental.map(|row| row.id.as_str()).collect(),
        ),
    ];
    for (domain, chosen, known) in known {
        if let Some(chosen) = chosen
            && !known.contains(&chosen.as_str())
        {
            let known = known.join(", ");
            faults.add(
                format!("/programme/{domain}"),
                format!("there is no programme `{chosen}` here; there is {known}"),
            );
        }
    }
}

fn check_zone(barn: &BarnContext, faults: &mut Faults) {
    if let Some(zone) = &barn.time_zone
        && zone.parse::<chrono_tz::Tz>().is_err()
    {
        faults.add(
            "/barn/time_zone",
            format!("`{zone}` is not a time zone like America/New_York"),
        );
    }
}

/// The source that an item's rule names, in the pack of its domain.
fn source_of<'a>(item: &Item, rules: &'a Rules) -> Option<&'a Source> {
    let domain = item.code.split('.').next().unwrap_or_default();
    match domain {
        "vaccination" => rules.vaccination.source(&item.source),
        "parasite" | "weight" => rules.parasite_programme.source(&item.source),
        "hoof" => rules.hoof_programme.source(&item.source),
        "dental" => rules.dental_programme.source(&item.source),
        _ => None,
    }
}
