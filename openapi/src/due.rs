//! What is due: for one horse, and as a list to work from.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::fault::Faults;
use whorl_care::figure::due::board::{Choice, may_do, rank, recorded_as, rests_on};
use whorl_care::figure::due::{Answer, Input, Item, answer, basis};
use whorl_care::figure::{Basis, Warning};
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_care::rules::{Rules, Source};

use crate::horse::{Handling, Horse};

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

impl HorseDue {
    /// What a caller is told of a horse that they may see `input` of: nothing that rests on kinds which are withheld from
    /// them.
    ///
    /// # Errors
    ///
    /// [`Faults`] of the input.
    pub fn of(horse: &Horse, input: &Input, rules: &Rules) -> Result<Self, Faults> {
        let mut answer = answer(input, rules)?;
        let told = |item: &Item| rests_on(item).iter().all(|kind| horse.shows(*kind));
        answer.items.retain(told);
        Ok(Self::new(horse, input, answer))
    }

    /// The same where a log that can't be read must not hide the rest of a herd: nothing is due, with a warning.
    #[must_use]
    pub fn or_warning(horse: &Horse, input: &Input, rules: &Rules) -> Self {
        Self::of(horse, input, rules).unwrap_or_else(|faults| {
            let answer = Answer {
                items: Vec::new(),
                warnings: vec![Warning::new(
                    "unreadable",
                    format!("what is due can't be told: {faults}"),
                )],
                sources: Vec::new(),
                cautions: Vec::new(),
            };
            Self::new(horse, input, answer)
        })
    }

    fn new(horse: &Horse, input: &Input, answer: Answer) -> Self {
        Self {
            horse_id: horse.id,
            horse: horse.label(),
            barn_id: horse.barn_id,
            handling: horse.handling.clone(),
            on: input.on,
            items: answer.items,
            warnings: answer.warnings,
            sources: answer.sources,
            cautions: answer.cautions,
            withheld: horse.is_limited(),
        }
    }

    /// The codes of what somebody may do and record as done in one of their roles, by the policy where the horse stands;
    /// `may_record` tells what their grants cover.
    #[must_use]
    pub fn doable(
        &self,
        horse: &Horse,
        input: &Input,
        rules: &Rules,
        may_record: impl Fn(Role, Kind) -> bool,
    ) -> Vec<String> {
        let place = input.barn.region.as_deref();
        let does = |role: Role, item: &Item| {
            recorded_as(item).is_some_and(|kind| may_record(role, kind))
                && may_do(&rules.policy, role, item, place, &input.events, input.on)
        };
        let items = self.items.iter();
        items
            .filter(|item| horse.roles.iter().any(|role| does(*role, item)))
            .map(|item| item.code.clone())
            .collect()
    }
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
    /// A list of what is due for horses, put in order. `barn` names a barn; `on` is the day, if one was asked for. What is
    /// said aloud is about what stands in the list, and no more.
    #[must_use]
    pub fn of(
        mut all: Vec<HorseDue>,
        barn: impl Fn(BarnId) -> String,
        on: Option<NaiveDate>,
        choice: Choice,
        rules: &Rules,
    ) -> Self {
        let mut board = Self {
            on,
            by: choice.by,
            until: choice.until,
            ..Self::default()
        };
        all.sort_by_cached_key(|due| (due.horse.to_lowercase(), due.horse_id));
        for mut due in all {
            for item in std::mem::take(&mut due.items) {
                if choice.takes(&item) {
                    board.items.push(DueEntry {
                        horse_id: due.horse_id,
                        horse: due.horse.clone(),
                        barn_id: due.barn_id,
                        item,
                    });
                }
            }
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
            (
                rank(&entry.item),
                entry.horse.to_lowercase(),
                entry.horse_id,
                entry.item.code.clone(),
            )
        });
        let Basis { sources, cautions } = basis(board.items.iter().map(|one| &one.item), rules);
        Self {
            sources,
            cautions,
            ..board
        }
    }
}
