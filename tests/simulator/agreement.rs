//! Whether the simulator's server does what the real one does: the same requests go to both, and every answer is compared.

use std::collections::{BTreeMap, HashMap};

use chrono::TimeDelta;
use uuid::Uuid;
use whorl_care::ids::{AccountId, EventId, HorseId};
use whorl_care::kind::Role;
use whorl_contract::grant::Grant;
use whorl_contract::key::Hash;
use whorl_contract::path;
use whorl_contract::problem::Kind as Problems;
use whorl_contract::sync::{HeldDecision, Outcome, Pull, Pulled, Want};
use whorl_tests::ledger::{heads, pull, push};
use whorl_tests::yard::Yard;
use whorl_tests::{Person, TestServer, on_both};

use crate::cast::{Cast, Device, Note};
use crate::random::Random;
use crate::server::Server;

/// Requests of the story. With a second or two before each, a session lasts as long.
const STEPS: usize = 240;
/// As many entries as the model gives at once.
const PAGE: u32 = 4;

/// What an outcome says, without the words.
#[derive(Debug, PartialEq)]
enum Said {
    Accepted(i64),
    Known(i64),
    Held,
    Refused(Problems),
}

fn said(outcomes: Vec<Outcome>) -> Vec<Said> {
    let said = outcomes.into_iter().map(|outcome| match outcome {
        Outcome::Accepted { seq } => Said::Accepted(seq),
        Outcome::Known { seq } => Said::Known(seq),
        Outcome::Held => Said::Held,
        Outcome::Refused { problem } => Said::Refused(problem.kind),
    });
    said.collect()
}

/// A horse, its entries by place, the head after them, and whether the log goes on.
type Shown = (HorseId, Vec<(i64, String)>, Hash, bool);

/// What a page says: of each horse the entries, the head, and whether the log goes on.
fn page(pulled: &Pulled) -> Vec<Shown> {
    let runs = pulled.runs.iter().map(|run| {
        let events = run.events.iter().map(|event| {
            let text = event.envelope.as_ref().expect("an envelope").get();
            (event.seq, text.to_owned())
        });
        (run.horse_id, events.collect(), run.head, run.more)
    });
    runs.collect()
}

struct Both<'a> {
    real: &'a TestServer,
    model: Server,
    yard: Yard,
    /// Who holds each device, and a session without one that goes on when it is revoked.
    holders: Vec<Person>,
    sessions: HashMap<AccountId, Person>,
    grants: BTreeMap<(AccountId, HorseId), Grant>,
    notes: Vec<(usize, Note)>,
    random: Random,
}

impl<'a> Both<'a> {
    fn begin(real: &'a TestServer) -> Self {
        let yard = Yard::open(real);
        let holders = vec![
            yard.owner.clone(),
            yard.owner.elsewhere(true),
            real.device_account("Tam Brisling"),
            real.device_account("Tove Lind"),
        ];
        let devices = holders.iter().enumerate().map(|(n, person)| Device {
            id: person.device(),
            account: person.account(),
            role: if n < 2 { Role::Owner } else { Role::BarnStaff },
            key: person.key.clone().expect("a key"),
        });
        let cast = Cast {
            owner: yard.owner.account(),
            devices: devices.collect(),
            horses: (0..3).map(|_| yard.horse()).collect(),
        };
        let sessions = holders.iter();
        Self {
            sessions: sessions
                .map(|person| (person.account(), person.elsewhere(false)))
                .collect(),
            model: Server::new(cast, None),
            grants: BTreeMap::new(),
            notes: Vec::new(),
            random: Random::new(7),
            real,
            yard,
            holders,
        }
    }

    fn step(&mut self) {
        self.real
            .clock
            .advance(TimeDelta::milliseconds(1000 + i64::from(self.number(500))));
        self.model.now = self.real.now();
        let hand = 2 + self.random.below(2);
        let account = self.model.cast.devices[hand].account;
        let horse = *self.random.pick(&self.model.cast.horses);
        match self.random.below(24) {
            0..3 => self.grant(account, horse),
            3..5 => self.revoke(account, horse),
            5..7 => self.decide(),
            7 if self.random.once_in(6) => self.revoke_device(),
            8..12 => self.pull(),
            12 => self.again(),
            _ => self.push(),
        }
        self.same_heads();
    }

    fn number(&mut self, end: usize) -> u32 {
        u32::try_from(self.random.below(end)).expect("a few")
    }

    fn grant(&mut self, account: AccountId, horse: HorseId) {
        if !self.grants.contains_key(&(account, horse)) {
            let person = &self.sessions[&account];
            let grant = self.yard.admit(person, horse, Role::BarnStaff);
            self.grants.insert((account, horse), grant);
            self.model.grant(account, horse);
        }
    }

    fn revoke(&mut self, account: AccountId, horse: HorseId) {
        if let Some(grant) = self.grants.remove(&(account, horse)) {
            self.yard.revoke(&grant);
            self.model.revoke(account, horse);
        }
    }

    fn revoke_device(&mut self) {
        let device = 1 + 2 * self.random.below(2);
        let person = &self.sessions[&self.holders[device].account()];
        let id = self.holders[device].device();
        let answer = person.delete(&path::device(id));
        assert!(answer.status == 204 || answer.status == 404, "{answer:?}");
        self.model.revoke_device(id);
    }

    fn decide(&mut self) {
        let undecided = self.model.undecided();
        if !undecided.is_empty() {
            let id = *self.random.pick(&undecided);
            let accept = !self.random.once_in(3);
            // Whether it could enter shows in the heads.
            let owner = &self.sessions[&self.model.cast.owner];
            let _ = owner.post(&path::held(id), &HeldDecision { accept });
            self.model.decide(id, accept);
        }
    }

    /// A few new notes of one device, some old ones among them, pushed by their author or by somebody else.
    fn push(&mut self) {
        let device = self.random.below(4);
        let mut batch = Vec::new();
        for _ in 0..=self.random.below(3) {
            let note = self.note(device);
            self.notes.push((device, note));
            batch.push((device, note));
        }
        self.send(device, &batch);
    }

    fn again(&mut self) {
        let mut batch = Vec::new();
        for _ in 0..self.random.below(4) {
            if !self.notes.is_empty() {
                batch.push(*self.random.pick(&self.notes));
            }
        }
        let pusher = self.random.below(4);
        self.send(pusher, &batch);
    }

    fn note(&mut self, device: usize) -> Note {
        let own = self.notes.iter().filter(|(by, _)| *by == device);
        let own: Vec<Note> = own.map(|(_, note)| *note).collect();
        let ahead = [-3_000, 0, 0, 0, 0, 0, 47].map(TimeDelta::hours);
        // What was written down before a grant ended comes after it.
        let back = TimeDelta::seconds(i64::from(self.number(40)));
        let new = Note {
            id: EventId(Uuid::now_v7()),
            horse: *self.random.pick(&self.model.cast.horses),
            kg: 400 + self.number(200),
            corrects: None,
            later_version: false,
            at: self.real.now() - back + *self.random.pick(&ahead),
        };
        match own.is_empty() {
            false if self.random.once_in(6) => {
                let target = *self.random.pick(&own);
                Note {
                    corrects: Some(target.id),
                    horse: target.horse,
                    ..new
                }
            }
            false if self.random.once_in(10) => Note {
                id: self.random.pick(&own).id,
                ..new
            },
            _ => new,
        }
    }

    fn send(&mut self, pusher: usize, batch: &[(usize, Note)]) {
        let account = self.model.cast.devices[pusher].account;
        let events = batch.iter();
        let events: Vec<_> = events
            .map(|(device, note)| note.sign(&self.model.cast.devices[*device]))
            .collect();
        let real = said(push(&self.sessions[&account], &events));
        let model = self
            .model
            .push(account, &events)
            .expect("nothing spoils it");
        assert_eq!(said(model.outcomes), real, "{pusher} pushed {batch:?}");
    }

    fn pull(&mut self) {
        let device = self.random.below(4);
        let account = self.model.cast.devices[device].account;
        let horse_id = *self.random.pick(&self.model.cast.horses);
        let after = i64::from(self.number(6));
        let wants = vec![Want { horse_id, after }];
        let limit = Some(PAGE);
        let model = self.model.pull(account, &Pull { wants, limit });
        let real = pull(&self.sessions[&account], horse_id, after, limit);
        assert_eq!(page(&model), page(&real));
        assert_eq!(model.more, real.more);
    }

    fn same_heads(&mut self) {
        for (account, person) in &self.sessions {
            let real = heads(person);
            let model = self.model.heads(*account).heads.into_iter();
            let model: HashMap<_, _> = model
                .map(|head| (head.horse_id, (head.seq, head.head)))
                .collect();
            assert_eq!(model, real);
        }
        assert_eq!(self.model.broken, None);
    }
}

on_both!(the_model_answers_as_the_real_server_does, |server| {
    let mut both = Both::begin(server);
    for _ in 0..STEPS {
        both.step();
    }
    let entries: usize = both.model.disk.logs.values().map(Vec::len).sum();
    assert!(entries > 50, "{entries} entries make no story");
});
