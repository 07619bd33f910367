//! Entry checks: may a horse enter, may the horses of a barn.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::figure::entry::rule_set::RuleSet;
use whorl_care::figure::entry::{Answer, Stay, Verdict, assess};
use whorl_care::horse::{CareEvent, Horse as Profile};
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Kind;
use whorl_care::rules::Rules;

use crate::horse::Horse;

/// Whether one horse may enter, as far as this caller may know.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HorseEntry {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// Where it stands.
    pub barn_id: BarnId,
    /// Its transponder number, by which an office knows it.
    #[schema(required)]
    pub microchip: Option<String>,
    /// The day of arrival.
    pub arrives_on: NaiveDate,
    /// The last day of the stay.
    pub leaves_on: NaiveDate,
    /// The answer in one word. `unknown` is no pass.
    pub verdict: Verdict,
    /// The reasons, clause by clause, and the plan for what is lacking.
    pub answer: Answer,
    /// Whether part of the record is withheld from the caller; what rests on it is unknown.
    pub withheld: bool,
}

/// Which entry is asked about.
#[derive(Clone, Copy, Debug)]
pub struct Entering<'a> {
    /// By which rule sets.
    pub sets: &'a [&'a RuleSet],
    /// The days of arrival and departure.
    pub stay: Stay,
    /// The first day on which something can still be done.
    pub on: NaiveDate,
}

impl HorseEntry {
    /// What a caller is told of a horse: who it is on the day of arrival, and the events that the caller may see. What
    /// rests on a kind of which something may be `hidden` is unknown, and unknown is no pass.
    #[must_use]
    pub fn of(
        horse: &Horse,
        (profile, events): (&Profile, &[CareEvent]),
        entering: Entering<'_>,
        hidden: impl Fn(Kind) -> bool,
        rules: &Rules,
    ) -> Self {
        let Entering { sets, stay, on } = entering;
        let mut answer = assess(profile, events, sets, stay, Some(on), rules);
        let withheld = Kind::ALL.iter().any(|kind| hidden(*kind));
        if withheld {
            answer = answer.without(sets, hidden);
        }
        Self {
            horse_id: horse.id,
            horse: horse.label(),
            barn_id: horse.barn_id,
            microchip: profile.microchip.clone(),
            arrives_on: stay.arrives,
            leaves_on: stay.leaves,
            verdict: answer.verdict(),
            answer,
            withheld,
        }
    }
}

/// The same for every horse of a barn that the caller may see.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BarnEntry {
    /// The barn.
    pub barn_id: BarnId,
    /// What it is called.
    pub barn: String,
    /// By which rule sets.
    pub rules: Vec<String>,
    /// The day of arrival.
    pub arrives_on: NaiveDate,
    /// The last day of the stay.
    pub leaves_on: NaiveDate,
    /// The horses, by name.
    pub horses: Vec<HorseEntry>,
}

impl BarnEntry {
    /// The answers for a barn's horses, put in order.
    #[must_use]
    pub fn of(
        (barn_id, barn): (BarnId, String),
        entering: Entering<'_>,
        mut horses: Vec<HorseEntry>,
    ) -> Self {
        horses.sort_by_cached_key(|one| (one.horse.to_lowercase(), one.horse_id));
        Self {
            barn_id,
            barn,
            rules: entering.sets.iter().map(|set| set.id.clone()).collect(),
            arrives_on: entering.stay.arrives,
            leaves_on: entering.stay.leaves,
            horses,
        }
    }
}
