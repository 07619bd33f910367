//! The ledger: the one way into a horse's log.
//!
//! An event is read, its hash and its signature checked outside the lock; access, policy and duplicates are decided under the lock of
//! its horse, in the same transaction that gives it the next place. So a revocation has an exact place in the log,
//! places have no gap, and the order of commits is the order of places.

mod arrival;
mod intake;
mod judge;
mod rows;

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, NaiveDate, Utc};
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind as EventKind, Role};
use whorl_care::notice::Topic;
use whorl_care::profile;
use whorl_care::rules::Rules;
use whorl_care::when::PartialDate;
use whorl_contract::chain;
use whorl_contract::event::{Envelope, open_envelope};
use whorl_contract::key::{Hash, PublicKey};
use whorl_contract::sync::Outcome;
use whorl_store::deliveries::Ways;
use whorl_store::events::{self, EventRow};
use whorl_store::held_events::{self, HeldEventRow};
use whorl_store::horses::{self, HorseRow};
use whorl_store::licences;
use whorl_store::signers::{self, SignerRow};
use whorl_store::{Db, StoreError};

use crate::access::{self, Access};
use crate::delivery;
use crate::erasure;
use crate::notice::{self, Word};
use crate::problem::{Kind, Problem};
use crate::state::State;
pub(crate) use arrival::Arrival;
pub(crate) use intake::take_in;
use judge::{Case, Verdict, about, judge};
pub(crate) use rows::{care_event, care_events, read_envelope};
use rows::{event_row, held_row};

/// What the ledger goes by.
#[derive(Clone, Debug)]
pub(crate) struct Terms {
    /// The rules in force.
    pub(crate) rules: std::sync::Arc<Rules>,
    /// The jurisdiction whose policy rows apply.
    pub(crate) jurisdiction: Option<String>,
    /// By which ways notices are sent.
    pub(crate) ways: Ways,
    /// The server's clock when the request came.
    pub(crate) now: DateTime<Utc>,
}

impl Terms {
    /// The terms in force now.
    pub(crate) fn of(state: &State) -> Self {
        Self {
            rules: state.rules.clone(),
            jurisdiction: state.config.jurisdiction.clone(),
            ways: delivery::ways(state),
            now: state.clock.now(),
        }
    }
}

/// What became of a batch.
#[derive(Debug)]
pub(crate) struct Appended {
    /// An outcome for each event, in order.
    pub(crate) outcomes: Vec<Outcome>,
    /// The horses that the batch names and the pusher may see, as they stand now.
    pub(crate) horses: Vec<HorseRow>,
}

/// Takes a batch: locks its horses in order, decides on each event, appends what may enter. To be run in one
/// write of the store.
///
/// # Errors
///
/// [`StoreError`] if the database fails; nothing of the batch stays then.
pub(crate) fn append(
    db: &mut Db,
    terms: &Terms,
    pusher: AccountId,
    batch: &[Result<Arrival, Problem>],
) -> Result<Appended, StoreError> {
    let mut desk = Desk::open(db, terms, pusher, batch.iter().flatten())?;
    let mut outcomes = Vec::with_capacity(batch.len());
    for arrival in batch {
        let outcome = match arrival {
            Ok(arrival) => desk.take(db, arrival)?,
            Err(problem) => refused(problem),
        };
        outcomes.push(outcome);
    }
    desk.close(db, outcomes)
}

/// Enters an event that an owner accepts after it was held: everything but the grant is judged anew.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn enter_held(
    db: &mut Db,
    terms: &Terms,
    owner: AccountId,
    arrival: &Arrival,
) -> Result<Outcome, StoreError> {
    let mut desk = Desk::open(db, terms, owner, [arrival])?;
    desk.held.clear();
    desk.accepting_held = true;
    let outcome = desk.take(db, arrival)?;
    Ok(desk.close(db, vec![outcome])?.outcomes.remove(0))
}

/// What the author of a held event hears once the owner has said no.
pub(crate) fn not_accepted() -> Outcome {
    refused(&Problem::new(
        Kind::NoGrant,
        "the owner did not accept this record",
    ))
}

/// The one answer to whoever may not record this here, whether or not there is such a horse.
fn no_grant(envelope: &Envelope) -> Problem {
    Problem::new(
        Kind::NoGrant,
        format!(
            "no grant lets this person record {} as {} on this horse",
            envelope.kind, envelope.role
        ),
    )
}

fn refused(problem: &Problem) -> Outcome {
    Outcome::Refused {
        problem: Box::new(problem.document()),
    }
}

/// A horse's log, as far as a batch needs it.
struct Book {
    horse: HorseRow,
    head: Hash,
    /// Whether the pusher may see anything of it …
    visible: bool,
    /// … and where it stands now: a seller may not.
    told: bool,
    /// The events that decide how others are judged …
    shaping: Vec<CareEvent>,
    /// … and what they say of its birth.
    foaled_on: Option<PartialDate>,
    new: Vec<EventRow>,
    /// The entries whose content is to go.
    erased: Vec<EventId>,
}

/// Everything that deciding on a batch needs, read under the locks.
struct Desk<'a> {
    terms: &'a Terms,
    pusher: AccountId,
    books: BTreeMap<HorseId, Book>,
    /// What is in the log by id: place, and what a repeated push is compared with.
    logged: HashMap<EventId, (i64, EventRow)>,
    held: HashMap<EventId, HeldEventRow>,
    signers: HashMap<DeviceId, SignerRow>,
    access: HashMap<(AccountId, HorseId), Access>,
    /// Who had a licence for a role on a day.
    licensed: HashMap<(AccountId, Role, NaiveDate), bool>,
    accepting_held: bool,
    /// What must be told of records that this batch holds.
    waits: Vec<Word>,
}

impl<'a> Desk<'a> {
    fn open<'b>(
        db: &mut Db,
        terms: &'a Terms,
        pusher: AccountId,
        arrivals: impl IntoIterator<Item = &'b Arrival>,
    ) -> Result<Self, StoreError> {
        let arrivals: Vec<&Arrival> = arrivals.into_iter().collect();
        let envelopes = || arrivals.iter().map(|arrival| &arrival.opened.envelope);
        // In sorted order, so that two batches never wait for each other.
        let wanted: BTreeSet<HorseId> = envelopes().map(|envelope| envelope.horse_id).collect();
        let wanted: Vec<HorseId> = wanted.into_iter().collect();
        let mut books = BTreeMap::new();
        let mut accesses = HashMap::new();
        for horse in horses::lock(db, &wanted)? {
            let access = access::of_horse_for_write(db, pusher, &horse, terms.now)?;
            let shaping = care_events(&events::that_shape(db, horse.id)?);
            let book = Book {
                head: Hash::try_from(horse.head.as_slice())
                    .map_err(|why| StoreError::Unreadable(why.to_string()))?,
                visible: access.is_anything(),
                told: access.is_in_force(),
                foaled_on: profile::profile(&shaping).foaled_on,
                shaping,
                new: Vec::new(),
                erased: Vec::new(),
                horse,
            };
            accesses.insert((pusher, book.horse.id), access);
            books.insert(book.horse.id, book);
        }
        let ids: Vec<EventId> = envelopes()
            .flat_map(|envelope| [Some(envelope.id), envelope.target_id])
            .flatten()
            .collect();
        let devices: BTreeSet<DeviceId> = envelopes().map(|envelope| envelope.device_id).collect();
        let devices: Vec<DeviceId> = devices.into_iter().collect();
        signers::hold(db, &devices)?;
        Ok(Self {
            terms,
            pusher,
            books,
            logged: events::by_ids(db, &ids)?
                .into_iter()
                .map(|row| (row.id, (row.seq, row)))
                .collect(),
            held: held_events::by_ids(db, &ids)?
                .into_iter()
                .map(|row| (row.id, row))
                .collect(),
            signers: signers::by_ids(db, &devices)?
                .into_iter()
                .map(|row| (row.device_id, row))
                .collect(),
            access: accesses,
            licensed: HashMap::new(),
            accepting_held: false,
            waits: Vec::new(),
        })
    }

    /// Decides on one event and gives it its place, if it may enter.
    fn take(&mut self, db: &mut Db, arrival: &Arrival) -> Result<Outcome, StoreError> {
        match self.decide(db, arrival)? {
            Err(problem) => Ok(refused(&problem)),
            Ok(Decision::Known(seq)) => Ok(Outcome::Known { seq }),
            Ok(Decision::HeldBefore) => Ok(Outcome::Held),
            Ok(Decision::NotAccepted) => Ok(not_accepted()),
            Ok(Decision::New(Verdict::Hold(reason))) if !self.accepting_held => {
                let row = held_row(arrival, reason, self.terms.now);
                self.waits.extend(self.waits_for_owner(arrival));
                held_events::add(db, row.clone())?;
                self.held.insert(row.id, row);
                Ok(Outcome::Held)
            }
            Ok(Decision::New(_)) => Ok(self.enter(arrival)),
        }
    }

    /// What the owner must be told of a record that is held.
    fn waits_for_owner(&self, arrival: &Arrival) -> Option<Word> {
        let envelope = &arrival.opened.envelope;
        let book = self.books.get(&envelope.horse_id)?;
        Some(Word {
            horse: book.horse.clone(),
            event: envelope.id,
            author: envelope.author_id,
            kind: envelope.kind,
            seq: 0,
            topic: Some(Topic::Held),
            stood: false,
            performed_at: envelope.performed_at.naive_utc(),
        })
    }

    fn decide(
        &mut self,
        db: &mut Db,
        arrival: &Arrival,
    ) -> Result<Result<Decision, Problem>, StoreError> {
        let envelope = &arrival.opened.envelope;
        let no_horse = || no_grant(envelope);
        let Some(book) = self.books.get(&envelope.horse_id) else {
            return Ok(Err(no_horse()));
        };
        if let Some((seq, row)) = self.logged.get(&envelope.id) {
            if !book.visible && self.pusher != row.author_id {
                return Ok(Err(no_horse()));
            }
            let same = row.signature == arrival.raw.signature.0 && is_same(&row.envelope, arrival);
            return Ok(if same {
                Ok(Decision::Known(*seq))
            } else {
                Err(Problem::bare(Kind::SameIdOtherBody))
            });
        }
        if let Some(row) = self.held.get(&envelope.id) {
            let same = row.signature == arrival.raw.signature.0 && is_same(&row.envelope, arrival);
            return Ok(match (same, row.accepted) {
                (true, Some(false)) => Ok(Decision::NotAccepted),
                (true, _) => Ok(Decision::HeldBefore),
                (false, _) => Err(Problem::bare(Kind::SameIdOtherBody)),
            });
        }
        if envelope.author_id != self.pusher && !book.visible {
            return Ok(Err(no_horse()));
        }
        if let Err(problem) = self.check_signature(arrival) {
            return Ok(Err(problem));
        }
        self.judge(db, arrival)
    }

    fn check_signature(&self, arrival: &Arrival) -> Result<(), Problem> {
        let envelope = &arrival.opened.envelope;
        let Some(signer) = self.signers.get(&envelope.device_id) else {
            return Err(Problem::new(
                Kind::DeviceRefused,
                "the server doesn't know the device that signed this",
            ));
        };
        if signer.account_id != envelope.author_id {
            return Err(Problem::new(
                Kind::DeviceRefused,
                "the device belongs to somebody other than the author",
            ));
        }
        if signer.revoked_at.is_some() {
            return Err(Problem::new(Kind::DeviceRefused, "the device was revoked"));
        }
        let key = PublicKey::try_from(signer.public_key.as_slice()).map_err(Problem::internal)?;
        if arrival.signed_by == Some(key) {
            return Ok(());
        }
        arrival
            .opened
            .signed_by(&key, &arrival.raw.signature)
            .map_err(|error| Problem::new(Kind::NotGenuine, error.to_string()))
    }

    fn judge(
        &mut self,
        db: &mut Db,
        arrival: &Arrival,
    ) -> Result<Result<Decision, Problem>, StoreError> {
        let envelope = &arrival.opened.envelope;
        let (author, horse) = (envelope.author_id, envelope.horse_id);
        if !self.access.contains_key(&(author, horse)) {
            let row = self.books[&horse].horse.clone();
            let access = access::of_horse_for_write(db, author, &row, self.terms.now)?;
            self.access.insert((author, horse), access);
        }
        let access = &self.access[&(author, horse)];
        let book = &self.books[&horse];
        let (accepting, recorded_at) = (self.accepting_held, envelope.recorded_at.to_utc());
        let mut covered = |kind| -> Result<bool, StoreError> {
            let (horse, role) = (&book.horse, envelope.role);
            Ok(accepting || access::covered_at(db, author, horse, role, kind, recorded_at)?)
        };
        let (mut target, mut target_erased) = (None, false);
        if let Some((seq, row)) = envelope.target_id.and_then(|id| self.logged.get(&id))
            && row.horse_id == horse
        {
            // What the author may not know of is not there for them.
            let seen = access.may_see(row.kind, *seq) || row.author_id == author;
            if seen || covered(row.kind)? {
                target = Some(read_envelope(row)?);
                target_erased = row.content.is_none();
            }
        }
        let kind = about(envelope, target.as_ref());
        let covered_then = !access.may_record(envelope.role, kind) && covered(kind)?;
        let day = envelope.performed_at.date_naive();
        let licensed = match self.licensed.entry((author, envelope.role, day)) {
            Entry::Occupied(known) => *known.get(),
            Entry::Vacant(asked) => {
                *asked.insert(licences::covers(db, author, envelope.role, day)?)
            }
        };
        let case = Case {
            rules: &self.terms.rules,
            jurisdiction: self.terms.jurisdiction.as_deref(),
            now: self.terms.now,
            arrival,
            access,
            covered_then,
            licensed,
            foaled_on: book.foaled_on,
            shaping: &book.shaping,
            target: target.as_ref(),
            target_erased,
        };
        Ok(judge(&case).map(Decision::New))
    }

    /// Gives an event the next place of its horse.
    fn enter(&mut self, arrival: &Arrival) -> Outcome {
        let envelope = &arrival.opened.envelope;
        let Some(book) = self.books.get_mut(&envelope.horse_id) else {
            return refused(&Problem::internal(
                "an event without a horse was let through",
            ));
        };
        let seq = book.horse.head_seq + 1;
        book.head = chain::next(&book.head, &arrival.opened.leaf);
        book.horse.head_seq = seq;
        book.horse.head = book.head.0.to_vec();
        let row = event_row(arrival, seq, &book.head, self.terms.now);
        if row.shapes {
            book.shaping.extend(care_event(&row));
            book.foaled_on = profile::profile(&book.shaping).foaled_on;
        }
        if let (EventKind::Erasure, Some(target)) = (row.kind, envelope.target_id) {
            book.erased.push(target);
            if let Some((_, erased)) = self.logged.get_mut(&target) {
                erased.content = None;
            }
        }
        self.logged.insert(row.id, (seq, row.clone()));
        book.new.push(row);
        Outcome::Accepted { seq }
    }

    /// Writes what entered.
    fn close(self, db: &mut Db, outcomes: Vec<Outcome>) -> Result<Appended, StoreError> {
        let (mut horses, mut words) = (Vec::new(), self.waits);
        for (_, book) in self.books {
            if !book.new.is_empty() {
                words.extend(notice::words(
                    &book.horse,
                    &book.new,
                    &book.shaping,
                    book.foaled_on,
                    |id| self.logged.get(&id).map(|(_, row)| row),
                    &self.terms.rules,
                ));
                horses::set_head(db, book.horse.id, book.horse.head_seq, &book.horse.head)?;
                events::append(db, book.new)?;
            }
            for target in book.erased {
                erasure::carry_out(db, book.horse.id, target, book.horse.head_seq)?;
            }
            if book.told {
                horses.push(book.horse);
            }
        }
        notice::give(db, &words, self.terms.ways, self.terms.now)?;
        Ok(Appended { outcomes, horses })
    }
}

/// What an event turns out to be.
enum Decision {
    Known(i64),
    HeldBefore,
    NotAccepted,
    New(Verdict),
}

/// Whether the envelope that is stored says the same as the one that came, whatever its spelling.
fn is_same(stored: &str, arrival: &Arrival) -> bool {
    stored == arrival.raw.envelope.get()
        || open_envelope(stored).is_ok_and(|(_, bytes)| bytes == arrival.opened.canonical_envelope)
}
