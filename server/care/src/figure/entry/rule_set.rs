//! The language of entry rules: what a rule set can ask, as the pack `entry` writes it.

mod pack;

use chrono::NaiveDate;
use serde::Deserialize;

pub use self::pack::EntryPack;
use crate::calendar::Period;
use crate::disease::Disease;
use crate::kind::{Kind, codes};
use crate::record::{Dose, Entry};
use crate::rules::{Mark, row, toml_day};

codes! {
    /// Where in a course a dose stands.
    Place {
        /// The dose that begins it.
        First = "first",
        /// The second dose of the primary course.
        Second = "second",
        /// The third: the first booster.
        Third = "third",
        /// Every later one.
        Booster = "booster",
    }
}

impl Place {
    /// The place of the dose after it.
    #[must_use]
    pub const fn next(self) -> Self {
        match self {
            Self::First => Self::Second,
            Self::Second => Self::Third,
            Self::Third | Self::Booster => Self::Booster,
        }
    }

    /// In a sentence: `second dose`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::First => "first dose",
            Self::Second => "second dose",
            Self::Third => "third dose",
            Self::Booster => "booster",
        }
    }
}

codes! {
    /// Whose word a clause takes.
    Evidence {
        /// A vet's: their own entry, or one that they countersigned.
        Vet = "vet",
        /// A vet's, or anyone's who states product, lot number and expiry.
        VetOrLot = "vet_or_lot",
        /// Anyone's.
        Any = "any",
    }
}

impl Evidence {
    /// Whether an entry will do.
    #[must_use]
    pub const fn takes(self, entry: &Entry) -> bool {
        matches!(self, Self::Any) || entry.by_vet
    }

    /// Whether a dose will do. A dose from an expired vial never does.
    #[must_use]
    pub fn takes_dose(self, dose: &Dose<'_>) -> bool {
        let lot_will_do = || matches!(self, Self::VetOrLot) && dose.lot_known();
        !dose.expired && (self.takes(&dose.entry) || lot_will_do())
    }
}

codes! {
    /// Until when something must hold.
    Through {
        /// On the day of arrival.
        Arrival = "arrival",
        /// Through the last day of the stay.
        LastDay = "last_day",
    }
}

/// How long after the dose before it a dose may come.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Which dose it is about.
    pub place: Place,
    /// For courses begun on this day or later.
    #[serde(default, deserialize_with = "toml_day")]
    pub began_from: Option<NaiveDate>,
    /// For courses begun on this day or earlier.
    #[serde(default, deserialize_with = "toml_day")]
    pub began_until: Option<NaiveDate>,
    /// For doses given on this day or later.
    #[serde(default, deserialize_with = "toml_day")]
    pub given_from: Option<NaiveDate>,
    /// For doses given on this day or earlier.
    #[serde(default, deserialize_with = "toml_day")]
    pub given_until: Option<NaiveDate>,
    /// The earliest it may come.
    #[serde(default)]
    pub from: Period,
    /// The latest; without one it may come at any time.
    pub until: Option<Period>,
    /// What must be said where this step was needed.
    pub caution: Option<String>,
    /// Where it is stated, if not where the clause is.
    pub source: Option<String>,
    /// How well it is confirmed, if not as well as the clause.
    pub mark: Option<Mark>,
}

impl Step {
    /// Whether it is about a dose at that place, of a course begun then, given on that day.
    #[must_use]
    pub fn covers(&self, place: Place, began: NaiveDate, given: NaiveDate) -> bool {
        self.place == place
            && within(began, self.began_from, self.began_until)
            && within(given, self.given_from, self.given_until)
    }

    /// Whether a dose on `given` comes at the right time after the one on `before`.
    #[must_use]
    pub fn accepts(&self, before: NaiveDate, given: NaiveDate) -> bool {
        self.from.after(before) <= given
            && self.until.is_none_or(|until| given <= until.after(before))
    }

    /// In words: `21 days to 60 days`.
    #[must_use]
    pub fn words(&self) -> String {
        match (self.from == Period::default(), self.until) {
            (true, Some(until)) => format!("within {until}"),
            (false, Some(until)) if until.months == 0 && self.from.months == 0 => {
                format!("{} to {until}", self.from.days)
            }
            (false, Some(until)) => format!("{} to {until}", self.from),
            (true, None) => "at any time".to_owned(),
            (false, None) => format!("{} or more", self.from),
        }
    }
}

/// Whether a day lies between two days, where there are any.
fn within(day: NaiveDate, from: Option<NaiveDate>, until: Option<NaiveDate>) -> bool {
    from.is_none_or(|from| from <= day) && until.is_none_or(|until| day <= until)
}

/// Doses of one disease as an unbroken course.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Course {
    /// The disease.
    pub disease: Disease,
    /// Which doses count.
    pub evidence: Evidence,
    /// The dose after which the horse may enter.
    #[serde(default = "second")]
    pub entry_after: Place,
    /// The intervals.
    pub steps: Vec<Step>,
}

const fn second() -> Place {
    Place::Second
}

/// The last dose must not lie too far back.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recent {
    /// The disease.
    pub disease: Disease,
    /// Which doses count.
    pub evidence: Evidence,
    /// Until when the dose must last.
    pub through: Through,
    /// How far back; the first that fits the arrival counts.
    pub limits: Vec<Limit>,
}

/// How far back a dose may lie, for some arrivals or all.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// For arrivals on this day or later.
    #[serde(default, deserialize_with = "toml_day")]
    pub arrives_from: Option<NaiveDate>,
    /// For arrivals on this day or earlier.
    #[serde(default, deserialize_with = "toml_day")]
    pub arrives_until: Option<NaiveDate>,
    /// The period, counted forward from the dose.
    pub within: Period,
    /// Where it is stated, if not where the clause is.
    pub source: Option<String>,
}

impl Recent {
    /// The limit for an arrival. The pack's check sees to it that there is one.
    #[must_use]
    pub fn limit(&self, arrives: NaiveDate) -> Option<&Limit> {
        self.limits
            .iter()
            .find(|limit| within(arrives, limit.arrives_from, limit.arrives_until))
    }
}

/// No dose in the days before arrival.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StandDown {
    /// The disease.
    pub disease: Disease,
    /// How long after which dose; the first that fits counts.
    pub waits: Vec<Wait>,
}

/// How long a horse must wait after a dose.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wait {
    /// After the dose at this place of the same rule set's course; after any if missing.
    pub after: Option<Place>,
    /// The first day of arrival, counted forward from the dose.
    pub wait: Period,
}

/// How long a test or a certificate is good for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Validity {
    /// For a period from its day.
    Within(Period),
    /// Until the end of the calendar year of its day.
    SameCalendarYear,
}

impl Validity {
    /// The last day that something of `day` is good for.
    #[must_use]
    pub fn last_day(self, day: NaiveDate) -> NaiveDate {
        use chrono::Datelike;
        match self {
            Self::Within(period) => period.after(day),
            Self::SameCalendarYear => {
                NaiveDate::from_ymd_opt(day.year(), 12, 31).unwrap_or(NaiveDate::MAX)
            }
        }
    }

    /// The first day from which something is good on `day`.
    #[must_use]
    pub fn first_reaching(self, day: NaiveDate) -> NaiveDate {
        use chrono::Datelike;
        match self {
            Self::Within(period) => period.first_reaching(day),
            Self::SameCalendarYear => {
                NaiveDate::from_ymd_opt(day.year(), 1, 1).unwrap_or(NaiveDate::MIN)
            }
        }
    }
}

/// A laboratory test with a result.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LabTest {
    /// The test's code, or what its code begins with before an underscore.
    pub test: String,
    /// The result that is wanted.
    pub result: String,
    /// How long it is good for, from the day it was drawn.
    pub valid: Validity,
    /// Until when it must last.
    pub through: Through,
    /// Whose word is taken.
    pub evidence: Evidence,
}

impl LabTest {
    /// Whether a test's code is of this kind: `eia` takes `eia` and `eia_agid`.
    #[must_use]
    pub fn is(&self, code: &str) -> bool {
        code.strip_prefix(self.test.as_str())
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('_'))
    }
}

/// A health certificate.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Paper {
    /// How long it is good for, from the day of issue.
    pub within: Period,
    /// Until when it must last.
    pub through: Through,
    /// Whose word is taken.
    pub evidence: Evidence,
}

/// A transponder number of the ISO 11784 form.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Transponder {}

/// What a clause asks.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Asks {
    /// An unbroken course.
    Course(Course),
    /// A recent dose.
    Recent(Recent),
    /// Days without a dose.
    StandDown(StandDown),
    /// A test.
    Test(LabTest),
    /// A certificate.
    Certificate(Paper),
    /// A transponder.
    Microchip(Transponder),
}

impl Asks {
    /// The kind of event that tells whether it is met.
    #[must_use]
    pub const fn rests_on(&self) -> Kind {
        match self {
            Self::Course(_) | Self::Recent(_) | Self::StandDown(_) => Kind::Vaccination,
            Self::Test(_) => Kind::LaboratoryTest,
            Self::Certificate(_) => Kind::HealthCertificate,
            Self::Microchip(_) => Kind::Identity,
        }
    }
}

/// One clause of a rule set.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clause {
    /// Its name: the set's, a dot, and what it is about.
    pub id: String,
    /// Where it is stated.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// What it asks.
    pub asks: Asks,
}

/// A rule set: what a show, a racing authority or a state asks of a horse that enters.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleSet {
    /// Its id, as a request names it.
    pub id: String,
    /// What it is, in words.
    pub title: String,
    /// Where it is stated.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The first arrival that it is meant for.
    #[serde(default, deserialize_with = "toml_day")]
    pub in_force_from: Option<NaiveDate>,
    /// The last one.
    #[serde(default, deserialize_with = "toml_day")]
    pub in_force_until: Option<NaiveDate>,
    /// What else must be said.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// All of them must be met.
    #[serde(rename = "clause")]
    pub clauses: Vec<Clause>,
}

row!(RuleSet, Clause);

impl RuleSet {
    /// The clause of an id in words, without the name of the rule set: `eia-12-months.test` is "test".
    #[must_use]
    pub fn clause_words(&self, clause: &str) -> String {
        let own = clause.strip_prefix(self.id.as_str());
        let own = own.map_or(clause, |own| own.trim_start_matches('.'));
        own.replace(['-', '_', '.'], " ")
    }

    /// Its course for a disease, if it has one.
    #[must_use]
    pub fn course(&self, disease: Disease) -> Option<&Course> {
        self.clauses.iter().find_map(|clause| match &clause.asks {
            Asks::Course(course) if course.disease == disease => Some(course),
            _ => None,
        })
    }
}
