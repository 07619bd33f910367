//! What clients were told of their events, and whether a server's logs keep to it.

use std::collections::{BTreeMap, BTreeSet};

use whorl_care::ids::{EventId, HorseId};
use whorl_contract::event::open_envelope;
use whorl_contract::sync::Outcome;

use crate::caller::Caller;
use crate::ledger::pull_all;

/// Each horse's log: places and ids, in the order in which they are given out.
pub type Logs = BTreeMap<HorseId, Vec<(i64, EventId)>>;

/// All logs as somebody pulls them, each chain and signature checked.
///
/// # Panics
///
/// If one doesn't fit.
#[must_use]
pub fn logs(who: &Caller, horses: &[HorseId]) -> Logs {
    let log = |horse: &HorseId| {
        let events = pull_all(who, *horse, 500).events;
        let places = events.iter().map(|event| {
            let text = event.envelope.as_ref().expect("an envelope").get();
            (event.seq, open_envelope(text).expect("an envelope").0.id)
        });
        (*horse, places.collect())
    };
    horses.iter().map(log).collect()
}

/// What clients were told of their events.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// What was acknowledged, and where it is.
    pub accepted: BTreeMap<EventId, (HorseId, i64)>,
    /// What was refused or held.
    pub refused: BTreeSet<EventId>,
}

/// How logs break what was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Another place follows than the next one.
    Gap(HorseId, i64),
    /// An event has two places.
    Doubled(EventId),
    /// An acknowledged event is not there.
    Lost(EventId),
    /// It is at another place than was said.
    Moved(EventId),
    /// An event is there that was refused, or that nobody was told of.
    LetIn(EventId),
}

impl Told {
    /// Notes an answer.
    ///
    /// # Panics
    ///
    /// If it was told otherwise before.
    pub fn hear(&mut self, id: EventId, horse: HorseId, outcome: &Outcome) {
        match outcome {
            Outcome::Accepted { seq } | Outcome::Known { seq } => {
                let before = self.accepted.insert(id, (horse, *seq));
                let same = before.is_none_or(|before| before == (horse, *seq));
                assert!(same, "{id} was at {before:?} and is at {seq}");
            }
            Outcome::Held | Outcome::Refused { .. } => {
                self.refused.insert(id);
            }
        }
    }

    /// Adds what another client was told.
    pub fn join(&mut self, other: Self) {
        self.accepted.extend(other.accepted);
        self.refused.extend(other.refused);
    }

    /// Holds logs to what was told: places without a gap, each acknowledged event once and where it was said to be,
    /// and nothing else.
    ///
    /// # Errors
    ///
    /// The first thing that is wrong.
    pub fn check(&self, logs: &Logs) -> Result<(), Wrong> {
        let mut found = BTreeMap::new();
        for (horse, log) in logs {
            for ((seq, id), next) in log.iter().zip(1..) {
                if *seq != next {
                    return Err(Wrong::Gap(*horse, next));
                }
                if found.insert(*id, (*horse, *seq)).is_some() {
                    return Err(Wrong::Doubled(*id));
                }
            }
        }
        for (id, place) in &self.accepted {
            match found.remove(id) {
                None => return Err(Wrong::Lost(*id)),
                Some(other) if other != *place => return Err(Wrong::Moved(*id)),
                Some(_) => {}
            }
        }
        match found.first_key_value() {
            Some((id, _)) => Err(Wrong::LetIn(*id)),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn event(n: u128) -> EventId {
        EventId(Uuid::from_u128(n))
    }

    /// Two horses with three entries each, and one that was refused.
    fn sound() -> (Told, Logs, [HorseId; 2]) {
        let horses = [HorseId(Uuid::from_u128(100)), HorseId(Uuid::from_u128(200))];
        let (mut told, mut logs) = (Told::default(), Logs::new());
        for (horse, first) in horses.iter().zip([1, 4]) {
            for (seq, n) in (1..=3).zip(first..) {
                told.hear(event(n), *horse, &Outcome::Accepted { seq });
                logs.entry(*horse).or_default().push((seq, event(n)));
            }
        }
        told.hear(event(9), horses[0], &Outcome::Held);
        (told, logs, horses)
    }

    #[test]
    fn what_is_sound_passes() {
        let (told, logs, _) = sound();
        assert_eq!(told.check(&logs), Ok(()));
    }

    #[test]
    fn whatever_is_lost_doubled_left_out_moved_or_let_in_is_found() {
        type Harm = fn(&mut Vec<(i64, EventId)>);
        let harms: [(Harm, Wrong); 6] = [
            (|log| log.truncate(2), Wrong::Lost(event(3))),
            (|log| log.push((4, event(2))), Wrong::Doubled(event(2))),
            (
                |log| log.retain(|one| one.0 != 2),
                Wrong::Gap(HorseId(Uuid::from_u128(100)), 2),
            ),
            (
                |log| (log[0].1, log[1].1) = (log[1].1, log[0].1),
                Wrong::Moved(event(1)),
            ),
            (|log| log.push((4, event(9))), Wrong::LetIn(event(9))),
            (|log| log.push((4, event(77))), Wrong::LetIn(event(77))),
        ];
        for (harm, wrong) in harms {
            let (told, mut logs, [horse, _]) = sound();
            harm(logs.get_mut(&horse).expect("a log"));
            assert_eq!(told.check(&logs), Err(wrong));
        }
        // An event in two horses' logs.
        let (told, mut logs, [_, other]) = sound();
        logs.get_mut(&other).expect("a log").push((4, event(1)));
        assert_eq!(told.check(&logs), Err(Wrong::Doubled(event(1))));
    }

    #[test]
    #[should_panic(expected = "was at")]
    fn two_answers_that_differ_are_heard() {
        let (mut told, _, [horse, _]) = sound();
        told.hear(event(1), horse, &Outcome::Known { seq: 2 });
    }
}
