//! Devices that push without pause, remember what they were told, and send again what got no answer.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use reqwest::Method;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::Role;
use whorl_contract::event::SignedEvent;
use whorl_contract::path;
use whorl_contract::session::Session;
use whorl_contract::sync::{Outcome, Push, Pushed};
use whorl_http::clock::Clock;
use whorl_tests::pen::Pen;
use whorl_tests::person::sign_in;
use whorl_tests::process::{Place, random_below};
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Person};

use crate::witness::Witness;

/// Devices that push at once, and the horses that they all push to.
const DEVICES: usize = 4;
const HORSES: usize = 6;
/// How long a load goes on at most before what it waits for is done anyway.
const LONGEST: Duration = Duration::from_secs(3);
/// The largest batch of new events.
const BATCH: u64 = 12;
/// The most of what waits that one push sends again.
const AGAIN: usize = 60;
/// An access token lasts for ten minutes.
const TOKEN: Duration = Duration::from_mins(5);
/// A server that came back takes what waits long before that.
const SETTLED: Duration = Duration::from_mins(1);

type Event = (EventId, HorseId, SignedEvent);

/// A yard whose owner has several devices, all at work.
pub(crate) struct Load {
    pub(crate) yard: Yard,
    pub(crate) horses: Vec<HorseId>,
    pub(crate) caller: Caller,
    signed_in: Instant,
    devices: Vec<Device>,
    witness: Witness,
    checked: usize,
}

struct Device {
    pen: Pen,
    /// What got no answer yet.
    waiting: Vec<Event>,
    /// What was sent last, whatever became of it.
    last: Vec<Event>,
    told: BTreeMap<EventId, (HorseId, i64)>,
    /// The order in which it was told.
    order: Vec<EventId>,
    /// Answers that were refusals of the whole batch, by their status.
    turned_away: BTreeMap<u16, String>,
}

impl Load {
    /// Opens a yard on a running server.
    pub(crate) fn open(place: &Place) -> Self {
        let owner = Person::open(&place.anonymous(), "Maren Oduya", true);
        let yard = Yard::of(owner);
        let horses = (0..HORSES).map(|_| yard.horse()).collect();
        let mut people = vec![yard.owner.clone()];
        people.extend((1..DEVICES).map(|_| yard.owner.elsewhere(true)));
        let devices = people.iter().map(|person| Device {
            pen: Pen::of(person, Role::Owner),
            waiting: Vec::new(),
            last: Vec::new(),
            told: BTreeMap::new(),
            order: Vec::new(),
            turned_away: BTreeMap::new(),
        });
        Self {
            devices: devices.collect(),
            caller: Caller::clone(&yard.owner),
            signed_in: Instant::now(),
            yard,
            horses,
            witness: Witness::default(),
            checked: 0,
        }
    }

    /// Signs in anew where the token would end soon; the server has to be there.
    pub(crate) fn stay_signed_in(&mut self) {
        if self.signed_in.elapsed() > TOKEN {
            let owner = &self.yard.owner;
            let answer = sign_in(&self.caller, &owner.email, &owner.password, None);
            let session: Session = answer.read();
            self.caller = self.caller.with_token(&session.access_token);
            self.signed_in = Instant::now();
        }
    }

    /// Lets all devices push until `count` events are acknowledged, or a while has passed, and `then` is done.
    pub(crate) fn push_until(&mut self, count: u64, then: impl FnOnce()) {
        let acknowledged = AtomicU64::new(0);
        self.push_while(&acknowledged, || {
            wait_until(|| acknowledged.load(Ordering::SeqCst) >= count);
            then();
        });
    }

    /// Lets all devices push while the server can't take anything, until each has been turned away so often, or a while
    /// has passed.
    pub(crate) fn push_until_turned_away(&mut self, times: usize) {
        for device in &mut self.devices {
            let start = Instant::now();
            for _ in 0..times {
                let _ = device.push(&self.caller, &self.horses, 1);
                if start.elapsed() > LONGEST {
                    break;
                }
            }
        }
    }

    /// Lets all devices push while `meanwhile` runs, and until each has seen how its last push ended.
    fn push_while(&mut self, acknowledged: &AtomicU64, meanwhile: impl FnOnce()) {
        let over = AtomicBool::new(false);
        let (caller, horses) = (&self.caller, &self.horses);
        std::thread::scope(|scope| {
            for device in &mut self.devices {
                scope.spawn(|| {
                    while !over.load(Ordering::SeqCst) {
                        let heard = device.push(caller, horses, random_below(BATCH) + 1);
                        acknowledged.fetch_add(heard, Ordering::SeqCst);
                    }
                });
            }
            meanwhile();
            over.store(true, Ordering::SeqCst);
        });
    }

    /// Pushes, without anything new, what got no answer so far; the server has to be there.
    pub(crate) fn settle(&mut self) {
        let begun = Instant::now();
        for device in &mut self.devices {
            while !device.waiting.is_empty() {
                let _ = device.push(&self.caller, &self.horses, 0);
                assert!(begun.elapsed() < SETTLED, "the server takes nothing");
            }
        }
    }

    /// Holds the server to what it said: each event that it acknowledged is at the place that it named (I1, I3).
    pub(crate) fn check(&mut self) {
        self.witness.look(&self.caller);
        for device in &mut self.devices {
            for id in device.order.drain(..) {
                let told = device.told[&id];
                let lost = "an event was acknowledged and is not there";
                assert_eq!(self.witness.place(id), Some(told), "{lost}: {id}");
                self.checked += 1;
            }
        }
    }

    /// The events that were acknowledged and are not where they should be, in a server that may have lost some.
    pub(crate) fn lost(&self) -> usize {
        let mut now = Witness::default();
        now.look(&self.caller);
        let told = self.devices.iter().flat_map(|device| &device.told);
        told.filter(|(id, place)| now.place(**id) != Some(**place))
            .count()
    }

    /// At last: everything that was ever sent is there, once, and nothing else; the whole record verifies from its
    /// beginning, by the server's own check too.
    pub(crate) fn check_all(&mut self, place: &Place) {
        self.settle();
        self.check();
        let mut anew = Witness::default();
        anew.look(&self.caller);
        assert_eq!(anew.events(), self.acknowledged());
        self.check();
        let said = place.verify().expect("a record that verifies");
        let entries = format!("{} entries", self.acknowledged());
        assert!(said.contains(&entries), "{said}");
    }

    /// How many events were acknowledged.
    pub(crate) fn acknowledged(&self) -> usize {
        self.devices.iter().map(|device| device.told.len()).sum()
    }

    /// How many events wait for an answer.
    pub(crate) fn waiting(&self) -> usize {
        self.devices.iter().map(|device| device.waiting.len()).sum()
    }

    /// The statuses with which whole batches were turned away, and what such an answer said.
    pub(crate) fn turned_away(&mut self) -> BTreeMap<u16, String> {
        let devices = self.devices.iter_mut();
        devices
            .flat_map(|device| std::mem::take(&mut device.turned_away))
            .collect()
    }
}

/// Waits, but not for ever.
fn wait_until(done: impl Fn() -> bool) {
    let start = Instant::now();
    while !done() && start.elapsed() < LONGEST {
        std::thread::sleep(Duration::from_micros(200));
    }
}

impl Device {
    /// Pushes what waits, so many new events, and sometimes what was sent last once more. Answers how many events were
    /// acknowledged for the first time.
    fn push(&mut self, caller: &Caller, horses: &[HorseId], new: u64) -> u64 {
        for n in 0..new {
            let horse = horses[usize::try_from(random_below(HORSES as u64)).expect("a few")];
            let kg = 400.0 + f64::from(u32::try_from(n).expect("a few"));
            let draft = self
                .pen
                .weight(horse, kg)
                .recorded_at(Clock::system().now());
            self.waiting.push((draft.id(), horse, draft.sign()));
        }
        let told = self.told.len();
        let mut batch: Vec<Event> = self.waiting.iter().take(AGAIN).cloned().collect();
        if random_below(4) == 0 {
            let again = self.last.drain(..);
            let again: Vec<Event> = again
                .filter(|(id, ..)| self.told.contains_key(id))
                .collect();
            batch.extend(again);
        }
        let events = batch.iter().map(|(_, _, event)| event.clone()).collect();
        let request = caller.request(Method::POST, path::EVENTS);
        let answer = caller.try_send(request.json(&Push { events }));
        match answer {
            Ok(answer) if answer.status == 200 => self.hear(&batch, &answer.read()),
            Ok(answer) => {
                let problem = answer.problem();
                assert!(answer.status >= 500, "{problem:?}");
                self.turned_away.insert(answer.status, problem.title);
            }
            // The server is gone, perhaps in the middle of its answer.
            Err(_) => std::thread::sleep(Duration::from_millis(1)),
        }
        self.last = batch;
        u64::try_from(self.told.len() - told).expect("a few")
    }

    fn hear(&mut self, batch: &[Event], pushed: &Pushed) {
        assert_eq!(pushed.outcomes.len(), batch.len());
        for ((id, horse, _), outcome) in batch.iter().zip(&pushed.outcomes) {
            let (Outcome::Accepted { seq } | Outcome::Known { seq }) = outcome else {
                panic!("{id}: {outcome:?}");
            };
            match self.told.insert(*id, (*horse, *seq)) {
                // I3: one place, for ever.
                Some(before) => assert_eq!(before, (*horse, *seq), "{id} has another place"),
                None => self.order.push(*id),
            }
        }
        let told = &self.told;
        self.waiting.retain(|(id, ..)| !told.contains_key(id));
    }
}
