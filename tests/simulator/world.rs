//! One story: what people, devices, the server and the line do, from a seed.

mod promises;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;
use whorl_care::ids::{EventId, HorseId};
use whorl_cli::failure::Failure;
use whorl_contract::key::Hash;
use whorl_contract::problem::Kind as Problems;

use crate::cast::{Cast, Note};
use crate::client::{Client, End};
use crate::fault::Fault;
use crate::line::Line;
use crate::random::Random;
use crate::server::Server;

/// The longest story.
const STEPS: usize = 50;
/// A sync that is killed is killed within so many statements.
const STATEMENTS: usize = 60;
/// Rounds in which all comes to rest: a give-back goes up in one and comes to the others in the next.
const ROUNDS: usize = 6;

/// What a story held, to see that it is about something.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Tally {
    pub(crate) recorded: usize,
    pub(crate) syncs: usize,
    pub(crate) kills: usize,
    pub(crate) broken_lines: usize,
    pub(crate) restores: usize,
    pub(crate) lost_for_good: usize,
}

impl Tally {
    pub(crate) fn add(&mut self, other: Self) {
        self.recorded += other.recorded;
        self.syncs += other.syncs;
        self.kills += other.kills;
        self.broken_lines += other.broken_lines;
        self.restores += other.restores;
        self.lost_for_good += other.lost_for_good;
    }
}

struct Story {
    random: Random,
    server: Server,
    clients: Vec<Client>,
    recorded: BTreeMap<EventId, Recorded>,
    next: u128,
    /// What restores took out of the logs and nobody has brought back yet.
    missing: BTreeSet<EventId>,
    /// What was lost with nobody left who had it: the server's backup was too old, and every device that had a copy had
    /// to give it up before.
    lost: BTreeSet<EventId>,
    /// Whether the server ever came back from a backup without saying so, or two devices made one id.
    alarming: bool,
    /// Copies that were looked at, as far as they were.
    seen: BTreeMap<(usize, HorseId, i64), Hash>,
    /// What waited on its author's device, in no log, when that was last looked at.
    waited: BTreeSet<(usize, EventId)>,
    /// Whether a client had to give up a horse in this step, or a server went back.
    given_up: bool,
    tally: Tally,
    /// What happened, for people.
    told: Vec<String>,
}

struct Recorded {
    client: usize,
    note: Note,
    leaf: Hash,
}

/// Plays the story that grows from a seed.
///
/// # Errors
///
/// The first promise that was broken, and what had happened until then.
pub(crate) fn play(seed: u64, fault: Option<Fault>) -> Result<Tally, String> {
    let mut story = Story::begin(seed, fault);
    match story.unfold() {
        Ok(()) => Ok(story.tally),
        Err(why) => Err(format!("{why}\n  {}", story.told.join("\n  "))),
    }
}

impl Story {
    fn begin(seed: u64, fault: Option<Fault>) -> Self {
        let cast = Cast::new();
        let server = Server::new(cast.clone(), fault);
        let clients = cast.devices.iter();
        let clients = clients.map(|device| Client::new(device.clone(), server.key.public(), fault));
        let mut story = Self {
            random: Random::new(seed),
            clients: clients.collect(),
            server,
            recorded: BTreeMap::new(),
            next: 0x1000,
            missing: BTreeSet::new(),
            lost: BTreeSet::new(),
            alarming: false,
            seen: BTreeMap::new(),
            waited: BTreeSet::new(),
            given_up: false,
            tally: Tally::default(),
            told: Vec::new(),
        };
        for client in 2..4 {
            for n in 0..story.server.cast.horses.len() {
                if story.random.once_in(2) {
                    let horse = story.server.cast.horses[n];
                    story.server.grant(cast.devices[client].account, horse);
                }
            }
        }
        story.server.pass(TimeDelta::seconds(1), true);
        story.server.back_up();
        story
    }

    fn unfold(&mut self) -> Result<(), String> {
        let steps = 10 + self.random.below(STEPS - 10);
        for step in 0..steps {
            self.told.push(format!("step {step}"));
            self.step().map_err(|why| format!("step {step}: {why}"))?;
            self.hold().map_err(|why| format!("step {step}: {why}"))?;
        }
        self.told.push("coming to rest".to_owned());
        self.come_to_rest()
            .map_err(|why| format!("at rest: {why}"))?;
        self.tally.lost_for_good = self.lost.len();
        Ok(())
    }

    fn step(&mut self) -> Result<(), String> {
        self.given_up = false;
        let seconds = 1 + i64::try_from(self.random.below(3600)).expect("a few");
        let calm = self.random.once_in(2);
        self.server.pass(TimeDelta::seconds(seconds), calm);
        let client = self.random.below(self.clients.len());
        let hand = self.server.cast.devices[2 + self.random.below(2)].account;
        let horse = *self.random.pick(&self.server.cast.horses);
        match self.random.below(63) {
            0..20 => self.record(client),
            20..44 => self.sync(client, true)?,
            44..47 => {
                self.told.push(format!("{hand} is granted {horse}"));
                self.server.grant(hand, horse);
            }
            47..50 => {
                self.told.push(format!("{hand} loses {horse}"));
                self.server.revoke(hand, horse);
            }
            50 => {
                let lost = 1 + 2 * self.random.below(2);
                self.told.push(format!("device {lost} is revoked"));
                let id = self.server.cast.devices[lost].id;
                self.server.revoke_device(id);
            }
            51..53 => self.decide(),
            53 => {
                self.told.push("a backup is made".to_owned());
                self.server.back_up();
            }
            54 => self.restore(true),
            // A silent one makes alarms for the rest of a story, so there are few.
            55 => {
                let announced = !self.random.once_in(2);
                self.restore(announced);
            }
            56 => self.server.crash(),
            57..61 => self.deliver(),
            61 => self.set_clock(client),
            _ => self.spoil(),
        }
        Ok(())
    }

    /// Late requests arrive; some just after their sender has lost the horse that they are about.
    fn deliver(&mut self) {
        if let Some((account, horse)) = self.server.under_way()
            && self.random.once_in(2)
        {
            self.told.push(format!("{account} loses {horse}"));
            self.server.revoke(account, horse);
        }
        self.told.push("late requests arrive".to_owned());
        self.server.deliver();
    }

    fn restore(&mut self, announced: bool) {
        let how = if announced { "" } else { ", silently" };
        self.told.push(format!("the server is restored{how}"));
        self.server.restore(announced);
        self.alarming |= !announced;
        self.given_up = true;
        self.tally.restores += 1;
    }

    fn set_clock(&mut self, client: usize) {
        let skews = [-3653, -1, 0, 0, 2, 3653].map(TimeDelta::days);
        let skew = *self.random.pick(&skews);
        self.told.push(format!("device {client} is {skew} off"));
        self.clients[client].skew = skew;
    }

    /// The server will fail on some event that waits.
    fn spoil(&mut self) {
        let waiting: Vec<EventId> = self.recorded.keys().copied().collect();
        if !waiting.is_empty() {
            let id = *self.random.pick(&waiting);
            self.told.push(format!("the server will fail on {id}"));
            self.server.poison.insert(id);
        }
    }

    fn decide(&mut self) {
        let undecided = self.server.undecided();
        if !undecided.is_empty() {
            let id = *self.random.pick(&undecided);
            let accept = !self.random.once_in(4);
            self.told.push(format!("the owner accepts {id}: {accept}"));
            self.server.decide(id, accept);
        }
    }

    fn record(&mut self, client: usize) {
        let device = self.clients[client].device.clone();
        let own: Vec<(EventId, HorseId)> = self
            .recorded
            .iter()
            .filter(|(_, one)| {
                let by = &self.clients[one.client].device;
                by.account == device.account && one.note.corrects.is_none()
            })
            .map(|(id, one)| (*id, one.note.horse))
            .collect();
        let mut horse = *self.random.pick(&self.server.cast.horses);
        let mut corrects = None;
        if !own.is_empty() && self.random.once_in(6) {
            let (id, of) = *self.random.pick(&own);
            (corrects, horse) = (Some(id), of);
        }
        self.next += 1;
        let note = Note {
            id: EventId(Uuid::from_u128(self.next)),
            horse,
            kg: 400 + u32::try_from(self.random.below(200)).expect("a few"),
            corrects,
            later_version: self.random.once_in(6),
            at: self.clock_of(client),
        };
        self.told.push(format!(
            "device {client} records {} of {horse}, correcting {corrects:?}",
            note.id
        ));
        let event = note.sign(&device);
        self.clients[client].record(note.id, horse, &event);
        let leaf = event.open().expect("genuine").leaf;
        self.recorded
            .insert(note.id, Recorded { client, note, leaf });
        self.tally.recorded += 1;
        if self.random.once_in(25) {
            self.clone_of(client, note);
        }
    }

    /// A second device of the same person makes the same id for something else, as a copied folder may.
    fn clone_of(&mut self, client: usize, note: Note) {
        let account = self.clients[client].device.account;
        let twin = (0..self.clients.len())
            .find(|&n| n != client && self.clients[n].device.account == account);
        if let Some(twin) = twin {
            let other = Note {
                kg: note.kg + 1,
                ..note
            };
            self.told.push(format!("device {twin} makes the same id"));
            let event = other.sign(&self.clients[twin].device);
            self.clients[twin].record(note.id, note.horse, &event);
            self.alarming = true;
        }
    }

    fn clock_of(&self, client: usize) -> DateTime<Utc> {
        self.server.now + self.clients[client].skew
    }

    fn sync(&mut self, n: usize, may_fail: bool) -> Result<(), String> {
        self.tally.syncs += 1;
        let foul = may_fail && !self.random.once_in(3);
        let killed = foul && self.random.once_in(4);
        let statements = killed.then(|| self.random.below(STATEMENTS));
        let now = self.server.now;
        let client = &mut self.clients[n];
        let (account, device) = (client.device.account, client.device.id);
        client.heard.forged = false;
        let (server, random) = (&mut self.server, &mut self.random);
        let end = client.sync(
            |heard, sync| {
                sync(&mut Line {
                    server,
                    random,
                    heard,
                    account,
                    device,
                    foul,
                    down: false,
                });
            },
            now,
            statements,
        );
        let ended = match &end {
            End::Killed => "killed".to_owned(),
            End::Done(report) => format!("{report:?}"),
            End::Failed(failure, report) => format!("{failure}; {report:?}"),
        };
        self.told.append(&mut self.clients[n].heard.told);
        self.told.push(format!("device {n} synced: {ended}"));
        // What was forged is an alarm, now or when what it hid comes to light.
        self.alarming |= self.clients[n].heard.forged;
        let report = match end {
            End::Killed => {
                self.tally.kills += 1;
                // It may have come to that before it was killed.
                self.given_up = true;
                return Ok(());
            }
            End::Done(report) => {
                self.sees_only_what_is_named(n)?;
                report
            }
            End::Failed(failure, report) => {
                self.tally.broken_lines += 1;
                let fine = foul && is_of_the_line(&failure)
                    || self.server.disk.revoked.contains(&device)
                    || matches!(failure, Failure::ServerFailed(_));
                if !fine {
                    return Err(format!("a sync failed: {failure}"));
                }
                report
            }
        };
        self.given_up |= !report.locked.is_empty() || self.left_some_to_the_server(n);
        if !report.alarms.is_empty() && !self.alarming {
            return Err(format!("an alarm without a cause: {:?}", report.alarms));
        }
        Ok(())
    }

    /// Whether a device pushed entries of a horse that isn't its to see any more: those are the server's alone.
    fn left_some_to_the_server(&self, n: usize) -> bool {
        let heard = &self.clients[n].heard;
        let named = heard.named.as_ref();
        self.recorded.iter().any(|(id, one)| {
            one.client == n
                && heard.acknowledged.contains(id)
                && named.is_some_and(|named| !named.contains(&one.note.horse))
        })
    }

    /// The line is good, everybody may, and all that can be decided is: then everything recorded is in the logs, once,
    /// and every device has the same.
    fn come_to_rest(&mut self) -> Result<(), String> {
        self.server.poison.clear();
        self.server.pass(TimeDelta::seconds(1), true);
        for client in 2..4 {
            let account = self.server.cast.devices[client].account;
            for horse in self.server.cast.horses.clone() {
                self.server.grant(account, horse);
            }
        }
        for _ in 0..ROUNDS {
            self.server.pass(TimeDelta::seconds(1), true);
            for id in self.server.undecided() {
                self.server.decide(id, true);
            }
            for n in 0..self.clients.len() {
                self.given_up = false;
                if self
                    .server
                    .disk
                    .revoked
                    .contains(&self.clients[n].device.id)
                {
                    continue;
                }
                // What a refused entry lacked may be there by now.
                self.clients[n].try_again();
                self.sync(n, false)?;
                self.server.pass(TimeDelta::zero(), true);
                self.hold()?;
            }
        }
        self.all_are_the_same()?;
        self.all_that_was_recorded_is_there()
    }
}

fn is_of_the_line(failure: &Failure) -> bool {
    match failure {
        Failure::Offline(_) | Failure::ServerFailed(_) => true,
        Failure::Refused(_, Some(problem)) => problem.kind == Problems::Unavailable,
        _ => false,
    }
}
