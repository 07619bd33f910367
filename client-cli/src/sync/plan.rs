//! What has to be done, from where our copies stand and where the server says it stands. Pure.

use std::collections::{BTreeMap, BTreeSet};

use whorl_care::ids::HorseId;
use whorl_contract::key::Hash;
use whorl_contract::sync::HeadInfo;

use crate::mirror::Place;

/// Our copy of one horse's log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ours {
    /// Where it stands.
    pub place: Place,
    /// Its head at the server's place, where that is before ours.
    pub there: Option<Hash>,
}

/// One thing to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Operation {
    /// The server's log goes on after ours (or so it seems: the chain will tell).
    Pull {
        /// The horse.
        horse_id: HorseId,
        /// The last place that we have.
        after: i64,
    },
    /// The server's log is the beginning of ours: it lost what comes after.
    GiveBack {
        /// The horse.
        horse_id: HorseId,
        /// The last place that both have.
        common: i64,
    },
    /// The server's log is another one from some place on.
    Part {
        /// The horse.
        horse_id: HorseId,
    },
    /// The account may not see the horse any more.
    Lock {
        /// The horse.
        horse_id: HorseId,
    },
}

/// Compares; equal input gives equal output, in the order of the horses' ids.
///
/// `ours` has every horse on this device; `spared` are those that stay though the server doesn't name them: added here
/// and not known there yet, or set aside when the server began anew.
#[must_use]
pub fn plan(
    ours: &BTreeMap<HorseId, Ours>,
    theirs: &[HeadInfo],
    spared: &BTreeSet<HorseId>,
) -> Vec<Operation> {
    let theirs: BTreeMap<HorseId, &HeadInfo> =
        theirs.iter().map(|head| (head.horse_id, head)).collect();
    let mut operations = Vec::new();
    for (&horse_id, head) in &theirs {
        let ours = ours.get(&horse_id).copied().unwrap_or(Ours {
            place: Place::start(horse_id),
            there: None,
        });
        operations.extend(compare(ours, head));
    }
    let gone = ours
        .keys()
        .filter(|horse| !theirs.contains_key(horse) && !spared.contains(horse));
    operations.extend(gone.map(|&horse_id| Operation::Lock { horse_id }));
    operations.sort_unstable_by_key(Operation::horse_id);
    operations
}

fn compare(ours: Ours, theirs: &HeadInfo) -> Option<Operation> {
    let horse_id = theirs.horse_id;
    let Ours { place, there } = ours;
    if theirs.seq > place.seq {
        return Some(Operation::Pull {
            horse_id,
            after: place.seq,
        });
    }
    let head_there = if theirs.seq == place.seq {
        Some(place.head)
    } else {
        there
    };
    if head_there != Some(theirs.head) {
        return Some(Operation::Part { horse_id });
    }
    (theirs.seq < place.seq).then_some(Operation::GiveBack {
        horse_id,
        common: theirs.seq,
    })
}

impl Operation {
    /// Whether the server lost or changed something that it had.
    #[must_use]
    pub fn tells_of_a_loss(&self) -> bool {
        matches!(self, Self::GiveBack { .. } | Self::Part { .. })
    }

    /// The horse that it is about.
    #[must_use]
    pub fn horse_id(&self) -> HorseId {
        match *self {
            Self::Pull { horse_id, .. }
            | Self::GiveBack { horse_id, .. }
            | Self::Part { horse_id }
            | Self::Lock { horse_id } => horse_id,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use uuid::Uuid;
    use whorl_contract::chain;

    use super::*;

    fn horse(n: u8) -> HorseId {
        HorseId(Uuid::from_u128(n.into()))
    }

    /// The heads of a log whose events are told apart by a number: `heads[n]` is the head after n of them.
    fn heads(horse: HorseId, events: &[u8]) -> Vec<Hash> {
        let mut heads = vec![chain::start(horse)];
        for event in events {
            let last = heads[heads.len() - 1];
            heads.push(chain::next(&last, &Hash::of(&[&[*event]])));
        }
        heads
    }

    fn length(events: &[u8]) -> i64 {
        i64::try_from(events.len()).expect("a short log")
    }

    fn ours(horse: HorseId, ours: &[u8], their_len: usize) -> Ours {
        let heads = heads(horse, ours);
        Ours {
            place: Place {
                seq: length(ours),
                head: heads[ours.len()],
            },
            there: heads
                .get(their_len)
                .filter(|_| their_len < ours.len())
                .copied(),
        }
    }

    fn theirs(horse: HorseId, events: &[u8]) -> HeadInfo {
        HeadInfo {
            horse_id: horse,
            seq: length(events),
            head: heads(horse, events)[events.len()],
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2_000))]

        /// The operation says exactly how two logs lie to each other, from their heads alone.
        #[test]
        fn the_operation_follows_from_the_logs(
            common in prop::collection::vec(0_u8..4, 0..6),
            our_rest in prop::collection::vec(0_u8..4, 0..4),
            their_rest in prop::collection::vec(0_u8..4, 0..4),
        ) {
            let horse_id = horse(1);
            let mine = [common.clone(), our_rest].concat();
            let their = [common, their_rest].concat();
            let known = BTreeMap::from([(horse_id, ours(horse_id, &mine, their.len()))]);
            let got = plan(&known, &[theirs(horse_id, &their)], &BTreeSet::new());
            let (mine_len, their_len) = (length(&mine), length(&their));
            let expected = if their == mine {
                vec![]
            } else if their.len() > mine.len() {
                vec![Operation::Pull { horse_id, after: mine_len }]
            } else if mine.starts_with(&their) {
                vec![Operation::GiveBack { horse_id, common: their_len }]
            } else {
                vec![Operation::Part { horse_id }]
            };
            prop_assert_eq!(got, expected);
        }

        /// A horse is locked exactly if the server doesn't name it and it isn't spared.
        #[test]
        fn a_horse_is_locked_exactly_if_the_server_is_silent_about_it(
            here in prop::collection::btree_set(0_u8..8, 0..8),
            there in prop::collection::btree_set(0_u8..8, 0..8),
            spared in prop::collection::btree_set(0_u8..8, 0..8),
        ) {
            let known = here.iter().map(|&n| (horse(n), ours(horse(n), &[], 0))).collect();
            let named: Vec<HeadInfo> = there.iter().map(|&n| theirs(horse(n), &[])).collect();
            let spared_ids = spared.iter().map(|&n| horse(n)).collect();
            let got = plan(&known, &named, &spared_ids);
            let expected: Vec<Operation> = here
                .iter()
                .filter(|n| !there.contains(n) && !spared.contains(n))
                .map(|&n| Operation::Lock { horse_id: horse(n) })
                .collect();
            prop_assert_eq!(got, expected);
        }
    }
}
