//! Sealed events: what a limited grant, a seller and a stranger see of a log, and that the chain verifies all the same.

use chrono::TimeDelta;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::history::History;
use whorl_contract::path;
use whorl_contract::problem::Problem;
use whorl_contract::sync::{Outcome, Push, Pushed, RawLog};
use whorl_contract::transfer::{NewTransfer, Transfer, TransferAcceptance};
use whorl_tests::ledger::{accepted, heads, pull, pull_all, push, push_one};
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Answer, Person, TestServer, on_both};

/// A log with hoof care, a vaccination, a lameness exam, a word about each of the first two, and a weight.
struct Log {
    yard: Yard,
    horse: HorseId,
    farrier: Person,
    vet: Person,
}

impl Log {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let (farrier, vet) = (
            server.device_account("Idris Fenn"),
            server.device_account("Senna Quill"),
        );
        let kinds = vec![Kind::HoofCare, Kind::HoofCheck];
        let _ = yard.admit_to(&farrier, horse, Role::Farrier, Some(kinds));
        let _ = yard.admit(&vet, horse, Role::Vet);
        license(&vet, Role::Vet);
        license(&farrier, Role::Farrier);
        let (smith, doctor) = (Pen::of(&farrier, Role::Farrier), Pen::of(&vet, Role::Vet));
        let trim = smith.draft(horse, Kind::HoofCare);
        let shot = yard
            .pen()
            .draft(horse, Kind::Vaccination)
            .provenance(Provenance::Transcribed);
        assert_eq!(accepted(&farrier, &trim.sign()), 1);
        assert_eq!(accepted(&yard.owner, &shot.sign()), 2);
        let by_vet = [
            doctor.draft(horse, Kind::LamenessExam).sign(),
            doctor
                .draft(horse, Kind::Countersign)
                .about(trim.id())
                .sign(),
            doctor
                .draft(horse, Kind::Countersign)
                .about(shot.id())
                .sign(),
        ];
        let _ = push(&vet, &by_vet);
        assert_eq!(
            accepted(&yard.owner, &yard.pen().weight(horse, 500.0).sign()),
            6
        );
        Self {
            yard,
            horse,
            farrier,
            vet,
        }
    }
}

on_both!(a_limited_grant_sees_its_kinds_and_bare_leaves, |server| {
    let log = Log::on(server);
    let whole = pull_all(&log.yard.owner, log.horse, 100);
    assert_eq!(whole.events.len(), 6);

    for page in [1, 2, 100] {
        let copy = pull_all(&log.farrier, log.horse, page);
        let seen: Vec<bool> = copy
            .events
            .iter()
            .map(|event| event.envelope.is_some())
            .collect();
        // The trim, and what the vet said of it; not the vaccination, the exam, the weight, nor words about them.
        assert_eq!(seen, [true, false, false, true, false, false]);
        for (event, full) in copy.events.iter().zip(&whole.events) {
            assert_eq!(event.leaf().expect("a leaf"), full.leaf().expect("a leaf"));
            if event.envelope.is_none() {
                assert!(event.content.is_none() && event.salt.is_none());
                assert!(event.signature.is_none() && event.leaf.is_some());
            }
        }
        assert_eq!(copy.signers.len(), 2, "who signed what is seen");
        assert!(!copy.signers.contains_key(&log.yard.owner.device()));
    }
    assert_eq!(heads(&log.farrier), heads(&log.yard.owner));
});

on_both!(nothing_of_a_hidden_event_leaks, |server| {
    let log = Log::on(server);
    let history = path::history(log.horse);
    let raw_log = path::log(log.horse, 0, 100);
    let texts = [
        serde_json::to_string(&pull(&log.farrier, log.horse, 0, None)).expect("JSON"),
        log.farrier.get(&raw_log).text(),
        log.farrier.get(&history).text(),
        log.farrier.get(&format!("{history}?format=csv")).text(),
        log.farrier.get(path::HEADS).text(),
        log.farrier.get(&path::horse(log.horse)).text(),
    ];
    let owners_device = log.yard.owner.device().to_string();
    for text in &texts {
        for hidden in ["vaccination", "lameness", "weight_kg\":500", &owners_device] {
            assert!(!text.contains(hidden), "{hidden} in {text}");
        }
    }
    assert!(texts[0].contains("hoof_care"));
    let shown: History = log.farrier.get(&history).read();
    assert_eq!(shown.items.len(), 1);
    assert_eq!(shown.items[0].countersignatures.len(), 1);
    let asked = format!("{history}?kind=vaccination,weight");
    let asked: History = log.farrier.get(&asked).read();
    assert!(asked.items.is_empty());
    let read: RawLog = log.farrier.get(&raw_log).read();
    assert_eq!(read.signers.len(), 2);
});

on_both!(a_stranger_finds_nothing, |server| {
    let log = Log::on(server);
    let stranger = server.device_account("Orla Vance");

    assert!(heads(&stranger).is_empty());
    let pulled = pull(&stranger, log.horse, 0, None);
    assert!(pulled.runs.is_empty() && pulled.signers.is_empty() && !pulled.more);
    let unknown = HorseId(uuid::Uuid::now_v7());
    for (there, nowhere) in [
        (path::log(log.horse, 0, 9), path::log(unknown, 0, 9)),
        (path::history(log.horse), path::history(unknown)),
        (path::horse(log.horse), path::horse(unknown)),
    ] {
        let (there, nowhere) = (stranger.get(&there), stranger.get(&nowhere));
        assert_eq!(there.status, 404);
        // Alike in all but the request's own number.
        let plain = |answer: &Answer| Problem {
            instance: None,
            ..answer.problem()
        };
        assert_eq!(plain(&there), plain(&nowhere));
    }
});

on_both!(a_grant_that_ended_shows_nothing_more, |server| {
    let yard = Yard::open(server);
    let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
    let grant = yard.admit(&hand, horse, Role::BarnStaff);
    let _ = accepted(&yard.owner, &yard.pen().weight(horse, 500.0).sign());
    assert_eq!(pull_all(&hand, horse, 10).events.len(), 1);

    yard.revoke(&grant);

    assert!(heads(&hand).is_empty());
    assert!(pull(&hand, horse, 0, None).runs.is_empty());
    assert_eq!(hand.get(&path::log(horse, 0, 10)).status, 404);
    assert_eq!(hand.get(&path::history(horse)).status, 404);
});

/// Offers a horse to a buyer, who accepts.
fn sell(horse: HorseId, from: &Yard, to: &Yard) {
    let offer = NewTransfer {
        to_email: to.owner.email.clone(),
        password: from.owner.password.clone(),
    };
    let offered: Transfer = from
        .owner
        .post(&path::horse_transfers(horse), &offer)
        .read();
    let acceptance = TransferAcceptance {
        barn_id: to.barn,
        password: to.owner.password.clone(),
    };
    let accepted: Transfer = to
        .owner
        .post(&path::transfer_accept(offered.id), &acceptance)
        .read();
    assert_eq!(accepted.at_seq, Some(6));
}

on_both!(a_seller_sees_up_to_the_sale, |server| {
    let log = Log::on(server);
    let buyer = Yard::of(server.device_account("Perran Vale"));
    let unsent = log.yard.pen().weight(log.horse, 490.0);
    server.clock.advance(TimeDelta::minutes(1));
    let unsent = unsent.recorded_at(server.now());
    server.clock.advance(TimeDelta::minutes(1));
    sell(log.horse, &log.yard, &buyer);
    server.clock.advance(TimeDelta::minutes(1));
    let after = buyer.pen().weight(log.horse, 510.0).sign();
    assert_eq!(accepted(&buyer.owner, &after), 7);

    let seller = &log.yard.owner;
    assert_eq!(pull_all(seller, log.horse, 4).events.len(), 6);
    assert_eq!(heads(seller)[&log.horse].0, 6);
    assert_eq!(pull_all(&buyer.owner, log.horse, 4).events.len(), 7);
    assert!(pull(seller, log.horse, 6, None).runs.is_empty());
    let raw: RawLog = seller.get(&path::log(log.horse, 0, 100)).read();
    assert_eq!(raw.run.events.len(), 6);
    assert!(raw.note.contains("\n6\n"), "{}", raw.note);
    let history: History = seller.get(&path::history(log.horse)).read();
    assert_eq!(history.seq, 6);
    assert!(history.items.iter().all(|entry| entry.seq <= 6));
    assert!(pull(&log.vet, log.horse, 0, None).runs.is_empty());

    // What the seller recorded before the sale waits for the buyer, and no head past the sale is told.
    let events = vec![unsent.sign()];
    let pushed: Pushed = seller.post(path::EVENTS, &Push { events }).read();
    assert_eq!(pushed.outcomes, [Outcome::Held]);
    assert!(pushed.heads.is_empty());
    let late = log
        .yard
        .pen()
        .weight(log.horse, 491.0)
        .recorded_at(server.now());
    assert!(matches!(
        push_one(seller, &late.sign()),
        Outcome::Refused { .. }
    ));
});
