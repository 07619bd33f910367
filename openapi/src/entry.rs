//! Entry checks: may a horse enter, may the horses of a barn.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::figure::entry::{Answer, Verdict};
use whorl_care::ids::{BarnId, HorseId};

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
