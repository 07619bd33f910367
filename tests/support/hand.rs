//! Somebody at work: records, pushes, and pushes again what got no answer, as the client does.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use reqwest::Method;
use uuid::Uuid;
use whorl_care::ids::{EventId, HorseId};
use whorl_contract::event::SignedEvent;
use whorl_contract::path;
use whorl_contract::sync::{Outcome, Push, Pushed};
use whorl_http::clock::Clock;

use crate::caller::Caller;
use crate::pen::Pen;
use crate::told::Told;

/// A pause between two tries; the client's own are longer.
const PAUSE: Duration = Duration::from_millis(50);

/// After so many tries nobody believes in an answer any more.
const TRIES: u32 = 1200;

/// What somebody recorded and has to push.
pub type Batch = Vec<(EventId, HorseId, SignedEvent)>;

/// Somebody's device.
#[derive(Clone)]
pub struct Hand {
    /// Whom it talks to.
    pub caller: Caller,
    pen: Pen,
    horses: Vec<HorseId>,
    recorded: usize,
    /// What it was told.
    pub told: Told,
    /// The ledger's epoch in each answer.
    pub epochs: Vec<Uuid>,
}

impl Hand {
    /// A device that records weights of some horses in turn.
    #[must_use]
    pub fn new(caller: Caller, pen: Pen, horses: &[HorseId]) -> Self {
        Self {
            caller,
            pen,
            horses: horses.to_vec(),
            recorded: 0,
            told: Told::default(),
            epochs: Vec::new(),
        }
    }

    /// Records so many weights.
    pub fn record(&mut self, events: usize) -> Batch {
        let each = (0..events).map(|_| {
            self.recorded += 1;
            let horse = self.horses[self.recorded % self.horses.len()];
            let draft = self.pen.weight(horse, 480.5);
            let draft = draft.recorded_at(Clock::system().now());
            (draft.id(), horse, draft.sign())
        });
        each.collect()
    }

    /// Pushes once; answers the outcomes if an answer came that says what became of each, else the status if there was one.
    ///
    /// # Errors
    ///
    /// The status of an answer that says to come back, or none if the line broke.
    ///
    /// # Panics
    ///
    /// If the batch as a whole is refused for good.
    pub fn push(&mut self, batch: &Batch) -> Result<Vec<Outcome>, Option<u16>> {
        let events = batch.iter().map(|(_, _, event)| event.clone()).collect();
        let request = self.caller.request(Method::POST, path::EVENTS);
        let answer = self.caller.try_send(request.json(&Push { events }));
        let answer = answer.map_err(|_| None)?;
        if answer.status == 429 || answer.status >= 500 {
            // An internal error is a fault of ours; a proxy's or a server's word to come back isn't.
            assert_ne!(answer.status, 500, "{answer:?}");
            return Err(Some(answer.status));
        }
        let pushed: Pushed = answer.read();
        self.epochs.push(pushed.epoch);
        for ((id, horse, _), outcome) in batch.iter().zip(&pushed.outcomes) {
            self.told.hear(*id, *horse, outcome);
        }
        Ok(pushed.outcomes)
    }

    /// Pushes until an answer says what became of each.
    ///
    /// # Panics
    ///
    /// If none ever comes.
    pub fn push_until_answered(&mut self, batch: &Batch) -> Vec<Outcome> {
        for _ in 0..TRIES {
            match self.push(batch) {
                Ok(outcomes) => return outcomes,
                Err(_) => std::thread::sleep(PAUSE),
            }
        }
        panic!("no answer to a push");
    }

    /// Records and pushes batches of one to seven until it is over; `acknowledged` counts along.
    ///
    /// # Panics
    ///
    /// If something isn't accepted.
    pub fn work(&mut self, over: &AtomicBool, acknowledged: &AtomicUsize) {
        while !over.load(Ordering::SeqCst) {
            let batch = self.record(1 + self.recorded % 7);
            for outcome in self.push_until_answered(&batch) {
                let taken = matches!(outcome, Outcome::Accepted { .. } | Outcome::Known { .. });
                assert!(taken, "{outcome:?}");
                acknowledged.fetch_add(1, Ordering::SeqCst);
            }
        }
    }
}
