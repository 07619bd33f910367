//! What the records of all horses of a barn say together, as far as an account may see them.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::contacts::HealthWatch;
use whorl_care::efficacy;
use whorl_care::ids::BarnId;
use whorl_care::sentence::counted;

/// Of how much of a barn an answer can speak.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BarnScope {
    /// How many of its horses this account may see.
    pub horses: usize,
    /// Of how many of them some kinds of entry that the answer rests on are withheld from this account.
    pub horses_partly_seen: usize,
    /// The same in words.
    pub text: String,
}

impl BarnScope {
    /// Says what an answer can speak for.
    #[must_use]
    pub fn of(horses: usize, partly: usize) -> Self {
        let seen = counted(horses, "horse of this barn is", "horses of this barn are");
        let but = match partly {
            0 => String::new(),
            some => {
                format!("; of {some} some of the entries that this rests on are withheld from it")
            }
        };
        Self {
            horses,
            horses_partly_seen: partly,
            text: format!("{seen} open to this account{but}. It speaks for no other."),
        }
    }
}

/// Whether dewormers still work in a barn, by its own egg counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BarnEfficacy {
    /// The barn.
    pub barn_id: BarnId,
    /// The day it was judged on.
    pub on: NaiveDate,
    /// What it can speak for.
    pub scope: BarnScope,
    /// The tests.
    #[schema(inline)]
    pub efficacy: efficacy::Answer,
}

/// Fevers and contagious diseases in a barn, contacts, and who is watched.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BarnHealth {
    /// The barn.
    pub barn_id: BarnId,
    /// The day it was judged on.
    pub on: NaiveDate,
    /// What it can speak for.
    pub scope: BarnScope,
    /// The cases, contacts and the watch list.
    #[schema(inline)]
    pub watch: HealthWatch,
}
