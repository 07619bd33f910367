//! What is due: for one horse, and as a list to work from.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::figure::Warning;
use whorl_care::figure::due::Item;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Role;
use whorl_care::rules::Source;

use crate::horse::Handling;

/// Everything that is or will be due for one horse, as this caller may know it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HorseDue {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// Where it stands.
    pub barn_id: BarnId,
    /// What to read before handling it.
    #[schema(required)]
    pub handling: Option<Handling>,
    /// The day that it is told for.
    pub on: NaiveDate,
    /// What is due, the most pressing first.
    pub items: Vec<Item>,
    /// What a person should know besides.
    pub warnings: Vec<Warning>,
    /// What the rules rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
    /// Whether part of the record is withheld from the caller. What rests on it isn't shown, so that an item which is
    /// missing may be due all the same.
    pub withheld: bool,
}

/// One line of a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DueEntry {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// Where it stands.
    pub barn_id: BarnId,
    /// What is due.
    pub item: Item,
}

/// What to know of one horse of a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DueHorse {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// Where it stands.
    pub barn_id: BarnId,
    /// What that place is called.
    pub barn: String,
    /// What to read before handling it.
    #[schema(required)]
    pub handling: Option<Handling>,
    /// What a person should know besides.
    pub warnings: Vec<Warning>,
    /// Whether part of its record is withheld from the caller.
    pub withheld: bool,
}

/// What is due for several horses.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DueBoard {
    /// The day that was asked for; null if each barn's own today was taken.
    #[schema(required)]
    pub on: Option<NaiveDate>,
    /// By whom, where only that was asked for.
    #[schema(required)]
    pub by: Option<Role>,
    /// Until when, where that was asked for.
    #[schema(required)]
    pub until: Option<NaiveDate>,
    /// What is due: overdue first, then what the vet must be asked, then by day.
    pub items: Vec<DueEntry>,
    /// Every horse that was looked at, by name, also those for which nothing is due.
    pub horses: Vec<DueHorse>,
    /// What the rules rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
    /// Whether part of some horse's record is withheld from the caller.
    pub withheld: bool,
}

impl DueBoard {
    /// A list of what is due for horses, put in order. `barn` names a barn, `takes` decides on each item.
    #[must_use]
    pub fn of(
        all: Vec<HorseDue>,
        barn: impl Fn(BarnId) -> String,
        takes: impl Fn(&HorseDue, &Item) -> bool,
    ) -> Self {
        let mut board = Self::default();
        for mut due in all {
            for item in std::mem::take(&mut due.items) {
                if takes(&due, &item) {
                    board.items.push(DueEntry {
                        horse_id: due.horse_id,
                        horse: due.horse.clone(),
                        barn_id: due.barn_id,
                        item,
                    });
                }
            }
            add_new(&mut board.sources, due.sources);
            add_new(&mut board.cautions, due.cautions);
            board.withheld |= due.withheld;
            board.horses.push(DueHorse {
                horse_id: due.horse_id,
                horse: due.horse,
                barn_id: due.barn_id,
                barn: barn(due.barn_id),
                handling: due.handling,
                warnings: due.warnings,
                withheld: due.withheld,
            });
        }
        board.items.sort_by_cached_key(|entry| {
            let rank = whorl_care::figure::due::board::rank(&entry.item);
            (
                rank,
                entry.horse.to_lowercase(),
                entry.horse_id,
                entry.item.code.clone(),
            )
        });
        board
            .horses
            .sort_by_cached_key(|horse| (horse.horse.to_lowercase(), horse.horse_id));
        board
    }
}

/// Adds what is not there yet.
fn add_new<T: PartialEq>(all: &mut Vec<T>, more: Vec<T>) {
    for one in more {
        if !all.contains(&one) {
            all.push(one);
        }
    }
}
