//! Whether horses may enter a show or a country, as far as the caller may know.

use chrono::NaiveDate;
use whorl_care::fault::Faults;
use whorl_care::figure::entry::rule_set::RuleSet;
use whorl_care::figure::entry::{RuleIds, Stay, assess, rule_sets};
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::rules::Rules;
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_store::{Db, barns};

use crate::access;
use crate::care_log::{self, CareLog};
use crate::due_board::only_its_past;
use crate::problem::Problem;

/// Which entry is asked about.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    /// By which rule sets.
    pub(crate) rules: Vec<String>,
    /// The days of arrival and departure.
    pub(crate) stay: Stay,
    /// Who asks.
    pub(crate) account: AccountId,
    /// When.
    pub(crate) now: chrono::DateTime<chrono::Utc>,
}

impl Entry {
    fn sets<'a>(&self, rules: &'a Rules) -> Result<Vec<&'a RuleSet>, Faults> {
        let mut faults = Faults::default();
        if self.stay.leaves < self.stay.arrives {
            let said = format!(
                "{} is before the arrival on {}",
                self.stay.leaves, self.stay.arrives
            );
            faults.add("/until", said);
        }
        let sets = rule_sets(&RuleIds::Several(self.rules.clone()), rules, &mut faults);
        faults.or(sets)
    }
}

/// Whether one horse may enter.
///
/// # Errors
///
/// A problem if the horse is not for the caller to know of, if only its past is, or if the question can't stand.
pub(crate) fn of_horse(
    db: &mut Db,
    entry: &Entry,
    horse: HorseId,
    rules: &Rules,
) -> Result<HorseEntry, Problem> {
    let found = access::horse(db, entry.account, horse, entry.now)?;
    let sets = entry.sets(rules)?;
    let barn = barns::get(db, found.0.barn_id)?;
    let today = care_log::today(&barn, entry.now);
    let checked = care_log::each(db, vec![found], |log| {
        check(&log, entry.stay, &sets, today, rules)
    })?;
    checked.into_iter().next().ok_or_else(only_its_past)
}

/// Whether the horses of a barn that the caller may see may enter.
///
/// # Errors
///
/// A problem if the barn is not for the caller to know of, or if the question can't stand.
pub(crate) fn of_barn(
    db: &mut Db,
    entry: &Entry,
    barn: BarnId,
    rules: &Rules,
) -> Result<BarnEntry, Problem> {
    let barn = access::barn(db, entry.account, barn, entry.now)?;
    let sets = entry.sets(rules)?;
    let mut visible = access::horses_visible(db, entry.account, entry.now)?;
    visible.retain(|(row, _)| row.barn_id == barn.id);
    let today = care_log::today(&barn, entry.now);
    let mut horses = care_log::each(db, visible, |log| {
        check(&log, entry.stay, &sets, today, rules)
    })?;
    horses.sort_by_cached_key(|one| (one.horse.to_lowercase(), one.horse_id));
    Ok(BarnEntry {
        barn_id: barn.id,
        barn: barn.name,
        rules: sets.iter().map(|set| set.id.clone()).collect(),
        arrives_on: entry.stay.arrives,
        leaves_on: entry.stay.leaves,
        horses,
    })
}

fn check(
    log: &CareLog,
    stay: Stay,
    sets: &[&RuleSet],
    today: NaiveDate,
    rules: &Rules,
) -> HorseEntry {
    let (profile, _) = log.at(stay.arrives);
    let mut answer = assess(&profile, log.events(), sets, stay, Some(today), rules);
    if log.is_limited() || !log.erased().is_empty() {
        answer = answer.without(sets, |kind| !log.tells_all_of(kind));
    }
    HorseEntry {
        horse_id: log.horse.id,
        horse: log.label(),
        barn_id: log.horse.barn_id,
        microchip: profile.microchip,
        arrives_on: stay.arrives,
        leaves_on: stay.leaves,
        verdict: answer.verdict(),
        answer,
        withheld: log.is_limited(),
    }
}
