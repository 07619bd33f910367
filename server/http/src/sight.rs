//! Several horses' events as one caller may see them: the start of every answer that is about more than one horse.

use std::collections::{HashMap, HashSet};

use whorl_care::horse::CareEvent;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_store::events::{self, EventRow};
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError};

use crate::access::Access;
use crate::ledger;

/// A horse, what the caller may do with it, and those of its events that they may see.
#[derive(Debug)]
pub(crate) struct Seen {
    /// The horse.
    pub(crate) horse: HorseRow,
    /// What the caller may do with it.
    pub(crate) access: Access,
    /// The events of the kinds that were asked for, and what was said about events; in the order of the log.
    pub(crate) rows: Vec<EventRow>,
}

impl Seen {
    /// The events as the care engine reads them.
    pub(crate) fn care_events(&self) -> Vec<CareEvent> {
        ledger::care_events(&self.rows)
    }
}

/// Of which horses a caller can't know all that the entries of some kinds say: kinds are withheld from them, or what an
/// entry said was erased.
#[derive(Debug)]
pub(crate) struct Gaps<'a> {
    kinds: &'a [Kind],
    erased: HashSet<HorseId>,
}

impl<'a> Gaps<'a> {
    /// Looks for them.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the database fails.
    pub(crate) fn find(db: &mut Db, kinds: &'a [Kind]) -> Result<Self, StoreError> {
        let erased = events::horses_with_erased(db, kinds)?.into_iter().collect();
        Ok(Self { kinds, erased })
    }

    /// Whether there is one.
    pub(crate) fn concern(&self, (horse, access): &(HorseRow, Access)) -> bool {
        let open = access.kinds();
        self.erased.contains(&horse.id) || !self.kinds.iter().all(|kind| open.contains(kind))
    }
}

/// Reads the events of these kinds, with their amendments, retractions and countersignatures: one question to the database.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn of_kinds(
    db: &mut Db,
    horses: Vec<(HorseRow, Access)>,
    kinds: &[Kind],
) -> Result<Vec<Seen>, StoreError> {
    let ids: Vec<HorseId> = horses.iter().map(|(row, _)| row.id).collect();
    let mut asked = kinds.to_vec();
    asked.extend(Kind::ABOUT_OTHERS);
    let mut logs: HashMap<HorseId, Vec<EventRow>> = HashMap::new();
    for row in events::of_kinds(db, &ids, &asked)? {
        logs.entry(row.horse_id).or_default().push(row);
    }
    let seen = horses.into_iter().map(|(horse, access)| {
        let mut rows = logs.remove(&horse.id).unwrap_or_default();
        let until = access.until_seq(horse.head_seq);
        // What is said about an entry belongs to it: without the entry, it has no effect.
        rows.retain(|row| {
            row.seq <= until && (row.target_id.is_some() || access.may_see(row.kind, row.seq))
        });
        Seen {
            horse,
            access,
            rows,
        }
    });
    Ok(seen.collect())
}
