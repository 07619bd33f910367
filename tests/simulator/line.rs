//! The line between a client and the server: what is sent over it gets lost, doubled, delayed or cut, and while it is
//! under way others go on.

use std::collections::BTreeSet;

use chrono::DateTime;
use serde_json::Value;
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::Role;
use whorl_cli::failure::Failure;
use whorl_cli::sync::Ledger;
use whorl_contract::barn::Barn;
use whorl_contract::event::VOCABULARY;
use whorl_contract::grant::Grant;
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::licence::Licence;
use whorl_contract::problem::Kind as Problems;
use whorl_contract::server::{Limits, ServerInfo};
use whorl_contract::sync::{Heads, Outcome, Pull, Pulled, Push, Pushed, Run};

use crate::fault::Fault;
use crate::random::Random;
use crate::server::{Server, problem};

/// What becomes of one call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Arrives,
    /// Neither the request nor an answer comes through.
    RequestLost,
    /// The answer is lost, or cut in its middle, which a client can't read either.
    AnswerLost,
    /// The request arrives twice; the second answer comes.
    Doubled,
    /// The request arrives much later, when nobody waits for it any more.
    Delayed,
    /// The server stops before it has done anything …
    StopsBefore,
    /// … or before its answer is out.
    StopsAfter,
    /// The server can't right now.
    Unavailable,
    /// Somebody on the way changes what comes.
    Forged,
}

/// What a client heard, over all its calls.
#[derive(Default)]
pub(crate) struct Heard {
    /// Events that it was told are in the log.
    pub(crate) acknowledged: BTreeSet<EventId>,
    /// Events that left the device, whatever came back.
    pub(crate) sent: BTreeSet<EventId>,
    /// The horses that the last answer named.
    pub(crate) named: Option<BTreeSet<HorseId>>,
    /// Whether anything was forged since this was last cleared.
    pub(crate) forged: bool,
    /// The runs that came.
    pub(crate) runs: Vec<Run>,
    /// What became of each call, for people.
    pub(crate) told: Vec<String>,
}

pub(crate) struct Line<'a> {
    pub(crate) server: &'a mut Server,
    pub(crate) random: &'a mut Random,
    pub(crate) heard: &'a mut Heard,
    pub(crate) account: AccountId,
    pub(crate) device: DeviceId,
    /// Whether anything goes wrong.
    pub(crate) foul: bool,
    /// Whether it is dead until the next sync.
    pub(crate) down: bool,
}

fn dead() -> Failure {
    Failure::Offline("the line is dead".to_owned())
}

impl Line<'_> {
    fn fate(&mut self, call: &str) -> Result<Fate, Failure> {
        let fate = self.fated();
        let what = fate
            .as_ref()
            .map_or_else(ToString::to_string, |fate| format!("{fate:?}"));
        self.heard.told.push(format!("{call}: {what}"));
        fate
    }

    fn fated(&mut self) -> Result<Fate, Failure> {
        if self.server.disk.revoked.contains(&self.device) {
            let why = Box::new(problem(Problems::Unauthenticated));
            return Err(Failure::Refused("signed out".to_owned(), Some(why)));
        }
        if !self.foul {
            return Ok(Fate::Arrives);
        }
        if self.down {
            return Err(dead());
        }
        if self.random.once_in(12) {
            self.meanwhile();
        }
        let fate = match self.random.below(40) {
            0..2 => Fate::RequestLost,
            2..6 => Fate::AnswerLost,
            6..9 => Fate::Doubled,
            9..13 => Fate::Delayed,
            13 => Fate::StopsBefore,
            14 => Fate::StopsAfter,
            15 => Fate::Unavailable,
            16 => Fate::Forged,
            _ => Fate::Arrives,
        };
        match fate {
            Fate::RequestLost => Err(dead()),
            Fate::StopsBefore => {
                self.server.crash();
                Err(dead())
            }
            Fate::Unavailable => {
                let why = Box::new(problem(Problems::Unavailable));
                Err(Failure::Refused("not now".to_owned(), Some(why)))
            }
            other => Ok(other),
        }
    }

    /// Others go on while a request is under way.
    fn meanwhile(&mut self) {
        let hand = self.server.cast.devices[2 + self.random.below(2)].account;
        let horse = *self.random.pick(&self.server.cast.horses);
        let told = match self.random.below(4) {
            0 => {
                self.server.grant(hand, horse);
                format!("meanwhile {hand} is granted {horse}")
            }
            1 => {
                self.server.revoke(hand, horse);
                format!("meanwhile {hand} loses {horse}")
            }
            2 => {
                self.server.deliver();
                "meanwhile late requests arrive".to_owned()
            }
            _ => {
                self.server.back_up();
                "meanwhile a backup is made".to_owned()
            }
        };
        self.heard.told.push(told);
    }

    /// The answer, unless it gets lost.
    fn answer<T>(&mut self, fate: Fate, answer: T) -> Result<T, Failure> {
        match fate {
            Fate::AnswerLost => Err(dead()),
            Fate::StopsAfter => {
                self.server.crash();
                Err(dead())
            }
            _ => Ok(answer),
        }
    }

    fn hear(&mut self, ids: &[EventId], pushed: &Pushed) {
        for (id, outcome) in ids.iter().zip(&pushed.outcomes) {
            if matches!(outcome, Outcome::Accepted { .. } | Outcome::Known { .. }) {
                self.heard.acknowledged.insert(*id);
            }
        }
    }
}

impl Ledger for Line<'_> {
    fn push(&mut self, push: &Push) -> Result<Pushed, Failure> {
        let ids = push.events.iter();
        let ids: Vec<EventId> = ids
            .map(|event| event.open().expect("genuine").envelope.id)
            .collect();
        self.heard.sent.extend(&ids);
        let fate = self.fate("push")?;
        if fate == Fate::Delayed {
            // It lies somewhere on the way: sent once more by a line that works, it would be known when it comes.
            self.down = true;
            self.server.delay(self.account, push.events.clone());
            return Err(dead());
        }
        if fate == Fate::Doubled {
            let _ = self.server.push(self.account, &push.events);
        }
        let pushed = self.server.push(self.account, &push.events);
        let pushed = pushed.ok_or_else(|| Failure::ServerFailed("it failed".to_owned()))?;
        let pushed = self.answer(fate, pushed)?;
        self.hear(&ids, &pushed);
        Ok(pushed)
    }

    fn heads(&mut self, tag: Option<&str>) -> Result<Option<(Heads, Option<String>)>, Failure> {
        let fate = self.fate("heads")?;
        let heads = self.server.heads(self.account);
        let now = format!("{heads:?}");
        let heads = self.answer(fate, heads)?;
        if tag == Some(now.as_str()) {
            return Ok(None);
        }
        self.heard.named = Some(heads.heads.iter().map(|head| head.horse_id).collect());
        Ok(Some((heads, Some(now))))
    }

    fn pull(&mut self, pull: &Pull) -> Result<Pulled, Failure> {
        let fate = self.fate("pull")?;
        let mut wants = pull.clone();
        if self.server.fault == Some(Fault::ShowsWhatIsNotTheirs) {
            let all = self.server.cast.horses.iter();
            wants.wants = all
                .map(|&horse_id| whorl_contract::sync::Want { horse_id, after: 0 })
                .collect();
        }
        let mut pulled = self.server.pull(self.account, &wants);
        for run in &pulled.runs {
            let sees = self
                .server
                .disk
                .sees(&self.server.cast, self.account, run.horse_id);
            if !sees && self.server.broken.is_none() {
                self.server.broken = Some("somebody was shown what is not theirs".to_owned());
            }
        }
        if fate == Fate::Forged {
            self.heard.forged |= forge(&mut pulled, self.random);
        }
        let pulled = self.answer(fate, pulled)?;
        self.heard.runs.extend(pulled.runs.iter().cloned());
        Ok(pulled)
    }

    fn open_horse(&mut self, _: &NewHorse) -> Result<(), Failure> {
        let fate = self.fate("open horse")?;
        self.answer(fate, ())
    }

    fn upload(&mut self, _: HorseId, _: &str, _: Vec<u8>) -> Result<(), Failure> {
        let fate = self.fate("upload")?;
        self.answer(fate, ())
    }

    fn horses(&mut self) -> Result<Vec<Horse>, Failure> {
        let fate = self.fate("horses")?;
        let owner_id = self.server.cast.owner;
        let heads = self.server.heads(self.account).heads;
        let horses = heads.into_iter().map(|head| Horse {
            id: head.horse_id,
            barn_id: Uuid::from_u128(0x20).into(),
            owner_id,
            roles: Vec::new(),
            kinds: Vec::new(),
            seq: head.seq,
            handling: None,
            profile: whorl_care::horse::Horse::default(),
            created_at: DateTime::UNIX_EPOCH,
        });
        self.answer(fate, horses.collect())
    }

    fn barns(&mut self) -> Result<Vec<Barn>, Failure> {
        let fate = self.fate("barns")?;
        self.answer(fate, Vec::new())
    }

    fn policy(&mut self) -> Result<Value, Failure> {
        let fate = self.fate("policy")?;
        self.answer(fate, Value::Null)
    }

    fn licences(&mut self) -> Result<Vec<Licence>, Failure> {
        let fate = self.fate("licences")?;
        self.answer(fate, Vec::new())
    }

    fn grants(&mut self) -> Result<Vec<Grant>, Failure> {
        let fate = self.fate("grants")?;
        let own = self.server.disk.grants.iter();
        let own = own.filter(|grant| grant.account == self.account);
        let grants: Vec<Grant> = own
            .map(|grant| Grant {
                id: Uuid::nil().into(),
                account_id: grant.account,
                account_name: "a hand".to_owned(),
                role: Role::BarnStaff,
                horse_id: Some(grant.horse),
                barn_id: None,
                from: grant.from,
                until: None,
                kinds: None,
                granted_by: self.server.cast.owner,
                created_at: grant.from,
                revoked_at: grant.revoked_at,
            })
            .collect();
        self.answer(fate, grants)
    }

    fn server(&mut self) -> Result<ServerInfo, Failure> {
        let fate = self.fate("server")?;
        let info = ServerInfo {
            name: "saltmarsh.example".to_owned(),
            version: String::new(),
            vocabulary: VOCABULARY,
            epoch: self.server.epoch,
            key: self.server.key.public(),
            handovers: Vec::new(),
            time: self.server.now,
            limits: Limits {
                events_per_push: 1000,
                events_per_pull: 1000,
                body_bytes: 4_000_000,
                attachment_bytes: 16_000_000,
            },
        };
        self.answer(fate, info)
    }
}

/// Changes a page so that it says something else; answers whether there was anything to change.
fn forge(pulled: &mut Pulled, random: &mut Random) -> bool {
    let Some(run) = pulled.runs.first_mut() else {
        return false;
    };
    let last = run.events.len() - 1;
    match random.below(3) {
        // An entry is left out, and the others move up.
        0 if last > 0 => {
            let at = random.below(last);
            run.events.remove(at);
            for event in &mut run.events[at..] {
                event.seq -= 1;
            }
        }
        1 if last > 0 => run.events.swap(0, last),
        _ => {
            let text = run.events[last]
                .content
                .as_ref()
                .map_or("", |text| text.get());
            let other = text.replacen("weight_kg\":", "weight_kg\":1", 1);
            run.events[last].content =
                Some(serde_json::value::RawValue::from_string(other).expect("JSON"));
        }
    }
    true
}
