//! Whether horses may enter a show or a country, as far as the caller may know.

use whorl_care::fault::Faults;
use whorl_care::figure::entry::rule_set::RuleSet;
use whorl_care::figure::entry::{RuleIds, Stay, rule_sets};
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::rules::Rules;
use whorl_contract::entry::{BarnEntry, Entering, HorseEntry};
use whorl_store::Db;
use whorl_store::barns::{self, BarnRow};

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

    fn by<'a>(&self, sets: &'a [&'a RuleSet], barn: &BarnRow) -> Entering<'a> {
        Entering {
            sets,
            stay: self.stay,
            on: care_log::today(barn, self.now),
        }
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
    let entering = entry.by(&sets, &barn);
    let checked = care_log::each(db, vec![found], |log| check(&log, entering, rules))?;
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
    let entering = entry.by(&sets, &barn);
    let horses = care_log::each(db, visible, |log| check(&log, entering, rules))?;
    Ok(BarnEntry::of((barn.id, barn.name), entering, horses))
}

fn check(log: &CareLog, entering: Entering<'_>, rules: &Rules) -> HorseEntry {
    let (profile, _) = log.at(entering.stay.arrives);
    let hidden = |kind| !log.tells_all_of(kind);
    HorseEntry::of(
        &log.horse,
        (&profile, log.events()),
        entering,
        hidden,
        rules,
    )
}
