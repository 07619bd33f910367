//! The rule pack `vaccination`: which vaccines, first courses, boosters, doses of a pregnancy.

use serde::Deserialize;

use crate::calendar::Period;
use crate::disease::Disease;
use crate::horse::Risk;
use crate::kind::codes;
use crate::rules::{Header, Mark, Pack, Source, row, tables};

codes! {
    /// For which horses a schedule is.
    Population {
        /// A year old or more when the course began.
        Adult = "adult",
        /// Under a year, whatever its dam had.
        Foal = "foal",
        /// Under a year, of a dam vaccinated before foaling against the disease.
        FoalOfVaccinatedDam = "foal_of_vaccinated_dam",
        /// Under a year, of a dam not vaccinated, or not known.
        FoalOfUnvaccinatedDam = "foal_of_unvaccinated_dam",
    }
}

/// A vaccine: who needs it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each states a fact of its own"
)]
pub struct Vaccine {
    /// The rule's name.
    pub id: String,
    /// What it is against.
    pub disease: Disease,
    /// Whether every horse needs it.
    #[serde(default)]
    pub core: bool,
    /// Which risks make it advisable.
    #[serde(default)]
    pub risks: Vec<Risk>,
    /// Whether a mare in foal has a dose of it some weeks before foaling.
    #[serde(default)]
    pub prepartum: bool,
    /// Whether mosquitoes carry the disease, so that boosters come before their season.
    #[serde(default)]
    pub mosquitoes: bool,
    /// Whether a mare in foal must not have it without her vet's decision.
    #[serde(default)]
    pub not_in_foal: bool,
    /// What must be asked first.
    pub ask: Option<String>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// When one dose of a course should come. What is missing sets no bound.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct DoseRule {
    /// The shortest time after the dose before.
    pub after: Option<Period>,
    /// The longest.
    pub before: Option<Period>,
    /// The least age.
    pub age_from: Option<Period>,
    /// The greatest.
    pub age_until: Option<Period>,
    /// The earliest after covering.
    pub gestation_from: Option<Period>,
    /// The latest.
    pub gestation_until: Option<Period>,
}

/// How often boosters come, for some horses or all.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Booster {
    /// For horses with any of these risks; for all if empty.
    #[serde(default)]
    pub risks: Vec<Risk>,
    /// For horses younger than this.
    pub younger_than: Option<Period>,
    /// The longest time between two.
    pub every: Period,
}

/// A first course and the boosters after it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Schedule {
    /// The rule's name.
    pub id: String,
    /// The diseases that it is for.
    pub diseases: Vec<Disease>,
    /// The horses that it is for.
    pub population: Population,
    /// The doses of the first course.
    pub doses: Vec<DoseRule>,
    /// The boosters: the first row that fits.
    pub boosters: Vec<Booster>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// The dose before foaling, of every vaccine that has one.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prepartum {
    /// The rule's name.
    pub id: String,
    /// The first day for it, counted back from the expected foaling.
    pub before_foaling_from: u32,
    /// The last day for it, counted back.
    pub before_foaling_until: u32,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// Doses of every pregnancy.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gestation {
    /// The rule's name.
    pub id: String,
    /// The disease.
    pub disease: Disease,
    /// For mares with any of these risks; for all in foal if empty.
    #[serde(default)]
    pub risks: Vec<Risk>,
    /// Only for a mare that has had no dose of it before this pregnancy.
    #[serde(default)]
    pub unless_begun: bool,
    /// The doses.
    pub doses: Vec<DoseRule>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// What makes a dose due at once.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trigger {
    /// The rule's name.
    pub id: String,
    /// The disease.
    pub disease: Disease,
    /// Only if the last dose lies further back than this from the wound.
    pub older_than: Period,
    /// How long after the wound antitoxin is a question for the vet, where there is no complete course.
    pub antitoxin_within: Period,
    /// Findings on a foot that are wounds.
    pub findings: Vec<String>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How far apart doses lie that are boosters of a course from before the record.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rhythm {
    /// The rule's name.
    pub id: String,
    /// At least so far.
    pub at_least: Period,
    /// At most so far.
    pub at_most: Period,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How dates are shown.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reminder {
    /// The rule's name: `booster` or `before_mosquitoes`.
    pub id: String,
    /// How long ahead.
    pub ahead: Period,
    /// From so long after the last day on, the vet decides.
    pub lapsed_after: Option<Period>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(
    Vaccine, Schedule, Prepartum, Gestation, Trigger, Rhythm, Reminder
);

/// The rule pack `vaccination`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Vaccination {
    pack: Header,
    #[serde(default, rename = "source")]
    sources: Vec<Source>,
    /// Who needs which vaccine.
    #[serde(default, rename = "vaccine")]
    pub vaccines: Vec<Vaccine>,
    /// First courses and boosters.
    #[serde(default, rename = "schedule")]
    pub schedules: Vec<Schedule>,
    /// The dose before foaling: one row, `prepartum`.
    #[serde(default, rename = "pregnancy")]
    pub prepartum: Vec<Prepartum>,
    /// Doses of every pregnancy.
    #[serde(default, rename = "gestation")]
    pub gestation: Vec<Gestation>,
    /// What makes a dose due at once.
    #[serde(default, rename = "trigger")]
    pub triggers: Vec<Trigger>,
    /// What shows that a course lies before the record.
    #[serde(default, rename = "rhythm")]
    pub rhythms: Vec<Rhythm>,
    /// How dates are shown.
    #[serde(default, rename = "reminder")]
    pub reminders: Vec<Reminder>,
}

impl Vaccination {
    /// The schedule of a disease for a population: its own, else that for all foals.
    #[must_use]
    pub fn schedule(&self, disease: Disease, population: Population) -> Option<&Schedule> {
        let of = |wanted: Population| {
            self.schedules
                .iter()
                .find(move |row| row.population == wanted && row.diseases.contains(&disease))
        };
        of(population).or_else(|| match population {
            Population::Adult => None,
            _ => of(Population::Foal),
        })
    }

    /// How dates of a kind are shown.
    #[must_use]
    pub fn reminder(&self, id: &str) -> Option<&Reminder> {
        self.reminders.iter().find(|row| row.id == id)
    }

    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

impl Pack for Vaccination {
    const SUBJECT: &'static str = "vaccination";
    const BUILT_IN: &'static str = include_str!("../../rules/vaccination.toml");

    tables!(pack, sources; vaccines, schedules, prepartum, gestation, triggers, rhythms, reminders);

    fn check(&self) -> Result<(), (String, String)> {
        let wrong = |id: &str, reason: &str| Err((id.to_owned(), reason.to_owned()));
        for row in &self.schedules {
            let open =
                |booster: &Booster| booster.risks.is_empty() && booster.younger_than.is_none();
            if !row.boosters.last().is_some_and(open) {
                return wrong(&row.id, "its last booster must fit every horse");
            }
            if row.doses.is_empty() {
                return wrong(&row.id, "has no doses");
            }
            let doses = row.doses.iter();
            if doses.clone().any(crosses) {
                return wrong(&row.id, "a dose's last day lies before its first");
            }
            if doses
                .skip(1)
                .any(|dose| dose.after.is_none() && dose.age_from.is_none())
            {
                return wrong(&row.id, "a later dose doesn't say when it may come");
            }
        }
        for row in &self.gestation {
            if row.doses.iter().any(crosses) {
                return wrong(&row.id, "a dose's last day lies before its first");
            }
        }
        for row in &self.prepartum {
            if row.before_foaling_from < row.before_foaling_until {
                return wrong(&row.id, "its first day lies behind its last");
            }
        }
        Ok(())
    }
}

fn crosses(dose: &DoseRule) -> bool {
    [
        (dose.after, dose.before),
        (dose.age_from, dose.age_until),
        (dose.gestation_from, dose.gestation_until),
    ]
    .into_iter()
    .any(|(from, until)| {
        from.zip(until)
            .is_some_and(|(from, until)| from.rough_days() > until.rough_days())
    })
}
