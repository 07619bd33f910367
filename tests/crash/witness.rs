//! Somebody who pulls all that the server has, again and again, forgets nothing, and holds it to what it said before.

use std::collections::{BTreeMap, HashMap};

use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_contract::chain;
use whorl_contract::event::open_envelope;
use whorl_contract::key::Hash;
use whorl_contract::sync::Signer;
use whorl_tests::Caller;
use whorl_tests::ledger::{follow, heads, pull};

/// What the server ever showed.
#[derive(Default)]
pub(crate) struct Witness {
    signers: HashMap<DeviceId, Signer>,
    /// The head of each log after each of its places, from before the first.
    heads: BTreeMap<HorseId, Vec<Hash>>,
    places: BTreeMap<EventId, (HorseId, i64)>,
    authors: BTreeMap<EventId, DeviceId>,
}

impl Witness {
    /// Pulls what is new. Places follow each other (I2), the chain goes on from the head that was there before (I5), each
    /// signature is its author's, and no event has a second place (I3).
    pub(crate) fn look(&mut self, who: &Caller) {
        for (horse, (seq, head)) in heads(who) {
            let known = self.heads.entry(horse).or_insert(vec![chain::start(horse)]);
            let known_before = place(known.len() - 1);
            assert!(
                known_before <= seq,
                "{horse} had {known_before} entries, and has {seq}"
            );
            // What a client asked for before it was killed may still arrive: the log can be longer by now than its head said.
            while place(known.len() - 1) < seq {
                let after = place(known.len() - 1);
                let pulled = pull(who, horse, after, None);
                let new = pulled.signers.iter();
                self.signers
                    .extend(new.map(|one| (one.device_id, one.clone())));
                let run = pulled.runs.first().expect("entries that were announced");
                for event in &run.events {
                    let before = known[known.len() - 1];
                    let at = place(known.len() - 1);
                    let one = std::slice::from_ref(event);
                    known.push(follow(before, at, one, &self.signers));
                    let text = event.envelope.as_ref().expect("an envelope").get();
                    let (envelope, _) = open_envelope(text).expect("an envelope");
                    let twice = self.places.insert(envelope.id, (horse, event.seq));
                    assert_eq!(twice, None, "{} has two places", envelope.id);
                    self.authors.insert(envelope.id, envelope.device_id);
                }
                assert_eq!(known[known.len() - 1], run.head);
            }
            let seq = usize::try_from(seq).expect("a place");
            assert_eq!(known[seq], head, "the head of {horse}");
        }
    }

    /// Where an event is.
    pub(crate) fn place(&self, id: EventId) -> Option<(HorseId, i64)> {
        self.places.get(&id).copied()
    }

    /// How many events there are.
    pub(crate) fn events(&self) -> usize {
        self.places.len()
    }

    /// How many of them a device signed.
    pub(crate) fn signed_by(&self, device: DeviceId) -> usize {
        self.authors.values().filter(|one| **one == device).count()
    }

    /// The head of a log after so many entries.
    pub(crate) fn head(&self, horse: HorseId, seq: i64) -> Option<Hash> {
        let seq = usize::try_from(seq).ok()?;
        self.heads.get(&horse)?.get(seq).copied()
    }
}

fn place(index: usize) -> i64 {
    i64::try_from(index).expect("a place")
}
