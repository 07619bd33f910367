//! The rule pack `parasite_programme`: when to worm, count, test and weigh.

use serde::Deserialize;

use crate::calendar::Period;
use crate::code::{Active, Shedder};
use crate::rules::{Header, Mark, Pack, Source, row, tables};

/// A way of going about it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Its name, as a request gives it.
    pub id: String,
    /// What must be said to whoever follows it.
    pub flagged: Option<String>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// Treatments of horses past their first year.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Grown {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// From this age.
    pub age_from: Period,
    /// To below this age.
    pub age_until: Option<Period>,
    /// For horses that shed so; for all if empty.
    #[serde(default)]
    pub shedders: Vec<Shedder>,
    /// Only these dewormers count; all that act on strongyles if empty.
    #[serde(default)]
    pub only: Vec<Active>,
    /// Due from so long after the last.
    pub from: Period,
    /// Due by so long after the last.
    pub by: Period,
    /// One of these must be given …
    #[serde(default)]
    pub at_least: Vec<Active>,
    /// … within this time.
    pub at_least_every: Option<Period>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// A treatment of the first year.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FoalDose {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// Which of the year.
    pub number: u32,
    /// From this age.
    pub age_from: Period,
    /// By this age.
    pub age_until: Period,
    /// A treatment from this age on counts for it …
    pub credit_from: Period,
    /// … to below this age.
    pub credit_until: Period,
    /// Repeated so long after the last, where there is one.
    pub every: Option<Period>,
    /// What kind of dewormer, in words.
    pub what: String,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// Egg counts.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Count {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// From this age.
    pub age_from: Period,
    /// By this age, once; without it again and again.
    pub age_until: Option<Period>,
    /// Due from so long after the last.
    pub from: Option<Period>,
    /// Due by so long after the last.
    pub by: Option<Period>,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long after a dewormer a count says nothing.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wait {
    /// The rule's name.
    pub id: String,
    /// The dewormers.
    pub actives: Vec<Active>,
    /// Days.
    pub days: u32,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// The egg count reduction test.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReductionTest {
    /// The rule's name.
    pub id: String,
    /// The profile it belongs to.
    pub profile: String,
    /// How often.
    pub every: Period,
    /// The first count lies at most so many days before the treatment.
    pub counted_before: u32,
    /// The second count: not before this day after the treatment.
    pub count_from: u32,
    /// Best on this day.
    pub count_on: u32,
    /// Not after this day.
    pub count_until: u32,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// How long a weight is good enough to dose by.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeightAge {
    /// The rule's name.
    pub id: String,
    /// For horses below this age; for all without it.
    pub age_until: Option<Period>,
    /// How long.
    pub good_for: Period,
    /// A `[[source]]` of this pack.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(
    Profile,
    Grown,
    FoalDose,
    Count,
    Wait,
    ReductionTest,
    WeightAge
);

/// The rule pack `parasite_programme`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ParasiteProgramme {
    pack: Header,
    #[serde(default, rename = "source")]
    sources: Vec<Source>,
    /// The ways of going about it; the first is the default.
    #[serde(default, rename = "profile")]
    pub profiles: Vec<Profile>,
    /// Treatments past the first year.
    #[serde(default)]
    pub grown: Vec<Grown>,
    /// Treatments of the first year.
    #[serde(default, rename = "foal")]
    pub foals: Vec<FoalDose>,
    /// Egg counts.
    #[serde(default, rename = "count")]
    pub counts: Vec<Count>,
    /// When a count says nothing.
    #[serde(default, rename = "wait")]
    pub waits: Vec<Wait>,
    /// Reduction tests.
    #[serde(default, rename = "test")]
    pub tests: Vec<ReductionTest>,
    /// Weights.
    #[serde(default, rename = "weight")]
    pub weights: Vec<WeightAge>,
}

impl ParasiteProgramme {
    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

impl Pack for ParasiteProgramme {
    const SUBJECT: &'static str = "parasite_programme";
    const BUILT_IN: &'static str = include_str!("../../rules/parasite_programme.toml");

    tables!(pack, sources; profiles, grown, foals, counts, waits, tests, weights);

    fn check(&self) -> Result<(), (String, String)> {
        let crosses = |id: &String, from: Period, by: Period| {
            if from.rough_days() > by.rough_days() {
                return Err((id.clone(), "its first day lies behind its last".to_owned()));
            }
            Ok(())
        };
        for row in &self.grown {
            crosses(&row.id, row.from, row.by)?;
        }
        for row in &self.foals {
            crosses(&row.id, row.age_from, row.age_until)?;
            crosses(&row.id, row.credit_from, row.credit_until)?;
        }
        for row in &self.counts {
            if row.age_until.is_none() && (row.from.is_none() || row.by.is_none()) {
                let reason = "say until which age, or how long after the last count";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        for row in &self.tests {
            if row.count_from > row.count_on || row.count_on > row.count_until {
                let reason = "its days are not in order";
                return Err((row.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }
}
