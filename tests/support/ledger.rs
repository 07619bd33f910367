//! Giving events to a server and getting them back, with the checks that every client makes.

use std::collections::HashMap;

use reqwest::Method;
use reqwest::header::CONTENT_TYPE;
use whorl_care::ids::{DeviceId, HorseId};
use whorl_contract::event::{LoggedEvent, SignedEvent, open_envelope};
use whorl_contract::key::{Hash, PublicKey};
use whorl_contract::problem::Problem;
use whorl_contract::sync::{Heads, Outcome, Pull, Pulled, Push, Pushed, Signer, Want};
use whorl_contract::{chain, path};

use crate::caller::{Answer, Caller};

/// Pushes a batch and answers what became of each event.
///
/// # Panics
///
/// If the batch as a whole is refused, or the answers are not as many as the events.
#[must_use]
pub fn push(who: &Caller, events: &[SignedEvent]) -> Vec<Outcome> {
    let body = Push {
        events: events.to_vec(),
    };
    let pushed: Pushed = who.post(path::EVENTS, &body).read();
    assert_eq!(pushed.outcomes.len(), events.len());
    pushed.outcomes
}

/// Pushes one event.
///
/// # Panics
///
/// As [`push`].
#[must_use]
pub fn push_one(who: &Caller, event: &SignedEvent) -> Outcome {
    push(who, std::slice::from_ref(event)).remove(0)
}

/// Pushes one event that must be accepted, and answers its place.
///
/// # Panics
///
/// If it isn't accepted.
#[must_use]
pub fn accepted(who: &Caller, event: &SignedEvent) -> i64 {
    match push_one(who, event) {
        Outcome::Accepted { seq } => seq,
        other => panic!("{other:?}"),
    }
}

/// Pushes one event that must be refused, and answers why.
///
/// # Panics
///
/// If it isn't refused.
#[must_use]
pub fn refusal(who: &Caller, event: &SignedEvent) -> Problem {
    refused(push_one(who, event))
}

/// Why an event was refused.
///
/// # Panics
///
/// If it wasn't.
#[must_use]
pub fn refused(outcome: Outcome) -> Problem {
    match outcome {
        Outcome::Refused { problem } => *problem,
        other => panic!("{other:?}"),
    }
}

/// Pushes events as texts of any kind.
#[must_use]
pub fn push_texts(who: &Caller, events: &[String]) -> Answer {
    let body = format!("{{\"events\":[{}]}}", events.join(","));
    let request = who
        .request(Method::POST, path::EVENTS)
        .header(CONTENT_TYPE, "application/json")
        .body(body);
    who.send(request)
}

/// Where everything stands that somebody may see.
#[must_use]
pub fn heads(who: &Caller) -> HashMap<HorseId, (i64, Hash)> {
    let heads: Heads = who.get(path::HEADS).read();
    let each = heads.heads.into_iter();
    each.map(|head| (head.horse_id, (head.seq, head.head)))
        .collect()
}

/// One page of one horse's log.
#[must_use]
pub fn pull(who: &Caller, horse_id: HorseId, after: i64, limit: Option<u32>) -> Pulled {
    let wants = vec![Want { horse_id, after }];
    who.post(path::PULL, &Pull { wants, limit }).read()
}

/// A horse's log as somebody pulled it whole, with who signed what they may see.
#[derive(Clone, Debug, Default)]
pub struct Copy {
    /// The events, from the first.
    pub events: Vec<LoggedEvent>,
    /// The signers.
    pub signers: HashMap<DeviceId, Signer>,
}

/// Pulls a horse's log from the beginning, so many events at a time, and checks each page: places without a gap, the
/// chain's head, and every signature that can be seen.
///
/// # Panics
///
/// If anything doesn't fit.
#[must_use]
pub fn pull_all(who: &Caller, horse: HorseId, page: u32) -> Copy {
    let (mut copy, mut head) = (Copy::default(), chain::start(horse));
    loop {
        let after = i64::try_from(copy.events.len()).expect("a place");
        let pulled = pull(who, horse, after, Some(page));
        copy.signers.extend(
            pulled
                .signers
                .iter()
                .map(|one| (one.device_id, one.clone())),
        );
        for run in &pulled.runs {
            assert_eq!(run.horse_id, horse);
            head = follow(head, after, &run.events, &copy.signers);
            assert_eq!(head, run.head, "the head after {after}");
            copy.events.extend(run.events.iter().cloned());
        }
        if !pulled.more {
            return copy;
        }
        assert!(!pulled.runs.is_empty(), "more, but nothing came");
    }
}

/// Follows the chain over a run, checking places and the signatures that can be seen.
///
/// # Panics
///
/// If anything doesn't fit.
#[must_use]
pub fn follow<S: std::hash::BuildHasher>(
    from: Hash,
    after: i64,
    events: &[LoggedEvent],
    signers: &HashMap<DeviceId, Signer, S>,
) -> Hash {
    let mut head = from;
    for (event, seq) in events.iter().zip(after + 1..) {
        assert_eq!(event.seq, seq, "a gap");
        if let (Some(envelope), Some(signature)) = (&event.envelope, &event.signature) {
            let (envelope, bytes) = open_envelope(envelope.get()).expect("an envelope");
            let key: PublicKey = signers[&envelope.device_id].public_key;
            let purpose = whorl_contract::key::Purpose::Event;
            assert!(key.verifies(purpose, &bytes, signature), "place {seq}");
        }
        head = chain::next(&head, &event.leaf().expect("a leaf"));
    }
    head
}
