//! Bundles as somebody would forge them, who may even hold the server's own key.

use super::*;

/// A change to a sound bundle, and the faults that it makes even where the server's own key signs the file anew.
type Forgery = (
    &'static str,
    fn(&mut Bundle),
    &'static [(FaultCode, Option<i64>)],
);

const FORGERIES: &[Forgery] = &[
    (
        "dropped",
        |b| drop(b.events.remove(1)),
        &[
            (FaultCode::OutOfOrder, Some(3)),
            (FaultCode::OutOfOrder, Some(4)),
            (FaultCode::OtherLength, None),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "dropped, and counted anew",
        |b| {
            b.events.remove(1);
            renumber(b);
        },
        &[
            (FaultCode::OtherLength, None),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "cut off at the end",
        |b| drop(b.events.pop()),
        &[
            (FaultCode::OtherLength, None),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "swapped",
        |b| {
            b.events.swap(1, 2);
            renumber(b);
        },
        &[(FaultCode::OtherChain, None)],
    ),
    (
        "added",
        |b| b.events.push(bundled(5, &example(5, VET, Kind::Weight))),
        &[
            (FaultCode::OtherLength, None),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "doubled",
        |b| {
            b.events.insert(1, b.events[1].clone());
            renumber(b);
        },
        &[
            (FaultCode::EventTwice, Some(3)),
            (FaultCode::OtherLength, None),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "doubled, and the head signed for it",
        |b| {
            b.events.insert(1, b.events[1].clone());
            renumber(b);
            b.note = note(&b.events, horse(1), &server());
        },
        &[(FaultCode::EventTwice, Some(3))],
    ),
    (
        "a content moved to another event",
        |b| {
            b.events[1].content = b.events[2].content.clone();
            b.events[1].salt = b.events[2].salt;
        },
        &[
            (FaultCode::OtherContent, Some(2)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "a content changed",
        |b| b.events[1].content.as_mut().expect("one")["note"] = json!("lame"),
        &[
            (FaultCode::OtherContent, Some(2)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "another salt",
        |b| b.events[1].salt = Some(Salt([0; 32])),
        &[
            (FaultCode::OtherContent, Some(2)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "a withheld event with another envelope",
        |b| {
            withhold(&mut b.events[2]);
            b.events[2].envelope.as_mut().expect("one")["kind"] = json!("weight");
        },
        &[
            (FaultCode::OtherSignature, Some(3)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "a leaf in place of another",
        |b| {
            seal_whole(&mut b.events[2]);
            b.events[2].leaf = Some(Hash([1; 32]));
        },
        &[(FaultCode::OtherChain, None)],
    ),
    (
        "a leaf beside an envelope",
        |b| b.events[2].leaf = Some(leaf(&b.events[2])),
        &[(FaultCode::Damaged, Some(3)), (FaultCode::OtherChain, None)],
    ),
    (
        "a content without its envelope",
        |b| b.events[2].envelope = None,
        &[(FaultCode::Damaged, Some(3)), (FaultCode::OtherChain, None)],
    ),
    (
        "a content without its salt",
        |b| b.events[2].salt = None,
        &[(FaultCode::Damaged, Some(3)), (FaultCode::OtherChain, None)],
    ),
    (
        "another server's head",
        |b| b.note = note(&b.events, horse(1), &key(8)),
        &[(FaultCode::OtherHead, None)],
    ),
    (
        "another horse's head",
        |b| b.note = note(&b.events, horse(2), &server()),
        &[(FaultCode::OtherHead, None), (FaultCode::OtherChain, None)],
    ),
    (
        "another ledger's head",
        |b| b.epoch = id(301),
        &[(FaultCode::OtherHead, None)],
    ),
    (
        "another server's name",
        |b| b.server = "heronsgate.example".to_owned(),
        &[(FaultCode::OtherHead, None)],
    ),
    (
        "another horse's log",
        |b| {
            b.horse_id = horse(2);
            b.note = note(&b.events, horse(2), &server());
        },
        &[
            (FaultCode::OtherHorse, Some(1)),
            (FaultCode::OtherHorse, Some(2)),
            (FaultCode::OtherHorse, Some(3)),
            (FaultCode::OtherHorse, Some(4)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "signed by another key than the signer's",
        |b| b.signers[0].public_key = key(7).public(),
        &[
            (FaultCode::OtherSignature, Some(2)),
            (FaultCode::OtherSignature, Some(4)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "the vet's device in the farrier's name",
        |b| b.signers[1].account_id = b.signers[0].account_id,
        &[
            (FaultCode::OtherSignature, Some(1)),
            (FaultCode::OtherSignature, Some(3)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "a signer left out",
        |b| drop(b.signers.remove(0)),
        &[
            (FaultCode::UnknownSigner, Some(2)),
            (FaultCode::UnknownSigner, Some(4)),
            (FaultCode::OtherChain, None),
        ],
    ),
    (
        "a signer twice",
        |b| b.signers.push(signer(VET)),
        &[(FaultCode::SignerTwice, None)],
    ),
    (
        "another key as the server's",
        |b| b.server_key = key(8).public(),
        &[
            (FaultCode::OtherFile, None),
            (FaultCode::OtherServerKey, None),
            (FaultCode::OtherHead, None),
        ],
    ),
];

fn renumber(bundle: &mut Bundle) {
    for (event, seq) in bundle.events.iter_mut().zip(1..) {
        event.seq = seq;
    }
}

#[test]
fn every_forgery_is_found_even_with_the_servers_signature() {
    for (what, forge, faults) in FORGERIES {
        let mut bundle = four();
        forge(&mut bundle);
        let report = found(&bundle);
        assert_eq!(codes(&report), *faults, "{what}");
        assert!(!report.verified && report.proven.is_empty(), "{what}");
        // Without the server's key the file as a whole doesn't fit either.
        let bytes = bundle.sign(&key(8)).expect("a form");
        let report = verify(&bytes, Some(&server().public())).expect("a bundle");
        assert!(!report.verified, "{what}");
    }
}
