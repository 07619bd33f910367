//! What holds whatever happens: property tests.

use proptest::prelude::*;

use super::model::Disk;
use super::*;
use crate::mirror::Place;
use crate::sync::check;

#[derive(Clone, Debug)]
enum Step {
    Record(u8),
    SomebodyRecords(u8),
    Sync(Vec<Line>),
    BackUp,
    Restore,
    RestoreUnannounced,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let line = prop_oneof![
        3 => Just(Line::Good),
        1 => Just(Line::LosesRequest),
        1 => Just(Line::LosesAnswer),
    ];
    let step = prop_oneof![
        6 => (0_u8..3).prop_map(Step::Record),
        4 => (0_u8..3).prop_map(Step::SomebodyRecords),
        6 => prop::collection::vec(line, 0..8).prop_map(Step::Sync),
        1 => Just(Step::BackUp),
        1 => Just(Step::Restore),
        1 => Just(Step::RestoreUnannounced),
    ];
    prop::collection::vec(step, 1..30)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Any order of recording, lost requests, lost answers, kills between the steps, and servers that go back to a
    /// backup ends in the same log on both sides, with everything in it that was ever acknowledged or recorded here,
    /// once.
    #[test]
    fn whatever_happens_both_sides_end_with_the_same_and_nothing_is_lost(steps in steps()) {
        let mut model = Model::new();
        let client = Client::new(&mut model);
        let mut mine = Vec::new();
        let mut backup = Disk::default();
        let mut others: u128 = 500_000;
        for step in steps {
            match step {
                Step::Record(n) => mine.push((horse(n), client.record(horse(n)))),
                Step::SomebodyRecords(n) => {
                    others += 1;
                    model.somebody_records(horse(n), others);
                }
                Step::Sync(line) => {
                    model.line = line.into();
                    let (_, done) = client.sync(&mut model, false);
                    if let Err(failure) = done {
                        prop_assert_eq!(failure.status(), 4);
                    }
                }
                Step::BackUp => backup = model.disk.clone(),
                Step::Restore => {
                    model.disk = backup.clone();
                    model.epoch = Uuid::from_u128(model.epoch.as_u128() + 1);
                }
                // The horses are there still: one that is missing without a word is one that we may not see.
                Step::RestoreUnannounced => {
                    for (horse, log) in &mut model.disk.logs {
                        *log = backup.logs.get(horse).cloned().unwrap_or_default();
                    }
                }
            }
        }
        client.settled(&mut model);
        // Whoever runs the server opens the horses again that its backup didn't have.
        for n in 0..3 {
            model.disk.logs.entry(horse(n)).or_default();
        }
        client.settled(&mut model);
        for n in 0..3 {
            client.assert_same(&model, horse(n));
        }
        prop_assert_eq!(client.states(), vec![]);
        for (horse, id) in mine {
            let log = &model.disk.logs[&horse];
            let count = log
                .iter()
                .filter(|event| event.open().expect("genuine").envelope.id == id)
                .count();
            prop_assert_eq!(count, 1);
        }
    }

    /// However the pages of a log are cut and whatever is lost on the way, the copy is always the beginning of the log.
    #[test]
    fn a_copy_is_always_a_beginning(
        count in 1_usize..20,
        lines in prop::collection::vec(prop::collection::vec(prop_oneof![
            Just(Line::Good), Just(Line::LosesRequest), Just(Line::LosesAnswer)], 0..6), 0..6),
    ) {
        let mut model = Model::new();
        let client = Client::new(&mut model);
        for n in 0..count {
            model.somebody_records(horse(0), 600_000 + n as u128);
        }
        for line in lines {
            model.line = line.into();
            let _ = client.sync(&mut model, false);
            let heads = model.heads_of(horse(0));
            let place = mirror::place(&mut client.open(), horse(0)).expect("a place");
            let seq = usize::try_from(place.seq).expect("a place");
            prop_assert_eq!(place.head, heads[seq]);
        }
    }

    /// A changed bit anywhere in an event, a dropped, repeated or swapped entry is found, and nothing is written.
    #[test]
    fn no_change_of_a_run_is_overlooked(at in any::<prop::sample::Index>(), bit in 0_u8..8, how in 0_u8..5) {
        let mut model = Model::new();
        for n in 0..4 {
            model.somebody_records(horse(0), 700_000 + n);
        }
        let heads = model.heads_of(horse(0));
        let log = &model.disk.logs[&horse(0)];
        let mut events: Vec<_> = log
            .iter()
            .enumerate()
            .map(|(n, event)| model::logged(n + 1, event, false))
            .collect();
        match how {
            0 => {
                let envelope = events[1].envelope.take().expect("whole");
                events[1].envelope = Some(flip(envelope.get(), at, bit));
            }
            1 => {
                let content = events[1].content.take().expect("whole");
                events[1].content = Some(flip(content.get(), at, bit));
            }
            2 => drop(events.remove(1)),
            3 => events.swap(0, 1),
            _ => events.insert(1, events[1].clone()),
        }
        let run = whorl_contract::sync::Run { horse_id: horse(0), kinds: Vec::new(), events, head: heads[4], more: false };
        let signers = model.signers.clone();
        prop_assert!(check::run(&run, Place::start(horse(0)), &signers).is_err());
    }
}

/// The text with one bit changed, if that still is JSON; else something else that is.
fn flip(text: &str, at: prop::sample::Index, bit: u8) -> Box<serde_json::value::RawValue> {
    let mut bytes = text.as_bytes().to_vec();
    let at = at.index(bytes.len());
    bytes[at] ^= 1 << bit;
    let changed = String::from_utf8(bytes)
        .ok()
        .and_then(|text| serde_json::value::RawValue::from_string(text).ok());
    changed.unwrap_or_else(|| {
        serde_json::value::RawValue::from_string("{\"other\":1}".to_owned()).expect("JSON")
    })
}
