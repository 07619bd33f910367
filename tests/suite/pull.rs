//! Pulling: heads, ranges, limits, the raw log, and what a client can check.

use std::collections::HashMap;

use uuid::Uuid;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::note::Head;
use whorl_contract::sync::{Pull, Pulled, RawLog, Want};
use whorl_contract::{chain, path};
use whorl_tests::ledger::{accepted, follow, heads, pull, pull_all, push};
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, on_both};

/// Records so many weights of a horse.
fn weigh(yard: &Yard, horse: HorseId, times: u32) {
    let events: Vec<_> = (0..times)
        .map(|n| yard.pen().weight(horse, 500.0 + f64::from(n)).sign())
        .collect();
    let _ = push(&yard.owner, &events);
}

fn ask(who: &Person, wants: &[(HorseId, i64)], limit: Option<u32>) -> Pulled {
    let wants = wants
        .iter()
        .map(|(horse_id, after)| Want {
            horse_id: *horse_id,
            after: *after,
        })
        .collect();
    who.post(path::PULL, &Pull { wants, limit }).read()
}

on_both!(a_log_is_pulled_in_pages_of_any_size, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    weigh(&yard, horse, 7);
    let whole = pull_all(&yard.owner, horse, 1000);
    assert_eq!(whole.events.len(), 7);
    for page in 1..=8 {
        let copy = pull_all(&yard.owner, horse, page);
        assert_eq!(copy.events.len(), 7, "pages of {page}");
    }
    let some = pull(&yard.owner, horse, 3, Some(2));
    let seqs: Vec<i64> = some.runs[0].events.iter().map(|event| event.seq).collect();
    assert_eq!(seqs, [4, 5]);
    assert!(some.more && some.runs[0].more);
    let rest = pull(&yard.owner, horse, 5, None);
    assert_eq!(rest.runs[0].events.len(), 2);
    assert!(!rest.more && !rest.runs[0].more);
    assert_eq!(rest.runs[0].head, heads(&yard.owner)[&horse].1);
    let nothing = pull(&yard.owner, horse, 7, None);
    assert!(nothing.runs.is_empty() && !nothing.more);
    assert!(pull(&yard.owner, horse, 99, None).runs.is_empty());
});

on_both!(the_limit_is_for_all_horses_together, |server| {
    let yard = Yard::open(server);
    let (one, two, unknown) = (yard.horse(), yard.horse(), HorseId(Uuid::now_v7()));
    weigh(&yard, one, 3);
    weigh(&yard, two, 3);

    let pulled = ask(&yard.owner, &[(unknown, 0), (one, 0), (two, 0)], Some(4));
    let lengths: Vec<usize> = pulled.runs.iter().map(|run| run.events.len()).collect();
    assert_eq!(lengths, [3, 1]);
    assert!(pulled.more && pulled.runs[1].more && !pulled.runs[0].more);

    let first = ask(&yard.owner, &[(one, 0), (two, 0)], Some(3));
    assert_eq!(first.runs.len(), 1);
    assert!(first.more, "the second horse is left");
    let last = ask(&yard.owner, &[(one, 3), (two, 1)], Some(2));
    assert!(!last.more);
});

on_both!(a_pull_is_checked, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let refused = |after, limit| {
        let wants = vec![Want {
            horse_id: horse,
            after,
        }];
        let answer = yard.owner.post(path::PULL, &Pull { wants, limit });
        assert_eq!(answer.status, 422);
        answer.problem().errors[0].pointer.clone()
    };
    assert_eq!(refused(-1, None), "/wants/0/after");
    assert_eq!(refused(0, Some(0)), "/limit");
    weigh(&yard, horse, 2);
    // More than the most is the most.
    assert_eq!(
        pull(&yard.owner, horse, 0, Some(u32::MAX)).runs[0]
            .events
            .len(),
        2
    );
    let many = vec![
        Want {
            horse_id: horse,
            after: 0
        };
        10_001
    ];
    let body = Pull {
        wants: many,
        limit: None,
    };
    let answer = yard.owner.post(path::PULL, &body);
    assert_eq!(answer.problem().errors[0].pointer, "/wants");
});

on_both!(the_raw_log_verifies_to_its_signed_head, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    weigh(&yard, horse, 5);
    let key = server.state().keys.heads.public();
    let read = |after, limit| -> RawLog { yard.owner.get(&path::log(horse, after, limit)).read() };

    let whole = read(0, 100);
    let signers: HashMap<_, _> = whole
        .signers
        .iter()
        .map(|one| (one.device_id, one.clone()))
        .collect();
    let head = follow(chain::start(horse), 0, &whole.run.events, &signers);
    let signed = Head::verify(&whole.note, &key).expect("the server's signature");
    assert_eq!((signed.seq, signed.head), (5, head));
    assert_eq!(signed.epoch, whole.epoch);
    assert!(Head::verify(&whole.note.replacen("\n5\n", "\n6\n", 1), &key).is_err());

    let part = read(2, 2);
    let seqs: Vec<i64> = part.run.events.iter().map(|event| event.seq).collect();
    assert_eq!(seqs, [3, 4]);
    assert!(part.run.more);
    // The note is about the whole log, whatever part is shown.
    let signed = Head::verify(&part.note, &key).expect("the server's signature");
    assert_eq!(signed.seq, 5);
    let beyond = read(9, 2);
    assert!(beyond.run.events.is_empty() && !beyond.run.more);
    assert_eq!(beyond.run.head, head);
    let negative = yard.owner.get(&path::log(horse, -1, 5));
    assert_eq!(negative.problem().errors[0].pointer, "/after");
});

on_both!(heads_have_an_etag, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let ask = |tag: &str| {
        let request = yard.owner.request(reqwest::Method::GET, path::HEADS);
        yard.owner.send(request.header("If-None-Match", tag))
    };
    let first = yard.owner.get(path::HEADS);
    let tag = first.header("etag").expect("an ETag").to_owned();

    let same = ask(&tag);
    assert_eq!(same.status, 304);
    assert!(same.body.is_empty());
    assert_eq!(same.header("etag"), Some(tag.as_str()));
    assert_eq!(ask(&format!("\"other\", W/{tag}")).status, 304);

    weigh(&yard, horse, 1);
    let changed = ask(&tag);
    assert_eq!(changed.status, 200);
    assert_ne!(changed.header("etag"), Some(tag.as_str()));
});

on_both!(every_kind_comes_back_as_it_was_signed, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let pen = Pen::of(&vet, Role::Vet);
    let mut sent = Vec::new();
    for kind in [Kind::HoofCare, Kind::Vaccination, Kind::Identity] {
        let event = pen.draft(horse, kind).note("½ × “quoted”\u{7}").sign();
        let _ = accepted(&vet, &event);
        sent.push(event);
    }

    let copy = pull_all(&yard.owner, horse, 10);

    for (event, sent) in copy.events.iter().zip(&sent) {
        let (envelope, content) = (event.envelope.as_ref(), event.content.as_ref());
        assert_eq!(envelope.expect("there").get(), sent.envelope.get());
        assert_eq!(content.expect("there").get(), sent.content.get());
        assert_eq!(event.salt, Some(sent.salt));
        assert_eq!(event.signature, Some(sent.signature));
        assert_eq!(event.leaf, None);
        assert_eq!(event.received_at, server.now());
    }
    assert_eq!(copy.signers[&vet.device()].name, "Senna Quill");
});
