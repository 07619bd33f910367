//! Notices: who must know of what entered a log, or of a record that was held. Written by the ledger in its own transaction;
//! what they say is read from the log when somebody looks ([`view`]).

pub(crate) mod view;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, NaiveDateTime, SubsecRound, TimeDelta, Utc};
use uuid::Uuid;
use whorl_care::alarm::{self, Alarm, Around};
use whorl_care::details::Details;
use whorl_care::effective::effective;
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, EventId, HorseId, NoticeId, WebhookId};
use whorl_care::kind::{Kind, Role};
use whorl_care::notice::{State, Topic, red_flags, topic};
use whorl_care::rules::Rules;
use whorl_care::when::PartialDate;
use whorl_contract::key::Hash;
use whorl_store::deliveries::{self, DeliveryRow, Ways};
use whorl_store::events::EventRow;
use whorl_store::horses::HorseRow;
use whorl_store::notices::{self, NoticeRow};
use whorl_store::{Db, Key, StoreError, notice_settings, webhooks};

use crate::access::{self, Access};
use crate::ledger::care_event;

/// What was seen longer ago than this raises no notice: a passport that is copied out now calls nobody to the box.
const STALE_AFTER: TimeDelta = TimeDelta::days(30);

/// What a batch says of one entry, or of one record that it holds.
#[derive(Clone, Debug)]
pub(crate) struct Word {
    /// The horse.
    pub(crate) horse: HorseRow,
    /// The entry.
    pub(crate) event: EventId,
    /// Who recorded it: they know.
    pub(crate) author: AccountId,
    /// What it records.
    pub(crate) kind: Kind,
    /// Its place in the log; 0 for a record that is held.
    pub(crate) seq: i64,
    /// What vets and owners must know of; nothing where it calls for nobody any more.
    pub(crate) topic: Option<Topic>,
    /// Whether it stood in the log before.
    pub(crate) stood: bool,
    /// When it was seen or done, in UTC.
    pub(crate) performed_at: NaiveDateTime,
}

/// What decides how the entries of a horse's log are read.
pub(crate) struct Reading<'a> {
    /// Amendments and retractions by what they are about.
    said: HashMap<EventId, Vec<&'a CareEvent>>,
    foaled_on: Option<PartialDate>,
    rules: &'a Rules,
}

impl<'a> Reading<'a> {
    /// Reads by a horse's identity, and by what was said about its entries.
    pub(crate) fn of(
        events: impl Iterator<Item = &'a CareEvent> + Clone,
        foaled_on: Option<PartialDate>,
        rules: &'a Rules,
    ) -> Self {
        let mut said: HashMap<EventId, Vec<&CareEvent>> = HashMap::new();
        for event in events {
            if let Some(target) = event.target_id {
                said.entry(target).or_default().push(event);
            }
        }
        Self {
            said,
            foaled_on,
            rules,
        }
    }

    /// The red flags of an entry as it reads after all that was said about it; none once it is retracted.
    pub(crate) fn flags(&self, root: &EventRow) -> Vec<Alarm> {
        let Some(event) = care_event(root) else {
            return Vec::new();
        };
        let said = self.said.get(&root.id).into_iter().flatten().copied();
        let log: Vec<CareEvent> = std::iter::once(&event).chain(said).cloned().collect();
        let log = effective(&log);
        let details = log
            .in_force()
            .find_map(|one| Details::parse_known(root.kind, one.details));
        let Some((details, on)) = details.zip(event.day().ok()) else {
            return Vec::new();
        };
        let around = Around {
            on,
            foaled_on: self.foaled_on,
            rules: self.rules,
        };
        red_flags(alarm::of(&details, &around))
    }
}

/// What the new events of a horse's log call for. Pure, and quick for what can raise no alarm.
///
/// `shaping` are the events of that horse that decide how others are read, the new ones among them, and `foaled_on` is what they
/// say of its birth; `earlier` finds an entry that was there before.
pub(crate) fn words<'a>(
    horse: &HorseRow,
    new: &'a [EventRow],
    shaping: &[CareEvent],
    foaled_on: Option<PartialDate>,
    earlier: impl Fn(EventId) -> Option<&'a EventRow>,
    rules: &Rules,
) -> Vec<Word> {
    let fresh: HashMap<EventId, &EventRow> = new.iter().map(|row| (row.id, row)).collect();
    let roots: BTreeMap<EventId, &EventRow> = new
        .iter()
        .filter_map(|row| match row.kind {
            Kind::Amendment | Kind::Retraction => {
                let target = row.target_id.as_deref()?.parse().ok()?;
                fresh.get(&target).copied().or_else(|| earlier(target))
            }
            _ => Some(row),
        })
        .filter(|root| alarm::KINDS.contains(&root.kind))
        .map(|root| (root.id, root))
        .collect();
    if roots.is_empty() {
        return Vec::new();
    }
    let now = Reading::of(shaping.iter(), foaled_on, rules);
    let is_old = |event: &&CareEvent| event.id.is_none_or(|id| !fresh.contains_key(&id));
    let before = Reading::of(shaping.iter().filter(is_old), foaled_on, rules);
    let word = |root: &EventRow| {
        let stood = !fresh.contains_key(&root.id);
        let flags = now.flags(root);
        let topic = topic(&flags);
        let says_the_same = if stood {
            flags == before.flags(root)
        } else {
            topic.is_none()
        };
        (!says_the_same).then(|| Word {
            horse: horse.clone(),
            event: root.id,
            author: root.author_id,
            kind: root.kind,
            seq: root.seq,
            topic,
            stood,
            performed_at: root.performed_at,
        })
    };
    roots.into_values().filter_map(word).collect()
}

/// Whether somebody with this access must be told of a topic.
fn concerns(access: &Access, topic: Topic, kind: Kind) -> bool {
    if topic == Topic::Held {
        return access.is_owner();
    }
    [Role::Owner, Role::Vet]
        .iter()
        .any(|role| access.may_record(*role, kind))
}

/// Writes notices to whoever must know. To be run in the transaction that appends; asks the database nothing if there is
/// nothing to say.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn give(
    db: &mut Db,
    words: &[Word],
    ways: Ways,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    if words.is_empty() {
        return Ok(());
    }
    let mut horses: Vec<HorseRow> = words.iter().map(|word| word.horse.clone()).collect();
    horses.dedup_by_key(|horse| horse.id);
    let mut before = before(db, words)?;
    let people = access::answerable(db, &horses, now)?;
    let now = now.naive_utc().trunc_subsecs(6);
    let (mut new, mut changed) = (Vec::new(), Vec::new());
    for word in words {
        let known = before.remove(&word.event).unwrap_or_default();
        let Some(topic) = word.topic else {
            for row in known.iter().filter(|row| row.state != State::Withdrawn) {
                changed.push(turned(row, row.topic, State::Withdrawn, now));
            }
            continue;
        };
        let stale = topic != Topic::Held && word.performed_at + STALE_AFTER < now;
        for (account, access) in people.get(&word.horse.id).into_iter().flatten() {
            if *account == word.author || !concerns(access, topic, word.kind) {
                continue;
            }
            match known.iter().find(|row| row.account_id == *account) {
                Some(row) => changed.push(turned(row, topic, State::Changed, now)),
                None if stale => {}
                None => new.push(NoticeRow {
                    horse_id: word.horse.id,
                    event_id: word.event,
                    account_id: *account,
                    held: topic == Topic::Held,
                    id: id(word.event, *account, topic == Topic::Held),
                    kind: word.kind,
                    seq: word.seq,
                    topic,
                    state: State::Raised,
                    version: 1,
                    raised_at: now,
                    changed_at: now,
                    read_at: None,
                }),
            }
        }
    }
    for row in &changed {
        notices::change(db, row)?;
    }
    let told: Vec<NoticeRow> = changed.iter().chain(&new).cloned().collect();
    notices::add(db, new)?;
    send(db, &told, ways)
}

/// Notes what is to be sent of these notices, by the ways that their readers chose.
fn send(db: &mut Db, told: &[NoticeRow], ways: Ways) -> Result<(), StoreError> {
    let people: BTreeSet<AccountId> = told.iter().map(|row| row.account_id).collect();
    let people: Vec<AccountId> = people.into_iter().collect();
    if people.is_empty() || ways == Ways::default() {
        return Ok(());
    }
    let letters = if ways.email {
        notice_settings::of_accounts(db, &people)?
    } else {
        HashMap::new()
    };
    let hooks = if ways.webhooks {
        webhooks::of_accounts(db, &people)?
    } else {
        Vec::new()
    };
    let mut rows = Vec::new();
    for row in told {
        let chosen = letters.get(&row.account_id).copied().unwrap_or_default();
        if ways.email && chosen.takes(row.topic) {
            rows.push(delivery(row, None));
        }
        let theirs = hooks
            .iter()
            .filter(|hook| hook.account_id == row.account_id);
        rows.extend(theirs.map(|hook| delivery(row, Some(hook.id))));
    }
    deliveries::add(db, rows)
}

/// One way of sending one state of a notice. Its id follows from what it is, so that it is asked for once.
fn delivery(row: &NoticeRow, webhook: Option<WebhookId>) -> DeliveryRow {
    let version = row.version.to_be_bytes();
    let way = webhook.map_or([0; 16], |id| id.0.into_bytes());
    let id = of_parts(&[b"whorl/delivery/1\0", row.id.0.as_bytes(), &version, &way]);
    DeliveryRow {
        id: id.into(),
        account_id: row.account_id,
        notice_id: row.id,
        version: row.version,
        webhook_id: webhook.map(Key),
        created_at: row.changed_at,
        attempts: 0,
        next_at: Some(row.changed_at),
        ended_at: None,
        outcome: None,
        error: None,
    }
}

/// The notices of entries that stood before, by entry.
fn before(db: &mut Db, words: &[Word]) -> Result<HashMap<EventId, Vec<NoticeRow>>, StoreError> {
    let stood = words.iter().filter(|word| word.stood);
    let (horses, events): (Vec<HorseId>, Vec<EventId>) =
        stood.map(|word| (word.horse.id, word.event)).unzip();
    let mut known: HashMap<EventId, Vec<NoticeRow>> = HashMap::new();
    if events.is_empty() {
        return Ok(known);
    }
    for row in notices::about(db, &horses, &events)? {
        if !row.held {
            known.entry(row.event_id).or_default().push(row);
        }
    }
    Ok(known)
}

/// Tells the owners that one of them decided on a held record.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn settle(
    db: &mut Db,
    horse: HorseId,
    event: EventId,
    by: AccountId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let now = now.naive_utc().trunc_subsecs(6);
    for row in notices::about(db, &[horse], &[event])? {
        if row.held {
            notices::change(db, &turned(&row, row.topic, State::Settled, now))?;
            if row.account_id == by {
                notices::mark_read(db, by, Some(row.id), now, now)?;
            }
        }
    }
    Ok(())
}

/// A notice in another state.
fn turned(row: &NoticeRow, topic: Topic, state: State, now: NaiveDateTime) -> NoticeRow {
    NoticeRow {
        topic,
        state,
        version: row.version + 1,
        changed_at: now,
        read_at: None,
        ..row.clone()
    }
}

/// A notice's id follows from whom it tells of what, so that the same can't be told twice.
fn id(event: EventId, account: AccountId, held: bool) -> NoticeId {
    let parts: [&[u8]; 4] = [
        b"whorl/notice/1\0",
        event.0.as_bytes(),
        account.0.as_bytes(),
        &[u8::from(held)],
    ];
    of_parts(&parts).into()
}

/// An id that follows from what it is the id of.
fn of_parts(parts: &[&[u8]]) -> Uuid {
    let hash = Hash::of(parts);
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash.0[..16]);
    uuid::Builder::from_custom_bytes(bytes).into_uuid()
}
