//! Bundles as they are made, and what is no bundle.

mod forgeries;

use proptest::prelude::*;
use serde_json::{Map, json};
use whorl_care::details;
use whorl_care::ids::EventId;
use whorl_care::kind::Provenance;

use super::*;
use crate::chain;
use crate::event::{Envelope, SignedEvent, VOCABULARY};
use crate::note::Head;

const FARRIER: u8 = 1;
const VET: u8 = 2;

fn key(of: u8) -> SecretKey {
    SecretKey::from_seed(&[of; 32])
}

fn server() -> SecretKey {
    key(9)
}

fn id(n: u128) -> Uuid {
    Uuid::from_u128(0x0199_f3a0_7c00_7000_8000_0000_0000_0000 + n)
}

fn horse(n: u128) -> HorseId {
    HorseId(id(1000 + n))
}

/// An entry by one of the two, with details of its kind.
fn event(n: u128, by: u8, kind: Kind, about: Option<u128>, details: Value) -> SignedEvent {
    let envelope = Envelope {
        id: EventId(id(n)),
        horse_id: horse(1),
        kind,
        vocabulary: VOCABULARY,
        performed_at: format!("2026-05-{:02}T09:20:00+01:00", n + 1)
            .parse()
            .expect("a time"),
        recorded_at: "2026-05-30T09:20:00+01:00".parse().expect("a time"),
        author_id: AccountId(id(100 + u128::from(by))),
        device_id: DeviceId(id(200 + u128::from(by))),
        role: if by == VET { Role::Vet } else { Role::Farrier },
        provenance: Provenance::Attested,
        visit_id: None,
        target_id: about.map(|n| EventId(id(n))),
        content_hash: Hash([0; 32]),
        other: Map::new(),
    };
    let content = Content {
        performed_by: None,
        note: Some("Ærøskøbing, “sound”".to_owned()),
        attachments: Vec::new(),
        details,
    };
    let salt = Salt([u8::try_from(n).expect("small"); 32]);
    SignedEvent::sign(envelope, &content, salt, &key(by)).expect("a canonical form")
}

fn example(n: u128, by: u8, kind: Kind) -> SignedEvent {
    event(n, by, kind, None, details::example(kind))
}

fn amendment(n: u128, by: u8, about: u128, kind: Kind) -> SignedEvent {
    let details = json!({"reason": "Read the scale wrongly.", "details": details::example(kind)});
    event(n, by, Kind::Amendment, Some(about), details)
}

fn bundled(seq: i64, event: &SignedEvent) -> BundledEvent {
    let value = |text: &str| Some(canonical::read(text).expect("strict JSON"));
    BundledEvent {
        seq,
        received_at: DateTime::from_timestamp(1_790_000_000, 0),
        envelope: value(event.envelope.get()),
        signature: Some(event.signature),
        content: value(event.content.get()),
        salt: Some(event.salt),
        leaf: None,
    }
}

fn leaf(event: &BundledEvent) -> Hash {
    event.leaf.unwrap_or_else(|| {
        let envelope = event.envelope.as_ref().expect("an envelope");
        let bytes = canonical::write(envelope).expect("a form");
        crate::event::leaf(&bytes, &event.signature.expect("a signature"))
    })
}

fn note(events: &[BundledEvent], horse: HorseId, key: &SecretKey) -> String {
    let first = chain::start(horse);
    let head = Head {
        server: "saltmarsh.example".to_owned(),
        horse_id: horse,
        seq: i64::try_from(events.len()).expect("few"),
        head: events
            .iter()
            .fold(first, |head, event| chain::next(&head, &leaf(event))),
        epoch: id(300),
        at: DateTime::from_timestamp(1_790_000_000, 0).expect("a time"),
    };
    head.sign(key)
}

fn signer(by: u8) -> BundledSigner {
    let licence = NotedLicence {
        role: if by == VET { Role::Vet } else { Role::Farrier },
        number: "SV-20418".to_owned(),
        jurisdiction: "gb".to_owned(),
        valid_until: None,
        seen_at: None,
    };
    BundledSigner {
        device_id: DeviceId(id(200 + u128::from(by))),
        public_key: key(by).public(),
        account_id: AccountId(id(100 + u128::from(by))),
        name: if by == VET {
            "Senna Quill"
        } else {
            "Idris Fenn"
        }
        .to_owned(),
        licences: vec![licence],
    }
}

fn of(events: &[SignedEvent]) -> Bundle {
    let events: Vec<BundledEvent> = events
        .iter()
        .zip(1..)
        .map(|(event, seq)| bundled(seq, event))
        .collect();
    Bundle {
        format: FORMAT.to_owned(),
        server: "saltmarsh.example".to_owned(),
        server_key: server().public(),
        horse_id: horse(1),
        epoch: id(300),
        exported_at: DateTime::from_timestamp(1_790_000_000, 0).expect("a time"),
        exported_by: Exporter {
            account_id: AccountId(id(100)),
            name: "Maren Oduya".to_owned(),
        },
        note: note(&events, horse(1), &server()),
        events,
        signers: vec![signer(FARRIER), signer(VET)],
        signature: Signature([0; 64]),
    }
}

/// Identity, weight, lameness exam, amendment of the weight.
fn four() -> Bundle {
    of(&[
        example(1, VET, Kind::Identity),
        example(2, FARRIER, Kind::Weight),
        example(3, VET, Kind::LamenessExam),
        amendment(4, FARRIER, 2, Kind::Weight),
    ])
}

fn withhold(event: &mut BundledEvent) {
    event.content = None;
    event.salt = None;
}

fn seal_whole(event: &mut BundledEvent) {
    *event = BundledEvent {
        seq: event.seq,
        leaf: Some(leaf(event)),
        ..BundledEvent::default()
    };
}

/// What is found in a bundle that carries a good signature of the server, as a server that lies could make it.
fn found(bundle: &Bundle) -> Report {
    let bytes = bundle.sign(&server()).expect("a form");
    verify(&bytes, Some(&server().public())).expect("a bundle")
}

fn codes(report: &Report) -> Vec<(FaultCode, Option<i64>)> {
    let faults = report.faults.iter();
    faults.map(|fault| (fault.code, fault.seq)).collect()
}

#[test]
fn a_sound_bundle_says_what_it_proves() {
    let report = found(&four());
    assert_eq!(report.faults, []);
    assert!(report.verified && report.key_was_given);
    let name = details::example(Kind::Identity)["name"]
        .as_str()
        .map(str::to_owned);
    assert!(name.is_some());
    assert_eq!((report.horse, report.entries), (name, 4));
    let authors: Vec<(&str, &str, String)> = report
        .authors
        .iter()
        .map(|one| {
            (
                one.name.as_str(),
                one.role.as_str(),
                one.licences_in_words(),
            )
        })
        .collect();
    let licence = "SV-20418 (GB; paper not seen)".to_owned();
    assert_eq!(
        authors,
        [
            ("Idris Fenn", "farrier", licence.clone()),
            ("Senna Quill", "vet", licence)
        ]
    );
    assert_eq!(report.withheld, Withheld::default());
    assert!(
        report
            .proven
            .iter()
            .any(|said| said.contains("4 entries, none dropped"))
    );
    assert!(
        !report
            .not_proven
            .iter()
            .any(|said| said.contains("withheld"))
    );
}

#[test]
fn every_changed_byte_is_refused() {
    let mut bundle = of(&[
        example(1, VET, Kind::Weight),
        example(2, VET, Kind::BodyCondition),
        example(3, VET, Kind::LamenessExam),
    ]);
    withhold(&mut bundle.events[1]);
    seal_whole(&mut bundle.events[2]);
    bundle.signers.remove(0);
    let bytes = bundle.sign(&server()).expect("a form");
    assert!(verify(&bytes, None).expect("a bundle").verified);
    for at in 0..bytes.len() {
        for mask in [0x01, 0x20] {
            let mut changed = bytes.clone();
            changed[at] ^= mask;
            let passed = verify(&changed, None).is_ok_and(|report| report.verified);
            assert!(!passed, "byte {at} with {mask:#x}");
        }
        let mut shorter = bytes.clone();
        shorter.remove(at);
        assert!(!verify(&shorter, None).is_ok_and(|report| report.verified));
    }
    for space in [" ", "\n"] {
        let longer = [&bytes, space.as_bytes()].concat();
        let report = verify(&longer, None).expect("still JSON");
        assert_eq!(codes(&report), [(FaultCode::OtherSpelling, None)]);
    }
}

#[test]
fn a_stranger_can_only_sign_in_their_own_name() {
    let mut bundle = four();
    bundle.server_key = key(8).public();
    bundle.note = note(&bundle.events, horse(1), &key(8));
    let bytes = bundle.sign(&key(8)).expect("a form");
    let unaware = verify(&bytes, None).expect("a bundle");
    assert!(unaware.verified && unaware.not_proven[0].contains(&key(8).public().to_string()));
    let aware = verify(&bytes, Some(&server().public())).expect("a bundle");
    assert_eq!(codes(&aware), [(FaultCode::OtherServerKey, None)]);
}

#[test]
fn what_is_withheld_is_counted() {
    let mut bundle = four();
    withhold(&mut bundle.events[2]);
    let report = found(&bundle);
    assert!(report.verified, "{:?}", report.faults);
    let words = report.withheld.words().expect("something");
    assert_eq!(
        words,
        "the content of 1 entry (1 lameness exam; of 2026-05-04)"
    );
    assert_eq!(report.log[2].author.as_deref(), Some("Senna Quill"));

    seal_whole(&mut bundle.events[1]);
    let report = found(&bundle);
    assert!(report.verified, "{:?}", report.faults);
    assert_eq!((report.withheld.content, report.withheld.leaf_only), (1, 1));
    assert_eq!(report.log[1].kind, None);
    assert_eq!(report.withheld.corrections, [0; 0]);
    let sworn = report.not_proven.join(" ");
    assert!(sworn.contains("among those sealed whole"), "{sworn}");
}

#[test]
fn a_withheld_correction_of_what_is_shown_is_pointed_out() {
    let mut bundle = four();
    withhold(&mut bundle.events[3]);
    let report = found(&bundle);
    assert!(report.verified);
    assert_eq!(report.withheld.corrections, [4]);
    assert!(
        report
            .not_proven
            .iter()
            .any(|said| said.contains("place 4"))
    );
}

#[test]
fn an_amended_and_withdrawn_log_is_sound_and_so_is_an_empty_one() {
    let withdrawn = event(
        5,
        VET,
        Kind::Retraction,
        Some(3),
        json!({"reason": "Wrong horse."}),
    );
    let bundle = of(&[
        example(1, VET, Kind::Identity),
        example(3, VET, Kind::LamenessExam),
        amendment(4, VET, 1, Kind::Identity),
        withdrawn,
    ]);
    assert!(found(&bundle).verified);
    let empty = found(&of(&[]));
    assert!(empty.verified && empty.entries == 0);
}

#[test]
fn what_is_no_bundle_is_told_from_a_damaged_one() {
    let sound = String::from_utf8(four().sign(&server()).expect("a form")).expect("UTF-8");
    let deep = "[".repeat(100_000);
    let nested = format!("{}1{}", "[".repeat(60), "]".repeat(60));
    for other in [
        "",
        "{}",
        "[]",
        "null",
        "\u{feff}{}",
        "%PDF-1.7",
        deep.as_str(),
        nested.as_str(),
        "{\"format\":7}",
    ] {
        assert!(
            matches!(verify(other.as_bytes(), None), Err(Unread::NotABundle(_))),
            "{other:.20}"
        );
    }
    let later = sound.replace("whorl-bundle/1", "whorl-bundle/2");
    assert!(
        matches!(verify(later.as_bytes(), None), Err(Unread::NotABundle(why)) if why.contains("whorl-bundle/2"))
    );
    let too_large = vec![b' '; LARGEST + 1];
    assert!(matches!(
        verify(&too_large, None),
        Err(Unread::NotABundle(_))
    ));
    let doubled = sound.replacen("\"epoch\":", "\"epoch\":\"x\",\"epoch\":", 1);
    let unknown = sound.replacen("\"epoch\":", "\"colour\":\"bay\",\"epoch\":", 1);
    let in_an_event = sound.replacen("\"received_at\":", "\"colour\":\"bay\",\"received_at\":", 1);
    for damaged in [&doubled, &unknown, &in_an_event, &sound[..sound.len() - 1]] {
        assert_ne!(damaged, sound);
        assert!(
            matches!(verify(damaged.as_bytes(), None), Err(Unread::Damaged(_))),
            "{damaged:.60}"
        );
    }
    let raw = [sound.as_bytes(), &[0xff]].concat();
    assert!(matches!(verify(&raw, None), Err(Unread::Damaged(_))));
}

#[test]
fn a_content_as_deep_as_an_event_may_have_fits_into_a_bundle() {
    // The content is one level, its details another.
    let levels = canonical::DEEPEST - 1;
    let deep: Value =
        serde_json::from_str(&format!("{}{}", "[".repeat(levels), "]".repeat(levels)))
            .expect("JSON");
    let event = event(1, VET, Kind::Weight, None, deep);
    assert!(canonical::read(event.content.get()).is_ok());
    assert!(found(&of(&[event])).verified);
}

proptest! {
    #[test]
    fn hostile_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        prop_assert!(verify(&bytes, None).is_err());
    }

    #[test]
    fn hostile_changes_never_pass(at in any::<prop::sample::Index>(), piece in "[\\[\\]{}\":,0-9a-z\\\\]{1,12}", cut in 0_usize..12) {
        let bytes = four().sign(&server()).expect("a form");
        let at = at.index(bytes.len());
        let end = (at + cut).min(bytes.len());
        let changed = [&bytes[..at], piece.as_bytes(), &bytes[end..]].concat();
        prop_assume!(changed != bytes);
        prop_assert!(!verify(&changed, None).is_ok_and(|report| report.verified));
    }
}
