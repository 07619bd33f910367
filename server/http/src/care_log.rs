//! The logs of horses as the care engine reads them: whole, and as far as one caller may see them.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use whorl_care::described::complete;
use whorl_care::horse::{CareEvent, Horse as Profile};
use whorl_care::ids::{BarnId, EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_care::profile::profile;
use whorl_care::record;
use whorl_care::when::today_in;
use whorl_contract::horse::Horse;
use whorl_store::barns::{self, BarnRow};
use whorl_store::events;
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::herd;
use crate::ledger;

/// So many horses are read at once: few questions to the database, and no more in memory than a few years of a yard.
const AT_ONCE: usize = 20;

/// One horse's log.
pub(crate) struct CareLog {
    /// What the caller may do.
    pub(crate) access: Access,
    /// When its log grew last.
    pub(crate) changed_at: DateTime<Utc>,
    /// The horse as it is described to the caller.
    pub(crate) horse: Horse,
    /// Everything up to the last place that concerns the caller.
    whole: Vec<CareEvent>,
    /// What the caller may see of it; all of it if missing.
    seen: Option<Vec<CareEvent>>,
    /// The entries of which the content was erased.
    erased: Vec<Gone>,
}

/// An entry of which the content was erased: what it said is unknown to everybody.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Gone {
    seq: i64,
    /// What it recorded.
    pub(crate) kind: Kind,
    /// The day.
    pub(crate) day: NaiveDate,
}

impl CareLog {
    fn new(
        row: &HorseRow,
        access: Access,
        rows: Vec<(i64, CareEvent)>,
        mut erased: Vec<Gone>,
        changed_at: DateTime<Utc>,
    ) -> Self {
        let until = access.until_seq(row.head_seq);
        let log: Vec<_> = rows.into_iter().filter(|(seq, _)| *seq <= until).collect();
        let seen = access.is_limited().then(|| seen(&access, &log));
        erased.retain(|gone| gone.seq <= until && access.may_see(gone.kind, gone.seq));
        let (places, whole): (Vec<i64>, Vec<CareEvent>) = log.into_iter().unzip();
        let horse = herd::view(row, &access, &places, &whole);
        Self {
            access,
            changed_at,
            horse,
            whole,
            seen,
            erased,
        }
    }

    /// The entries of which the content was erased, as far as the caller may know of them.
    pub(crate) fn erased(&self) -> &[Gone] {
        &self.erased
    }

    /// Whether what entries of this kind say is all known to the caller.
    pub(crate) fn tells_all_of(&self, kind: Kind) -> bool {
        self.access.kinds().contains(&kind) && self.erased.iter().all(|gone| gone.kind != kind)
    }

    /// Whether something is withheld from the caller.
    pub(crate) fn is_limited(&self) -> bool {
        self.seen.is_some()
    }

    /// What the caller may see.
    pub(crate) fn events(&self) -> &[CareEvent] {
        self.seen.as_deref().unwrap_or(&self.whole)
    }

    /// The same as it stood at the end of a day, with who the horse was then.
    pub(crate) fn at(&self, on: NaiveDate) -> (Profile, Vec<CareEvent>) {
        let events = at(self.events(), on);
        if self.seen.is_none() && events.len() == self.whole.len() {
            // Then `complete` has nothing to add to it, either.
            return (self.horse.profile.clone(), events);
        }
        let mut ours = profile(&events);
        complete(&mut ours, &self.horse.profile, &events);
        (ours, events)
    }

    /// Everything, also what is withheld from the caller, as it stood at the end of a day. For comparing, never for
    /// showing.
    pub(crate) fn whole_at(&self, on: NaiveDate) -> (Profile, Vec<CareEvent>) {
        let events = at(&self.whole, on);
        (profile(&events), events)
    }
}

/// The events up to a day. What nobody can place in time is left in: it may be a correction of something earlier.
fn at(events: &[CareEvent], on: NaiveDate) -> Vec<CareEvent> {
    let so_far = |event: &&CareEvent| event.day().map_or(true, |day| day <= on);
    events.iter().filter(so_far).cloned().collect()
}

/// The events that a limited caller may see: those of their kinds, and what is said about those.
fn seen(access: &Access, log: &[(i64, CareEvent)]) -> Vec<CareEvent> {
    let kinds = kinds(log);
    log.iter()
        .filter(|(seq, event)| about(event, &kinds).is_some_and(|kind| access.may_see(kind, *seq)))
        .map(|(_, event)| event.clone())
        .collect()
}

/// The kind of each event.
fn kinds(log: &[(i64, CareEvent)]) -> HashMap<EventId, Kind> {
    log.iter()
        .filter_map(|(_, event)| Some((event.id?, event.kind)))
        .collect()
}

/// The kind of what an event is about: of the entry that it corrects or vouches for, which is never itself such a word
/// (`ledger` refuses that); else its own.
fn about(event: &CareEvent, kinds: &HashMap<EventId, Kind>) -> Option<Kind> {
    match event.target_id {
        None => Some(event.kind),
        Some(target) => kinds.get(&target).copied(),
    }
}

/// The logs of horses: one question to the database for every twenty. Those that a caller only had to do with once are
/// left out: what is due for them now is for others to know.
///
/// # Errors
///
/// What `work` answers, and [`StoreError`] if the database fails.
pub(crate) fn each<T>(
    db: &mut Db,
    horses: Vec<(HorseRow, Access)>,
    work: impl Fn(CareLog) -> T,
) -> Result<Vec<T>, StoreError> {
    let mut horses: Vec<_> = horses
        .into_iter()
        .filter(|(_, access)| access.is_in_force())
        .collect();
    let mut done = Vec::with_capacity(horses.len());
    while !horses.is_empty() {
        let rest = horses.split_off(AT_ONCE.min(horses.len()));
        done.extend(read(db, horses)?.into_iter().map(&work));
        horses = rest;
    }
    Ok(done)
}

/// The log of one horse, also for somebody who only had to do with it once: up to then.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn one(db: &mut Db, horse: (HorseRow, Access)) -> Result<CareLog, StoreError> {
    read(db, vec![horse])?.pop().ok_or(StoreError::NotFound)
}

fn read(db: &mut Db, horses: Vec<(HorseRow, Access)>) -> Result<Vec<CareLog>, StoreError> {
    let ids: Vec<HorseId> = horses.iter().map(|(row, _)| row.id).collect();
    let mut logs: HashMap<HorseId, Vec<(i64, CareEvent)>> = HashMap::new();
    let mut erased: HashMap<HorseId, Vec<Gone>> = HashMap::new();
    let mut changed: HashMap<HorseId, NaiveDateTime> = HashMap::new();
    for row in events::of_kinds(db, &ids, record::READ)? {
        let last = changed.entry(row.horse_id).or_insert(row.received_at);
        *last = row.received_at.max(*last);
        if let Some(event) = ledger::care_event(&row) {
            logs.entry(row.horse_id).or_default().push((row.seq, event));
        } else if row.content.is_none() && !row.kind.is_about_another() {
            let day = ledger::read_envelope(&row)?.performed_at.date_naive();
            let (seq, kind) = (row.seq, row.kind);
            erased
                .entry(row.horse_id)
                .or_default()
                .push(Gone { seq, kind, day });
        }
    }
    let read = horses.into_iter().map(|(row, access)| {
        let log = resolvable(logs.remove(&row.id).unwrap_or_default());
        let changed = changed.get(&row.id).unwrap_or(&row.created_at).and_utc();
        let erased = erased.remove(&row.id).unwrap_or_default();
        CareLog::new(&row, access, log, erased, changed)
    });
    Ok(read.collect())
}

/// Leaves out what is said about events of kinds that aren't read.
fn resolvable(mut log: Vec<(i64, CareEvent)>) -> Vec<(i64, CareEvent)> {
    let kinds = kinds(&log);
    log.retain(|(_, event)| about(event, &kinds).is_some());
    log
}

/// The barns of horses, by id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn barns_of(
    db: &mut Db,
    horses: &[(HorseRow, Access)],
    account: whorl_care::ids::AccountId,
) -> Result<HashMap<BarnId, BarnRow>, StoreError> {
    let ids: Vec<BarnId> = horses.iter().map(|(row, _)| row.barn_id).collect();
    let rows = barns::owned_or_named(db, account, &ids)?;
    Ok(rows.into_iter().map(|row| (row.id, row)).collect())
}

/// Today by the clock on a barn's wall.
pub(crate) fn today(barn: &BarnRow, now: DateTime<Utc>) -> NaiveDate {
    today_in(&barn.time_zone, now)
}
