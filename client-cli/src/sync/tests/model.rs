//! A server in memory, as simple as the promise that it makes, on a line that fails when told to.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use chrono::{DateTime, Utc};
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::barn::Barn;
use whorl_contract::chain;
use whorl_contract::event::{Content, Envelope, LoggedEvent, SignedEvent, VOCABULARY};
use whorl_contract::grant::Grant;
use whorl_contract::handover::Handover;
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::key::{Hash, PublicKey, Salt, SecretKey};
use whorl_contract::licence::Licence;
use whorl_contract::note::Head;
use whorl_contract::problem::{Kind as Problems, Problem};
use whorl_contract::server::{Limits, ServerInfo};
use whorl_contract::sync::{
    HeadInfo, Heads, Outcome, Pull, Pulled, Push, Pushed, Run, SignedHead, Signer,
};

use super::super::Ledger;
use crate::failure::Failure;

/// What the line does to one call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Line {
    /// Nothing.
    Good,
    /// The request doesn't arrive.
    LosesRequest,
    /// The request arrives, its answer doesn't.
    LosesAnswer,
}

/// Everything that the server would lose if it went back to a backup.
#[derive(Clone, Debug, Default)]
pub(super) struct Disk {
    pub(super) logs: BTreeMap<HorseId, Vec<SignedEvent>>,
}

pub(super) struct Model {
    pub(super) epoch: Uuid,
    pub(super) disk: Disk,
    pub(super) key: SecretKey,
    /// The key that it shows as its own.
    pub(super) shown_key: PublicKey,
    pub(super) handovers: Vec<Handover>,
    pub(super) clock: DateTime<Utc>,
    pub(super) grants: Vec<Grant>,
    pub(super) signers: BTreeMap<DeviceId, Signer>,
    /// Horses that the account may not see.
    pub(super) hidden: BTreeSet<HorseId>,
    /// Horses that are announced, and of which nothing is given.
    pub(super) withheld: BTreeSet<HorseId>,
    /// As many entries as it gives at once: small, so that a few make several pages.
    pub(super) page: usize,
    /// Kinds that come as bare leaves.
    pub(super) sealed: bool,
    pub(super) refuses: BTreeSet<EventId>,
    pub(super) line: VecDeque<Line>,
    /// Events that were acknowledged, ever.
    pub(super) acknowledged: BTreeSet<EventId>,
    pub(super) pushes: usize,
    /// What others do between the heads and the description of the herd.
    pub(super) meanwhile: Option<fn(&mut Self)>,
}

fn lost() -> Failure {
    Failure::Offline("the line is dead".to_owned())
}

impl Model {
    pub(super) fn new() -> Self {
        Self {
            epoch: Uuid::from_u128(1),
            disk: Disk::default(),
            key: SecretKey::from_seed(&[9; 32]),
            shown_key: SecretKey::from_seed(&[9; 32]).public(),
            handovers: Vec::new(),
            clock: DateTime::UNIX_EPOCH,
            grants: Vec::new(),
            signers: BTreeMap::new(),
            hidden: BTreeSet::new(),
            withheld: BTreeSet::new(),
            page: 3,
            sealed: false,
            refuses: BTreeSet::new(),
            line: VecDeque::new(),
            acknowledged: BTreeSet::new(),
            pushes: 0,
            meanwhile: None,
        }
    }

    /// The horses that the account may see.
    fn visible(&self) -> Vec<HorseId> {
        let all = self.disk.logs.keys();
        all.filter(|horse| !self.hidden.contains(horse))
            .copied()
            .collect()
    }

    pub(super) fn know(&mut self, device: DeviceId, account: AccountId, key: PublicKey) {
        let signer = Signer {
            device_id: device,
            public_key: key,
            account_id: account,
            name: "somebody".to_owned(),
        };
        self.signers.insert(device, signer);
    }

    /// Another person records something.
    pub(super) fn somebody_records(&mut self, horse: HorseId, n: u128) {
        let key = SecretKey::from_seed(&[5; 32]);
        let (account, device) = (
            AccountId(Uuid::from_u128(77)),
            DeviceId(Uuid::from_u128(78)),
        );
        self.know(device, account, key.public());
        let event = signed(horse, n, account, device, &key);
        self.disk.logs.entry(horse).or_default().push(event);
    }

    /// The line's mood for the next call; answers whether its answer gets lost.
    fn line(&mut self) -> Result<bool, Failure> {
        match self.line.pop_front().unwrap_or(Line::Good) {
            Line::Good => Ok(false),
            Line::LosesAnswer => Ok(true),
            Line::LosesRequest => Err(lost()),
        }
    }

    pub(super) fn heads_of(&self, horse: HorseId) -> Vec<Hash> {
        let mut heads = vec![chain::start(horse)];
        for event in self.disk.logs.get(&horse).into_iter().flatten() {
            let leaf = event.open().expect("genuine").leaf;
            heads.push(chain::next(&heads[heads.len() - 1], &leaf));
        }
        heads
    }

    fn take(&mut self, event: &SignedEvent) -> Outcome {
        let opened = event.open().expect("genuine");
        let (id, horse) = (opened.envelope.id, opened.envelope.horse_id);
        let log = self.disk.logs.entry(horse).or_default();
        let seq = |n: usize| i64::try_from(n).expect("short");
        let known = log
            .iter()
            .position(|old| old.open().expect("genuine").envelope.id == id);
        if let Some(at) = known {
            if log[at].open().expect("genuine").leaf != opened.leaf {
                return refusal(Problems::SameIdOtherBody);
            }
            self.acknowledged.insert(id);
            return Outcome::Known { seq: seq(at + 1) };
        }
        if self.hidden.contains(&horse) || self.refuses.contains(&id) {
            return refusal(Problems::NoGrant);
        }
        log.push(event.clone());
        self.acknowledged.insert(id);
        Outcome::Accepted {
            seq: seq(log.len()),
        }
    }
}

fn refusal(kind: Problems) -> Outcome {
    Outcome::Refused {
        problem: Box::new(problem(kind)),
    }
}

pub(super) fn problem(kind: Problems) -> Problem {
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

/// Some grant.
pub(super) fn grant() -> Grant {
    Grant {
        id: Uuid::from_u128(60).into(),
        account_id: Uuid::from_u128(40).into(),
        account_name: "me".to_owned(),
        role: Role::Farrier,
        horse_id: None,
        barn_id: None,
        from: DateTime::UNIX_EPOCH,
        until: None,
        kinds: None,
        granted_by: Uuid::from_u128(77).into(),
        created_at: DateTime::UNIX_EPOCH,
        revoked_at: None,
    }
}

/// An event that weighs a horse.
pub(super) fn signed(
    horse: HorseId,
    n: u128,
    account: AccountId,
    device: DeviceId,
    key: &SecretKey,
) -> SignedEvent {
    let at = DateTime::UNIX_EPOCH.fixed_offset();
    let envelope = Envelope {
        id: EventId(Uuid::from_u128(n)),
        horse_id: horse,
        kind: Kind::Weight,
        vocabulary: VOCABULARY,
        performed_at: at,
        recorded_at: at,
        author_id: account,
        device_id: device,
        role: Role::Owner,
        provenance: Provenance::Recorded,
        visit_id: None,
        target_id: None,
        content_hash: Hash([0; 32]),
        other: serde_json::Map::new(),
    };
    let content = Content {
        performed_by: None,
        note: None,
        attachments: Vec::new(),
        details: serde_json::json!({"weight_kg": 500.0, "method": "scale"}),
    };
    let mut salt = [0; 32];
    salt[..16].copy_from_slice(&n.to_le_bytes());
    SignedEvent::sign(envelope, &content, Salt(salt), key).expect("signed")
}

impl Ledger for Model {
    fn push(&mut self, push: &Push) -> Result<Pushed, Failure> {
        self.pushes += 1;
        let answer_lost = self.line()?;
        let outcomes: Vec<Outcome> = push.events.iter().map(|event| self.take(event)).collect();
        let horses: BTreeSet<HorseId> = push
            .events
            .iter()
            .map(|event| event.open().expect("genuine").envelope.horse_id)
            .filter(|horse| !self.hidden.contains(horse))
            .collect();
        let heads = horses.into_iter().map(|horse_id| {
            let heads = self.heads_of(horse_id);
            let head = Head {
                server: "saltmarsh.example".to_owned(),
                horse_id,
                seq: i64::try_from(heads.len() - 1).expect("short"),
                head: heads[heads.len() - 1],
                epoch: self.epoch,
                at: DateTime::UNIX_EPOCH,
            };
            SignedHead {
                horse_id,
                note: head.sign(&self.key),
            }
        });
        let pushed = Pushed {
            epoch: self.epoch,
            outcomes,
            heads: heads.collect(),
        };
        if answer_lost { Err(lost()) } else { Ok(pushed) }
    }

    fn heads(&mut self, tag: Option<&str>) -> Result<Option<(Heads, Option<String>)>, Failure> {
        if self.line()? {
            return Err(lost());
        }
        let heads: Vec<HeadInfo> = self
            .visible()
            .into_iter()
            .map(|horse_id| {
                let heads = self.heads_of(horse_id);
                HeadInfo {
                    horse_id,
                    seq: i64::try_from(heads.len() - 1).expect("short"),
                    head: heads[heads.len() - 1],
                }
            })
            .collect();
        let now = format!("{:?}", (self.epoch, &heads));
        let unchanged = tag == Some(now.as_str());
        let epoch = self.epoch;
        Ok((!unchanged).then_some((Heads { epoch, heads }, Some(now))))
    }

    fn pull(&mut self, pull: &Pull) -> Result<Pulled, Failure> {
        if self.line()? {
            return Err(lost());
        }
        let limit = pull.limit.map(|limit| limit as usize);
        let mut left = limit.map_or(self.page, |limit| limit.min(self.page));
        let mut pulled = Pulled {
            epoch: self.epoch,
            runs: Vec::new(),
            signers: self.signers.values().cloned().collect(),
            more: false,
        };
        let given = |want: &&whorl_contract::sync::Want| !self.withheld.contains(&want.horse_id);
        for want in pull.wants.iter().filter(given) {
            let heads = self.heads_of(want.horse_id);
            let log = self
                .disk
                .logs
                .get(&want.horse_id)
                .map_or(&[][..], Vec::as_slice);
            let after = usize::try_from(want.after).expect("a place");
            let rest = log.get(after..).unwrap_or_default();
            let count = rest.len().min(left);
            left -= count;
            pulled.more |= count < rest.len();
            if count == 0 {
                continue;
            }
            let events = rest[..count]
                .iter()
                .enumerate()
                .map(|(n, event)| logged(after + n + 1, event, self.sealed));
            pulled.runs.push(Run {
                kinds: Vec::new(),
                horse_id: want.horse_id,
                events: events.collect(),
                head: heads[after + count],
                more: count < rest.len(),
            });
        }
        Ok(pulled)
    }

    fn open_horse(&mut self, horse: &NewHorse) -> Result<(), Failure> {
        let answer_lost = self.line()?;
        self.disk.logs.entry(horse.id).or_default();
        if answer_lost { Err(lost()) } else { Ok(()) }
    }

    fn upload(&mut self, _: HorseId, _: &str, _: Vec<u8>) -> Result<(), Failure> {
        if self.line()? { Err(lost()) } else { Ok(()) }
    }

    fn horses(&mut self) -> Result<Vec<Horse>, Failure> {
        if let Some(meanwhile) = self.meanwhile.take() {
            meanwhile(self);
        }
        let horses = self.visible().into_iter().map(|id| Horse {
            id,
            barn_id: Uuid::from_u128(30).into(),
            owner_id: AccountId(Uuid::from_u128(31)),
            roles: Vec::new(),
            kinds: Vec::new(),
            seq: 0,
            handling: None,
            profile: whorl_care::horse::Horse::default(),
            created_at: DateTime::UNIX_EPOCH,
        });
        Ok(horses.collect())
    }

    fn barns(&mut self) -> Result<Vec<Barn>, Failure> {
        Ok(Vec::new())
    }

    fn policy(&mut self) -> Result<serde_json::Value, Failure> {
        Ok(serde_json::Value::Null)
    }

    fn licences(&mut self) -> Result<Vec<Licence>, Failure> {
        Ok(Vec::new())
    }

    fn grants(&mut self) -> Result<Vec<Grant>, Failure> {
        Ok(self.grants.clone())
    }

    fn server(&mut self) -> Result<ServerInfo, Failure> {
        Ok(ServerInfo {
            name: "saltmarsh.example".to_owned(),
            version: String::new(),
            vocabulary: VOCABULARY,
            epoch: self.epoch,
            key: self.shown_key,
            handovers: self.handovers.clone(),
            time: self.clock,
            limits: Limits {
                events_per_push: 1000,
                events_per_pull: 1000,
                body_bytes: 4_000_000,
                attachment_bytes: 16_000_000,
            },
        })
    }
}

/// An entry as a pull gives it.
pub(super) fn logged(seq: usize, event: &SignedEvent, sealed: bool) -> LoggedEvent {
    let whole = LoggedEvent {
        seq: i64::try_from(seq).expect("short"),
        received_at: DateTime::UNIX_EPOCH,
        envelope: Some(event.envelope.clone()),
        content: Some(event.content.clone()),
        salt: Some(event.salt),
        signature: Some(event.signature),
        leaf: None,
    };
    if !sealed {
        return whole;
    }
    LoggedEvent {
        leaf: Some(whole.leaf().expect("a leaf")),
        envelope: None,
        content: None,
        salt: None,
        signature: None,
        ..whole
    }
}
