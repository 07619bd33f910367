//! I2, I3, I5, I6, I7: whatever the order of pushes, repeats and cut connections, the logs hold the same events, each
//! once, in places without a gap, and their chains verify.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::net::TcpStream;

use proptest::collection::vec;
use proptest::prelude::*;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::Role;
use whorl_contract::event::{Envelope, SignedEvent};
use whorl_contract::path;
use whorl_contract::sync::{Outcome, Push};
use whorl_tests::ledger::{heads, pull_all, push};
use whorl_tests::pen::Pen;
use whorl_tests::yard::Yard;
use whorl_tests::{Person, TestServer, on_both};

use super::on_cases;

const CASES: u32 = 48;
const DEVICES: usize = 3;
const HORSES: usize = 3;

/// What the network makes of a push.
#[derive(Clone, Copy, Debug)]
enum Network {
    /// The answer comes.
    Fine,
    /// The answer is lost.
    AnswerLost,
    /// The connection is cut as soon as the request is out; the server may or may not take it.
    Cut,
    /// The connection is cut in the middle of the request; nothing of it can be taken.
    CutInTheMiddle,
}

/// One push: whose device sends it, which of the events (some perhaps twice), and what becomes of it.
#[derive(Clone, Debug)]
struct Batch {
    device: usize,
    events: Vec<prop::sample::Index>,
    network: Network,
}

/// What the devices have recorded (by whose device, on which horse), and how it is pushed.
#[derive(Clone, Debug)]
struct Story {
    records: Vec<(usize, usize)>,
    batches: Vec<Batch>,
    /// The order in which what is left is pushed at last.
    last: Vec<prop::sample::Index>,
}

fn story() -> impl Strategy<Value = Story> {
    let network = prop_oneof![
        4 => Just(Network::Fine),
        2 => Just(Network::AnswerLost),
        1 => Just(Network::Cut),
        1 => Just(Network::CutInTheMiddle),
    ];
    let batch = (
        0..DEVICES,
        vec(any::<prop::sample::Index>(), 0..12),
        network,
    )
        .prop_map(|(device, events, network)| Batch {
            device,
            events,
            network,
        });
    let record = (0..DEVICES, 0..HORSES);
    let last = vec(any::<prop::sample::Index>(), 0..8);
    (vec(record, 1..24), vec(batch, 0..8), last).prop_map(|(records, batches, last)| Story {
        records,
        batches,
        last,
    })
}

/// Sends a push and hangs up, after so many bytes of it.
fn hang_up(server: &TestServer, who: &Person, events: &[SignedEvent], whole: bool) {
    let body = serde_json::to_string(&Push {
        events: events.to_vec(),
    })
    .expect("JSON");
    let address = server.url().replace("http://", "");
    let request = format!(
        "POST {} HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {}\r\n\
         content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
        path::EVENTS,
        who.session.access_token,
        body.len(),
    );
    let sent = if whole {
        request.len()
    } else {
        request.len() - body.len() / 2 - 1
    };
    let mut stream = TcpStream::connect(address).expect("a connection");
    stream
        .write_all(&request.as_bytes()[..sent])
        .expect("a request");
}

/// What answers said of each event's place.
#[derive(Default)]
struct Told {
    places: BTreeMap<EventId, i64>,
    accepted: BTreeSet<EventId>,
}

impl Told {
    fn hear(&mut self, ids: &[EventId], outcomes: Vec<Outcome>) {
        for (id, outcome) in ids.iter().zip(outcomes) {
            let seq = match outcome {
                Outcome::Accepted { seq } => {
                    assert!(self.accepted.insert(*id), "{id} was accepted twice");
                    seq
                }
                Outcome::Known { seq } => seq,
                other => panic!("{id}: {other:?}"),
            };
            // I3: one place, for ever.
            assert_eq!(*self.places.entry(*id).or_insert(seq), seq, "{id}");
        }
    }
}

fn play(server: &TestServer, yard: &Yard, people: &[Person], story: &Story) {
    let horses: Vec<HorseId> = (0..HORSES).map(|_| yard.horse()).collect();
    for horse in &horses {
        let _ = yard.admit(&people[2], *horse, Role::BarnStaff);
    }
    let pens = [Role::Owner, Role::Owner, Role::BarnStaff];
    let events: Vec<(EventId, HorseId, SignedEvent)> = (0..)
        .zip(&story.records)
        .map(|(n, (device, horse))| {
            let pen = Pen::of(&people[*device], pens[*device]);
            let draft = pen.weight(horses[*horse], 400.0 + f64::from(n));
            (draft.id(), horses[*horse], draft.sign())
        })
        .collect();
    let mut told = Told::default();
    let pick = |indices: &[prop::sample::Index]| -> (Vec<EventId>, Vec<SignedEvent>) {
        let picked = indices.iter().map(|index| index.get(&events));
        picked.map(|(id, _, event)| (*id, event.clone())).unzip()
    };
    for batch in &story.batches {
        let (ids, picked) = pick(&batch.events);
        let who = &people[batch.device];
        match batch.network {
            Network::Fine => told.hear(&ids, push(who, &picked)),
            Network::AnswerLost => drop(push(who, &picked)),
            Network::Cut => hang_up(server, who, &picked, true),
            Network::CutInTheMiddle => hang_up(server, who, &picked, false),
        }
    }
    // At last every device gets through: first some events in any order, then all of them, one batch a device.
    let (ids, picked) = pick(&story.last);
    told.hear(&ids, push(&people[0], &picked));
    for (n, person) in people.iter().enumerate() {
        let own = events.iter().zip(&story.records);
        let own = own.filter(|(_, (device, _))| *device == n);
        let (ids, own): (Vec<_>, Vec<_>) =
            own.map(|((id, _, event), _)| (*id, event.clone())).unzip();
        told.hear(&ids, push(person, &own));
    }
    check(people, &horses, &events, &told);
}

/// The logs hold what was recorded and nothing else, for everybody alike.
fn check(
    people: &[Person],
    horses: &[HorseId],
    events: &[(EventId, HorseId, SignedEvent)],
    told: &Told,
) {
    assert_eq!(told.places.len(), events.len(), "every event was answered");
    let stand = heads(&people[0]);
    let mut found = 0;
    for horse in horses {
        // Places, chain and signatures are checked as a log is pulled (I2, I7).
        let copies: Vec<_> = [1000, 5]
            .iter()
            .zip(people)
            .map(|(page, person)| pull_all(person, *horse, *page))
            .collect();
        let texts = |n: usize| -> Vec<&str> {
            let events = copies[n].events.iter();
            events
                .map(|event| event.envelope.as_ref().expect("an envelope").get())
                .collect()
        };
        assert_eq!(texts(0), texts(1));
        let length = i64::try_from(copies[0].events.len()).expect("a place");
        assert_eq!(stand[horse].0, length);
        for event in &copies[0].events {
            let text = event.envelope.as_ref().expect("an envelope").get();
            let envelope: Envelope = serde_json::from_str(text).expect("an envelope");
            assert_eq!(told.places[&envelope.id], event.seq);
            let (_, recorded_on, sent) = events
                .iter()
                .find(|(id, _, _)| *id == envelope.id)
                .expect("nothing that nobody recorded");
            assert_eq!(recorded_on, horse);
            assert_eq!(sent.envelope.get(), text);
            assert_eq!(event.signature, Some(sent.signature));
            found += 1;
        }
    }
    assert_eq!(found, events.len(), "each event once");
}

on_both!(any_order_of_pushes_ends_in_the_same_logs, |server| {
    let yard = Yard::open(server);
    let people = [
        yard.owner.clone(),
        yard.owner.elsewhere(true),
        server.device_account("Tam Brisling"),
    ];
    on_cases(CASES, &story(), |story| {
        play(server, &yard, &people, &story);
    });
});
