//! What is due for the horses of an account, a barn or one horse, as far as the caller may know it.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use whorl_care::figure::due::board::Choice;
use whorl_care::figure::due::{self, BarnContext, Input, Item, Programme};
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::rules::Rules;
use whorl_care::sentence;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::visits::{VisitPlan, VisitQuestion};
use whorl_store::barns::BarnRow;
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError, barns};

use crate::access::{self, Access};
use crate::care_log::{self, CareLog};
use crate::problem::{Kind, Problem};

/// Who asks, when, and for which day.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Asker {
    /// Who.
    pub(crate) account: AccountId,
    /// When.
    pub(crate) now: DateTime<Utc>,
    /// The day; the barn's own today if missing.
    pub(crate) on: Option<NaiveDate>,
}

/// For which day a horse was looked at, and when its log grew last.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    /// The day.
    pub(crate) on: NaiveDate,
    /// When its log grew last.
    pub(crate) changed_at: DateTime<Utc>,
}

/// A list, and what else is known of its horses.
#[derive(Clone, Debug, Default)]
pub(crate) struct Listed {
    /// The list.
    pub(crate) board: DueBoard,
    /// Of each horse.
    pub(crate) seen: HashMap<HorseId, Seen>,
}

/// What is due for one horse.
///
/// # Errors
///
/// [`Kind::NotFound`] if it is not for the caller to know of, [`Kind::Forbidden`] if only its past is.
pub(crate) fn of_horse(
    db: &mut Db,
    asker: Asker,
    horse: HorseId,
    rules: &Rules,
) -> Result<HorseDue, Problem> {
    let found = access::horse(db, asker.account, horse, asker.now)?;
    let barn = barns::get(db, found.0.barn_id)?;
    let told = care_log::each(db, vec![found], |log| told(&log, &barn, asker, rules).0)?;
    told.into_iter().next().ok_or_else(only_its_past)
}

/// The refusal to say how a horse stands that the caller sees the past of.
pub(crate) fn only_its_past() -> Problem {
    Problem::new(
        Kind::Forbidden,
        "you see this horse's record up to the day it was handed over; how it stands now is for its owner to say",
    )
}

/// Which things a list shows.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Wanted {
    /// Of these.
    pub(crate) choice: Choice,
    /// Only what the caller may do and record in one of their roles, by the policy in force where the horse stands.
    pub(crate) mine: bool,
}

/// What is due for the horses of a barn that the caller may see.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the barn is not for the caller to know of.
pub(crate) fn of_barn(
    db: &mut Db,
    asker: Asker,
    barn: BarnId,
    wanted: Wanted,
    rules: &Rules,
) -> Result<Listed, StoreError> {
    let barn = access::barn(db, asker.account, barn, asker.now)?;
    let mut visible = access::horses_visible(db, asker.account, asker.now)?;
    visible.retain(|(row, _)| row.barn_id == barn.id);
    let barns = HashMap::from([(barn.id, barn)]);
    board(db, asker, visible, &barns, wanted, rules)
}

/// What is due for every horse that the caller has to do with now.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn of_account(
    db: &mut Db,
    asker: Asker,
    wanted: Wanted,
    rules: &Rules,
) -> Result<Listed, StoreError> {
    let visible = access::horses_visible(db, asker.account, asker.now)?;
    let barns = care_log::barns_of(db, &visible, asker.account)?;
    board(db, asker, visible, &barns, wanted, rules)
}

/// The codes of the items that the caller may do.
type Doable = Vec<String>;

fn board(
    db: &mut Db,
    asker: Asker,
    horses: Vec<(HorseRow, Access)>,
    barns: &HashMap<BarnId, BarnRow>,
    wanted: Wanted,
    rules: &Rules,
) -> Result<Listed, StoreError> {
    let told = care_log::each(db, horses, |log| {
        let barn = barns.get(&log.horse.barn_id)?;
        Some((told(&log, barn, asker, rules), log.changed_at))
    })?;
    let (mut all, mut seen) = (Vec::new(), HashMap::new());
    for ((mut due, doable), changed_at) in told.into_iter().flatten() {
        if wanted.mine {
            due.items.retain(|item| doable.contains(&item.code));
        }
        seen.insert(
            due.horse_id,
            Seen {
                on: due.on,
                changed_at,
            },
        );
        all.push(due);
    }
    let name = |id: BarnId| {
        barns
            .get(&id)
            .map_or_else(String::new, |barn| barn.name.clone())
    };
    let board = DueBoard::of(all, name, asker.on, wanted.choice, rules);
    Ok(Listed { board, seen })
}

/// The fewest days on which somebody must come for what is due to the caller's knowledge.
///
/// # Errors
///
/// [`Kind::NotFound`] if the barn is not for the caller to know of; [`Kind::Invalid`] if the question can't stand.
pub(crate) fn visits(
    db: &mut Db,
    asker: Asker,
    question: VisitQuestion,
    rules: &Rules,
) -> Result<VisitPlan, Problem> {
    question.check()?;
    let wanted = Wanted {
        choice: question.choice(),
        mine: question.is_own_work(),
    };
    let listed = match question.barn_id {
        Some(barn) => of_barn(db, asker, barn, wanted, rules)?,
        None => of_account(db, asker, wanted, rules)?,
    };
    Ok(VisitPlan::of(question, listed.board, rules)?)
}

/// What is due for a horse whose log is at hand: nothing, if the caller only had to do with it once.
pub(crate) fn of_log(log: &CareLog, barn: &BarnRow, asker: Asker, rules: &Rules) -> Vec<Item> {
    if log.access.is_in_force() {
        told(log, barn, asker, rules).0.items
    } else {
        Vec::new()
    }
}

/// What a caller is told of one horse, and which of it they may do.
fn told(log: &CareLog, barn: &BarnRow, asker: Asker, rules: &Rules) -> (HorseDue, Doable) {
    let on = asker.on.unwrap_or_else(|| care_log::today(barn, asker.now));
    let (horse, events) = log.at(on);
    let input = Input {
        horse,
        events,
        on,
        programme: Programme::default(),
        barn: BarnContext {
            time_zone: Some(barn.time_zone.clone()),
            region: barn.region.clone(),
        },
    };
    let mut due = HorseDue::or_warning(&log.horse, &input, rules);
    due.warnings.extend(log.erased().iter().map(|gone| {
        whorl_care::figure::Warning::new(
            "erased",
            format!(
                "what an entry of {} said ({}) was erased and isn't counted: find out before anything is given again",
                gone.day,
                sentence::words(gone.kind.code())
            ),
        )
    }));
    if log.is_limited() {
        withhold(&mut due.items, log, &input, rules);
    }
    let may_record = |role, kind| log.access.may_record(role, kind);
    let doable = due.doable(&log.horse, &input, rules, may_record);
    (due, doable)
}

/// Leaves out what an order or a pregnancy that the caller may not see makes read otherwise.
fn withhold(items: &mut Vec<Item>, log: &CareLog, input: &Input, rules: &Rules) {
    let (horse, events) = log.whole_at(input.on);
    let whole = due::items(
        &horse,
        &events,
        input.on,
        &input.programme,
        &input.barn,
        rules,
    );
    items.retain(|item| whole.contains(item));
}
