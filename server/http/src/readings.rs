//! Who read what of a horse's record without being its owner, for the owner to see.
//!
//! A reading is noted once its answer is ready, in memory, and written by the writer together with the others of that second.
//! So it costs the reader nothing, and it can't fail them: whoever stands beside a sick horse gets its record even if the
//! note of that can't be written. Notes that couldn't be written wait for the next second, as many as there is room for;
//! then the newest are dropped, counted, and the log says so. A server that is killed loses what it noted in its last
//! second; one that is stopped in good order loses nothing.

mod about;

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::{Mutex, MutexGuard, PoisonError};

use chrono::{DateTime, NaiveDate, NaiveDateTime, SubsecRound, Utc};
use uuid::Uuid;
use whorl_care::ids::{AccountId, CalendarId, HorseId, ShareId};
use whorl_care::reading::{Reader, Way};
use whorl_store::readings::ReadingRow;
use whorl_store::{Store, StoreError, horses, readings};

pub(crate) use about::AboutHorses;

/// So many notes wait at most: some ten megabytes.
const MOST: usize = 50_000;

/// Who reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum By {
    /// Somebody who is signed in.
    Account(AccountId),
    /// Whoever has a link: that may be anybody.
    Share(ShareId),
    /// A calendar program.
    Calendar {
        /// The calendar.
        id: CalendarId,
        /// Whose it is.
        holder: AccountId,
    },
}

impl By {
    /// By what, and its id.
    pub(crate) const fn reader(self) -> (Reader, Uuid) {
        match self {
            Self::Account(id) => (Reader::Account, id.0),
            Self::Share(id) => (Reader::Share, id.0),
            Self::Calendar { id, .. } => (Reader::Calendar, id.0),
        }
    }

    /// For whom it is read: nothing is noted if the horse is theirs.
    const fn account(self) -> Option<AccountId> {
        match self {
            Self::Account(id) | Self::Calendar { holder: id, .. } => Some(id),
            Self::Share(_) => None,
        }
    }
}

/// A kind of reading on a day: what is counted together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Key {
    horse: HorseId,
    day: NaiveDate,
    by: By,
    way: Way,
}

/// What waits to be written of one kind.
#[derive(Clone, Copy, Debug)]
struct Folded {
    first: NaiveDateTime,
    last: NaiveDateTime,
    times: i64,
}

impl Folded {
    fn join(&mut self, other: Self) {
        self.first = self.first.min(other.first);
        self.last = self.last.max(other.last);
        self.times += other.times;
    }
}

type Waiting = HashMap<Key, Folded>;

/// The readings that wait to be written.
#[derive(Debug, Default)]
pub(crate) struct Readings {
    waiting: Mutex<Waiting>,
    /// Held while some are written: whoever asks for all that is noted waits for those, too.
    writing: Mutex<()>,
}

impl Readings {
    /// Notes that somebody read of horses; answers how many notes there was no room for.
    pub(crate) fn note(
        &self,
        by: By,
        way: Way,
        horses: impl IntoIterator<Item = HorseId>,
        at: DateTime<Utc>,
    ) -> usize {
        // As precise as both databases keep it.
        let at = at.naive_utc().trunc_subsecs(6);
        let folded = Folded {
            first: at,
            last: at,
            times: 1,
        };
        let mut waiting = locked(&self.waiting);
        let notes = horses.into_iter().map(|horse| {
            let key = Key {
                horse,
                day: at.date(),
                by,
                way,
            };
            usize::from(!put(&mut waiting, key, folded))
        });
        notes.sum()
    }

    /// Writes what waits, apart from owners' own readings; what can't be written waits on. Blocks.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the database can't take it now.
    pub(crate) fn write(&self, store: &Store) -> Result<(), StoreError> {
        let _alone = locked(&self.writing);
        let mut taken = std::mem::take(&mut *locked(&self.waiting));
        let written = write(store, &mut taken);
        if written.is_err() {
            let mut waiting = locked(&self.waiting);
            let dropped = taken
                .into_iter()
                .filter(|(key, folded)| !put(&mut waiting, *key, *folded))
                .count();
            if dropped > 0 {
                tracing::error!(target: "security", event = "readings_dropped", dropped);
            }
        }
        written
    }
}

/// Adds a note, if there is room for it.
fn put(waiting: &mut Waiting, key: Key, folded: Folded) -> bool {
    let full = waiting.len() >= MOST;
    match waiting.entry(key) {
        Entry::Occupied(mut there) => there.get_mut().join(folded),
        Entry::Vacant(_) if full => return false,
        Entry::Vacant(free) => {
            free.insert(folded);
        }
    }
    true
}

/// Writes what isn't an owner's own; whose a horse is, is looked up here, once for all.
fn write(store: &Store, taken: &mut Waiting) -> Result<(), StoreError> {
    if taken.is_empty() {
        return Ok(());
    }
    let ids: Vec<HorseId> = taken.keys().map(|key| key.horse).collect();
    let owners = store.read(|db| horses::owners(db, &ids))?;
    taken.retain(|key, _| {
        let owner = owners.get(&key.horse).copied();
        owner.is_some() && owner != key.by.account()
    });
    let mut rows: Vec<ReadingRow> = taken.iter().map(row).collect();
    if rows.is_empty() {
        return Ok(());
    }
    // In one order, so that two servers never wait for each other's rows crosswise.
    rows.sort_unstable_by_key(|row| (row.horse_id, row.day, row.reader, row.reader_id, row.way));
    store.write(move |db| readings::add(db, rows))
}

fn row((key, folded): (&Key, &Folded)) -> ReadingRow {
    let (reader, reader_id) = key.by.reader();
    ReadingRow {
        horse_id: key.horse,
        day: key.day,
        reader,
        reader_id,
        way: key.way,
        first_at: folded.first,
        last_at: folded.last,
        times: folded.times,
    }
}

/// What a thread held that panicked is sound all the same: each change is made in one step.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_800_000_000 + seconds, 0).expect("an instant")
    }

    fn horse(n: u128) -> HorseId {
        HorseId(Uuid::from_u128(n))
    }

    #[test]
    fn readings_of_one_kind_and_day_are_counted_together() {
        let readings = Readings::default();
        let by = By::Account(AccountId(Uuid::from_u128(1)));
        for seconds in [50, 10, 30] {
            readings.note(by, Way::History, [horse(1)], at(seconds));
        }
        readings.note(by, Way::File, [horse(1), horse(2)], at(60));
        let waiting = locked(&readings.waiting);
        assert_eq!(waiting.len(), 3);
        let histories = waiting.iter().find(|(key, _)| key.way == Way::History);
        let (_, folded) = histories.expect("there");
        assert_eq!(
            (folded.times, folded.first, folded.last),
            (3, at(10).naive_utc(), at(50).naive_utc())
        );
    }

    #[test]
    fn what_cannot_be_written_stays_within_bounds_and_what_is_there_still_counts() {
        let readings = Readings::default();
        let by = By::Account(AccountId(Uuid::from_u128(1)));
        let many = (0..MOST as u128).map(horse);
        assert_eq!(readings.note(by, Way::Sync, many, at(0)), 0);
        assert_eq!(
            readings.note(by, Way::Sync, [horse(3), horse(u128::MAX)], at(5)),
            1
        );
        let waiting = locked(&readings.waiting);
        let known = waiting.iter().find(|(key, _)| key.horse == horse(3));
        assert_eq!((waiting.len(), known.expect("there").1.times), (MOST, 2));
    }
}
