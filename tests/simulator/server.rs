//! A server in memory that keeps its promises, unless it is told to break one, and holds itself to them after each
//! call. `agreement.rs` holds it to the real one.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_contract::chain;
use whorl_contract::event::{LoggedEvent, Opened, SignedEvent};
use whorl_contract::key::{Hash, SecretKey};
use whorl_contract::note::Head;
use whorl_contract::problem::{Kind as Problems, Problem};
use whorl_contract::sync::{
    HeadInfo, Heads, Outcome, Pull, Pulled, Pushed, Run, SignedHead, Signer,
};

use crate::cast::{Cast, Device, beginning};
use crate::fault::Fault;

/// How far a device's clock may run ahead.
const AHEAD: TimeDelta = TimeDelta::hours(24);
/// Small pages, so that a few events make several.
const PAGE: usize = 4;

/// A grant of one horse.
#[derive(Clone, Debug)]
pub(crate) struct Grant {
    pub(crate) account: AccountId,
    pub(crate) horse: HorseId,
    pub(crate) from: DateTime<Utc>,
    pub(crate) revoked_at: Option<DateTime<Utc>>,
}

/// An entry of a log.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) seq: i64,
    pub(crate) id: EventId,
    author: AccountId,
    device: DeviceId,
    recorded_at: DateTime<Utc>,
    pub(crate) leaf: Hash,
    head: Hash,
    event: SignedEvent,
    /// Whether it corrects another; what does can't be corrected itself.
    corrects: bool,
    /// Entered since the owner accepted it, whatever grants say.
    accepted: bool,
}

/// What waits for the owner.
#[derive(Clone, Debug)]
struct Held {
    event: SignedEvent,
    leaf: Hash,
    accepted: Option<bool>,
}

/// Everything that a backup holds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Disk {
    pub(crate) logs: BTreeMap<HorseId, Vec<Entry>>,
    held: BTreeMap<EventId, Held>,
    pub(crate) grants: Vec<Grant>,
    pub(crate) revoked: BTreeSet<DeviceId>,
}

/// A request that is still under way though its sender has given up.
struct Late {
    account: AccountId,
    events: Vec<SignedEvent>,
    grants: Vec<Grant>,
}

pub(crate) struct Server {
    pub(crate) cast: Cast,
    pub(crate) key: SecretKey,
    pub(crate) now: DateTime<Utc>,
    pub(crate) epoch: Uuid,
    pub(crate) disk: Disk,
    /// What is durable, where that isn't everything.
    durable: Disk,
    lagging: Disk,
    backup: Disk,
    late: Vec<Late>,
    /// Events that it fails on.
    pub(crate) poison: BTreeSet<EventId>,
    /// Events that a restore took out of the logs.
    pub(crate) dropped: Vec<EventId>,
    /// Every head that a log ever had, with its place.
    pub(crate) ever: BTreeSet<(HorseId, i64, Hash)>,
    audited: BTreeMap<HorseId, Vec<Hash>>,
    pub(crate) fault: Option<Fault>,
    /// The first promise that was broken.
    pub(crate) broken: Option<String>,
}

impl Server {
    pub(crate) fn new(cast: Cast, fault: Option<Fault>) -> Self {
        let mut disk = Disk::default();
        for horse in &cast.horses {
            disk.logs.insert(*horse, Vec::new());
        }
        Self {
            cast,
            key: SecretKey::from_seed(&[99; 32]),
            now: beginning(),
            epoch: Uuid::from_u128(1),
            durable: disk.clone(),
            lagging: disk.clone(),
            backup: disk.clone(),
            disk,
            late: Vec::new(),
            poison: BTreeSet::new(),
            dropped: Vec::new(),
            ever: BTreeSet::new(),
            audited: BTreeMap::new(),
            fault,
            broken: None,
        }
    }

    fn has(&self, fault: Fault) -> bool {
        self.fault == Some(fault)
    }

    // What people do.

    pub(crate) fn grant(&mut self, account: AccountId, horse: HorseId) {
        if !self.disk.sees(&self.cast, account, horse) {
            self.disk.grants.push(Grant {
                account,
                horse,
                from: self.now,
                revoked_at: None,
            });
        }
    }

    pub(crate) fn revoke(&mut self, account: AccountId, horse: HorseId) {
        let now = self.now;
        for grant in &mut self.disk.grants {
            if (grant.account, grant.horse) == (account, horse) && grant.revoked_at.is_none() {
                grant.revoked_at = Some(now);
            }
        }
    }

    pub(crate) fn revoke_device(&mut self, device: DeviceId) {
        self.disk.revoked.insert(device);
    }

    /// What waits for the owner's word.
    pub(crate) fn undecided(&self) -> Vec<EventId> {
        let held = self.disk.held.iter();
        held.filter(|(_, held)| held.accepted.is_none())
            .map(|(id, _)| *id)
            .collect()
    }

    pub(crate) fn is_declined(&self, id: EventId) -> bool {
        let held = self.disk.held.get(&id);
        held.is_some_and(|held| held.accepted == Some(false))
    }

    pub(crate) fn is_held(&self, id: EventId) -> bool {
        self.disk.held.contains_key(&id)
    }

    /// The owner's word. What can't enter (its device was revoked since, what it corrects isn't there) goes on waiting.
    pub(crate) fn decide(&mut self, id: EventId, accept: bool) {
        let Some(held) = self.disk.held.get_mut(&id) else {
            return;
        };
        if !accept {
            held.accepted = Some(false);
            return;
        }
        let event = held.event.clone();
        let opened = event.open().expect("genuine");
        let horse = opened.envelope.horse_id;
        let fits = self.signer(opened.envelope.device_id).is_some()
            && opened.envelope.recorded_at.to_utc() <= self.now + AHEAD
            && opened.envelope.target_id.is_none_or(|target| {
                self.disk.logs[&horse]
                    .iter()
                    .any(|entry| entry.id == target && !entry.corrects)
            });
        if !fits {
            return;
        }
        if let Some(held) = self.disk.held.get_mut(&id) {
            held.accepted = Some(true);
        }
        self.enter(&event, &opened, true);
        self.audit();
    }

    // What befalls it.

    pub(crate) fn back_up(&mut self) {
        self.backup = self.disk.clone();
    }

    pub(crate) fn restore(&mut self, announced: bool) {
        let before = self.disk.everything();
        self.disk = self.backup.clone();
        let after = self.disk.everything();
        self.dropped.extend(before.difference(&after));
        self.durable = self.disk.clone();
        self.lagging = self.disk.clone();
        // What a backup holds entered before it was made, and was looked at then: by the grants of then.
        let logs = self.disk.logs.iter();
        self.audited = logs
            .map(|(horse, log)| (*horse, log.iter().map(|entry| entry.head).collect()))
            .collect();
        if announced && !self.has(Fault::HidesThatItWasRestored) {
            self.epoch = Uuid::from_u128(self.epoch.as_u128() + 1);
        }
        self.audit();
    }

    pub(crate) fn crash(&mut self) {
        if self.has(Fault::AnswersBeforeItCommits) {
            self.disk = self.durable.clone();
            self.audited.clear();
        }
    }

    /// Time passes; what was written reaches the disk, and the copies.
    pub(crate) fn pass(&mut self, by: TimeDelta, calm: bool) {
        self.now += by;
        if calm && self.has(Fault::AnswersBeforeItCommits) {
            self.durable = self.disk.clone();
        }
        if calm && self.has(Fault::ReadsFromALaggingCopy) {
            self.lagging = self.disk.clone();
        }
    }

    /// Lets a request arrive later.
    pub(crate) fn delay(&mut self, account: AccountId, events: Vec<SignedEvent>) {
        let grants = self.disk.grants.clone();
        self.late.push(Late {
            account,
            events,
            grants,
        });
    }

    /// Whose request is under way, and a horse that it is about.
    pub(crate) fn under_way(&self) -> Option<(AccountId, HorseId)> {
        let late = self.late.last()?;
        let event = late.events.first()?.open().expect("genuine");
        Some((late.account, event.envelope.horse_id))
    }

    /// Requests arrive that nobody waits for any more.
    pub(crate) fn deliver(&mut self) {
        for late in std::mem::take(&mut self.late) {
            let grants = self
                .has(Fault::LooksAtGrantsOutsideTheLock)
                .then_some(late.grants);
            // Nobody hears the answer.
            let _ = self.push_by(late.account, &late.events, grants);
        }
    }

    // What it answers.

    /// None: it fails on something in the batch.
    pub(crate) fn push(&mut self, account: AccountId, events: &[SignedEvent]) -> Option<Pushed> {
        self.push_by(account, events, None)
    }

    fn push_by(
        &mut self,
        account: AccountId,
        events: &[SignedEvent],
        grants: Option<Vec<Grant>>,
    ) -> Option<Pushed> {
        let opened: Vec<Opened> = events
            .iter()
            .map(|event| event.open().expect("genuine"))
            .collect();
        let mut ids = opened.iter().map(|opened| opened.envelope.id);
        if ids.any(|id| self.poison.contains(&id)) {
            return None;
        }
        let before = grants.map(|then| std::mem::replace(&mut self.disk.grants, then));
        let mut horses = BTreeSet::new();
        let mut outcomes = Vec::new();
        for (event, opened) in events.iter().zip(&opened) {
            horses.insert(opened.envelope.horse_id);
            outcomes.push(self.take(account, event, opened));
        }
        if let Some(now) = before {
            self.disk.grants = now;
        }
        horses.retain(|horse| self.disk.sees(&self.cast, account, *horse));
        let heads = horses.into_iter().map(|horse| self.signed_head(horse));
        let pushed = Pushed {
            epoch: self.epoch,
            outcomes,
            heads: heads.collect(),
        };
        self.audit();
        Some(pushed)
    }

    fn signed_head(&self, horse_id: HorseId) -> SignedHead {
        let log = &self.disk.logs[&horse_id];
        let head = Head {
            server: "saltmarsh.example".to_owned(),
            horse_id,
            seq: place(log.len()),
            head: head_of(horse_id, log),
            epoch: self.epoch,
            at: self.now,
        };
        SignedHead {
            horse_id,
            note: head.sign(&self.key),
        }
    }

    fn signer(&self, id: DeviceId) -> Option<&Device> {
        let revoked = self.disk.revoked.contains(&id);
        self.cast.device(id).filter(|_| !revoked)
    }

    fn take(&mut self, pusher: AccountId, event: &SignedEvent, opened: &Opened) -> Outcome {
        let envelope = &opened.envelope;
        let (id, horse, author) = (envelope.id, envelope.horse_id, envelope.author_id);
        let visible = self.disk.sees(&self.cast, pusher, horse);
        if let Some(entry) = self.disk.find(id)
            && !self.has(Fault::KnowsNoRepetition)
        {
            let seq = entry.seq;
            return if !visible && pusher != entry.author {
                refusal(Problems::NoGrant)
            } else if entry.leaf == opened.leaf || self.has(Fault::TakesAnyBodyForAKnownId) {
                if self.has(Fault::CountsBeforeItLooks)
                    && let Some(log) = self.disk.logs.get_mut(&horse)
                    && let Some(last) = log.last_mut()
                {
                    last.seq += 1;
                }
                Outcome::Known { seq }
            } else {
                refusal(Problems::SameIdOtherBody)
            };
        }
        if let Some(held) = self.disk.held.get(&id)
            && !self.has(Fault::KnowsNoRepetition)
        {
            return match (held.leaf == opened.leaf, held.accepted) {
                (true, Some(false)) => refusal(Problems::NoGrant),
                (true, _) => Outcome::Held,
                (false, _) => refusal(Problems::SameIdOtherBody),
            };
        }
        if author != pusher && !visible {
            return refusal(Problems::NoGrant);
        }
        if self.signer(envelope.device_id).is_none() {
            return refusal(Problems::DeviceRefused);
        }
        let at = envelope.recorded_at.to_utc();
        let may = self.disk.sees(&self.cast, author, horse);
        if !may && !self.disk.covered(author, horse, at) {
            return refusal(Problems::NoGrant);
        }
        let log = &self.disk.logs[&horse];
        let target = |id| log.iter().any(|entry| entry.id == id && !entry.corrects);
        if !envelope.target_id.is_none_or(target) || at > self.now + AHEAD {
            return refusal(Problems::Invalid);
        }
        if may {
            return Outcome::Accepted {
                seq: self.enter(event, opened, false),
            };
        }
        let held = Held {
            event: event.clone(),
            leaf: opened.leaf,
            accepted: None,
        };
        self.disk.held.insert(id, held);
        if self.has(Fault::AcknowledgesWhatItHolds) {
            return Outcome::Accepted { seq: 1 };
        }
        Outcome::Held
    }

    fn enter(&mut self, event: &SignedEvent, opened: &Opened, accepted: bool) -> i64 {
        let envelope = &opened.envelope;
        let horse = envelope.horse_id;
        let mut event = event.clone();
        if self.has(Fault::DropsUnknownFields) {
            let known = serde_json::from_str(event.envelope.get());
            let mut known: whorl_contract::event::Envelope = known.expect("an envelope");
            known.other.clear();
            event.envelope = serde_json::value::to_raw_value(&known).expect("JSON");
        }
        let log = self.disk.logs.entry(horse).or_default();
        let before = head_of(horse, log);
        let seq = log.last().map_or(0, |last| last.seq) + 1;
        log.push(Entry {
            seq,
            id: envelope.id,
            author: envelope.author_id,
            device: envelope.device_id,
            recorded_at: envelope.recorded_at.to_utc(),
            leaf: opened.leaf,
            head: chain::next(&before, &opened.leaf),
            event,
            corrects: envelope.target_id.is_some(),
            accepted,
        });
        seq
    }

    pub(crate) fn heads(&self, account: AccountId) -> Heads {
        let disk = if self.has(Fault::ReadsFromALaggingCopy) {
            &self.lagging
        } else {
            &self.disk
        };
        let visible = disk.logs.iter();
        let visible = visible.filter(|(horse, _)| self.disk.sees(&self.cast, account, **horse));
        let heads = visible.map(|(&horse_id, log)| HeadInfo {
            horse_id,
            seq: place(log.len()),
            head: head_of(horse_id, log),
        });
        Heads {
            epoch: self.epoch,
            heads: heads.collect(),
        }
    }

    pub(crate) fn pull(&self, account: AccountId, pull: &Pull) -> Pulled {
        let mut left = pull.limit.map_or(PAGE, |limit| PAGE.min(limit as usize));
        let mut pulled = Pulled {
            epoch: self.epoch,
            runs: Vec::new(),
            signers: self.signers(),
            more: false,
        };
        for want in &pull.wants {
            let horse = want.horse_id;
            let sees = self.disk.sees(&self.cast, account, horse);
            if !sees && !self.has(Fault::ShowsWhatIsNotTheirs) {
                continue;
            }
            let mut log = self.disk.logs[&horse].clone();
            if self.has(Fault::OrdersByTime) {
                log.sort_by_key(|entry| entry.recorded_at);
            }
            let after = usize::try_from(want.after).expect("a place");
            let mut rest = log.get(after..).unwrap_or_default();
            if self.has(Fault::SkipsAtThePageBreak) && after > 0 && rest.len() > 1 {
                rest = &rest[1..];
            }
            let page = &rest[..rest.len().min(left)];
            left -= page.len();
            let more = page.len() < rest.len();
            pulled.more |= more;
            if let Some(last) = page.last() {
                pulled.runs.push(Run {
                    horse_id: horse,
                    events: page.iter().map(|entry| entry.shown(self.now)).collect(),
                    kinds: Vec::new(),
                    head: last.head,
                    more,
                });
            }
        }
        pulled
    }

    fn signers(&self) -> Vec<Signer> {
        let devices = self.cast.devices.iter();
        let signers = devices.map(|device| Signer {
            device_id: device.id,
            public_key: device.key.public(),
            account_id: device.account,
            name: "somebody".to_owned(),
        });
        signers.collect()
    }

    /// I2, I3, I5, I8 hold for every log; what is new since the last look came from somebody who may.
    pub(crate) fn audit(&mut self) {
        let mut ids = BTreeSet::new();
        for (horse, log) in &self.disk.logs {
            let seen = self.audited.entry(*horse).or_default();
            let mut head = chain::start(*horse);
            for (n, entry) in log.iter().enumerate() {
                head = chain::next(&head, &entry.leaf);
                let sound = entry.seq == place(n + 1) && entry.head == head;
                let once = ids.insert(entry.id);
                let same = seen.get(n).is_none_or(|before| *before == head);
                let may = n < seen.len() || entry.accepted || {
                    self.disk.sees(&self.cast, entry.author, *horse)
                        && !self.disk.revoked.contains(&entry.device)
                };
                for (holds, promise) in [
                    (
                        sound,
                        "I2: places follow each other and the chain leads through them",
                    ),
                    (once, "I3: an event has one place"),
                    (same, "I5: what has a place keeps it"),
                    (may, "I8: nothing enters after a revocation"),
                ] {
                    if !holds && self.broken.is_none() {
                        self.broken = Some(format!("{promise}: entry {} of {horse}", n + 1));
                    }
                }
                if n >= seen.len() {
                    seen.push(head);
                    self.ever.insert((*horse, place(n + 1), head));
                }
            }
            if log.len() < seen.len() && self.broken.is_none() {
                self.broken = Some(format!("I5: the log of {horse} got shorter"));
            }
        }
    }
}

impl Disk {
    /// Whether somebody may see and record on a horse now.
    pub(crate) fn sees(&self, cast: &Cast, account: AccountId, horse: HorseId) -> bool {
        let granted = |grant: &Grant| {
            (grant.account, grant.horse) == (account, horse) && grant.revoked_at.is_none()
        };
        account == cast.owner || self.grants.iter().any(granted)
    }

    fn covered(&self, account: AccountId, horse: HorseId, at: DateTime<Utc>) -> bool {
        self.grants.iter().any(|grant| {
            (grant.account, grant.horse) == (account, horse)
                && grant.from <= at
                && grant.revoked_at.is_none_or(|end| at < end)
        })
    }

    pub(crate) fn find(&self, id: EventId) -> Option<&Entry> {
        self.logs.values().flatten().find(|entry| entry.id == id)
    }

    /// What is in a log or waits for the owner.
    fn everything(&self) -> BTreeSet<EventId> {
        let logged = self.logs.values().flatten().map(|entry| entry.id);
        logged.chain(self.held.keys().copied()).collect()
    }
}

impl Entry {
    /// The entry as a pull gives it.
    fn shown(&self, now: DateTime<Utc>) -> LoggedEvent {
        LoggedEvent {
            seq: self.seq,
            received_at: now,
            envelope: Some(self.event.envelope.clone()),
            content: Some(self.event.content.clone()),
            salt: Some(self.event.salt),
            signature: Some(self.event.signature),
            leaf: None,
        }
    }
}

/// The head of a log.
pub(crate) fn head_of(horse: HorseId, log: &[Entry]) -> Hash {
    log.last()
        .map_or_else(|| chain::start(horse), |last| last.head)
}

pub(crate) fn place(index: usize) -> i64 {
    i64::try_from(index).expect("a place")
}

fn refusal(kind: Problems) -> Outcome {
    Outcome::Refused {
        problem: Box::new(problem(kind)),
    }
}

pub(crate) fn problem(kind: Problems) -> Problem {
    Problem {
        kind,
        title: kind.title().to_owned(),
        status: 403,
        detail: None,
        instance: None,
        policy_row: None,
        errors: Vec::new(),
    }
}
