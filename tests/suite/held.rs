//! Records made under a grant that had ended when they came: they wait for the owner, and are never lost.

use chrono::TimeDelta;
use whorl_care::ids::EventId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind as Problem;
use whorl_contract::sync::{HeldDecision, HeldEvent, Outcome};
use whorl_tests::ledger::{accepted, heads, pull_all, push, push_one, refusal};
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Answer, Person, TestServer, on_both};

/// A barn hand recorded a weight a minute before their grant ended, and pushes it a minute after.
struct Late {
    yard: Yard,
    hand: Person,
    record: Draft,
}

impl Late {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
        let grant = yard.admit(&hand, horse, Role::BarnStaff);
        server.clock.advance(TimeDelta::minutes(1));
        let record = Pen::of(&hand, Role::BarnStaff)
            .weight(horse, 512.0)
            .recorded_at(server.now());
        server.clock.advance(TimeDelta::minutes(1));
        yard.revoke(&grant);
        server.clock.advance(TimeDelta::minutes(1));
        Self { yard, hand, record }
    }

    fn push(&self) -> Outcome {
        push_one(&self.hand, &self.record.sign())
    }
}

fn waiting(person: &Person) -> Vec<HeldEvent> {
    person.get(path::HELD).read::<Page<HeldEvent>>().items
}

fn decide(person: &Person, event: EventId, accept: bool) -> Answer {
    person.post(&path::held(event), &HeldDecision { accept })
}

on_both!(
    a_late_record_waits_and_enters_when_the_owner_accepts,
    |server| {
        let late = Late::on(server);
        assert_eq!(late.push(), Outcome::Held);
        assert_eq!(
            late.push(),
            Outcome::Held,
            "a repeated push changes nothing"
        );

        let [held] = waiting(&late.yard.owner).try_into().expect("one record");
        assert_eq!(held.id, late.record.id());
        assert_eq!(held.author_id, late.hand.account());
        assert_eq!(held.author_name, "Tam Brisling");
        assert_eq!(held.received_at, server.now());
        assert!(held.reason.contains("barn_staff"), "{}", held.reason);
        assert_eq!(held.event.envelope.get(), late.record.sign().envelope.get());
        let horse = held.horse_id;
        assert_eq!(heads(&late.yard.owner)[&horse].0, 0);

        let outcome: Outcome = decide(&late.yard.owner, held.id, true).read();

        assert_eq!(outcome, Outcome::Accepted { seq: 1 });
        assert_eq!(late.push(), Outcome::Known { seq: 1 });
        assert!(waiting(&late.yard.owner).is_empty());
        assert_eq!(decide(&late.yard.owner, held.id, false).status, 404);
        let copy = pull_all(&late.yard.owner, horse, 10);
        assert_eq!(copy.events.len(), 1);
        assert_eq!(
            copy.signers[&late.hand.device()].account_id,
            late.hand.account()
        );
    }
);

on_both!(what_the_owner_refuses_stays_out, |server| {
    let late = Late::on(server);
    assert_eq!(late.push(), Outcome::Held);

    let outcome: Outcome = decide(&late.yard.owner, late.record.id(), false).read();

    assert!(matches!(outcome, Outcome::Refused { .. }), "{outcome:?}");
    let problem = refusal(&late.hand, &late.record.sign());
    assert_eq!(problem.kind, Problem::NoGrant);
    assert!(problem.detail.unwrap_or_default().contains("owner"));
    assert!(waiting(&late.yard.owner).is_empty());
    assert_eq!(decide(&late.yard.owner, late.record.id(), true).status, 404);
    assert_eq!(heads(&late.yard.owner)[&late.record.envelope.horse_id].0, 0);
});

on_both!(nobody_else_sees_or_decides, |server| {
    let late = Late::on(server);
    let horse = late.record.envelope.horse_id;
    assert_eq!(late.push(), Outcome::Held);
    let (vet, stranger) = (
        server.device_account("Senna Quill"),
        Yard::of(server.device_account("Orla Vance")).owner,
    );
    let _ = late.yard.admit(&vet, horse, Role::Vet);

    for person in [&late.hand, &vet, &stranger] {
        assert!(waiting(person).is_empty());
        assert_eq!(decide(person, late.record.id(), true).status, 404);
    }
    assert_eq!(waiting(&late.yard.owner).len(), 1);
});

on_both!(a_record_made_after_the_grant_ended_is_refused, |server| {
    let late = Late::on(server);
    let after = late.record.clone().recorded_at(server.now());

    assert_eq!(refusal(&late.hand, &after.sign()).kind, Problem::NoGrant);
    assert!(waiting(&late.yard.owner).is_empty());
});

on_both!(a_held_id_takes_no_other_body, |server| {
    let late = Late::on(server);
    assert_eq!(late.push(), Outcome::Held);
    let other = late.record.clone().note("changed").sign();

    assert_eq!(refusal(&late.hand, &other).kind, Problem::SameIdOtherBody);
    assert_eq!(waiting(&late.yard.owner).len(), 1);
});

on_both!(a_record_of_a_lost_device_keeps_waiting, |server| {
    let late = Late::on(server);
    assert_eq!(late.push(), Outcome::Held);
    let browser = late.hand.elsewhere(false);
    let revoked = browser.delete(&path::device(late.hand.device()));
    assert_eq!(revoked.status, 204, "{revoked:?}");

    let outcome: Outcome = decide(&late.yard.owner, late.record.id(), true).read();

    let problem = whorl_tests::ledger::refused(outcome);
    assert_eq!(problem.kind, Problem::DeviceRefused);
    assert_eq!(waiting(&late.yard.owner).len(), 1);
    let outcome: Outcome = decide(&late.yard.owner, late.record.id(), false).read();
    assert!(matches!(outcome, Outcome::Refused { .. }));
    assert!(waiting(&late.yard.owner).is_empty());
});

on_both!(the_policy_holds_for_late_records_too, |server| {
    let yard = Yard::open(server);
    let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
    let grant = yard.admit(&hand, horse, Role::BarnStaff);
    server.clock.advance(TimeDelta::minutes(1));
    let shot = Pen::of(&hand, Role::BarnStaff)
        .draft(horse, Kind::Vaccination)
        .recorded_at(server.now());
    server.clock.advance(TimeDelta::minutes(1));
    yard.revoke(&grant);

    let problem = refusal(&hand, &shot.sign());

    assert_eq!(problem.policy_row.as_deref(), Some("vaccination"));
});

on_both!(a_late_word_about_an_earlier_record_is_held, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let grant = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let weight = yard.pen().weight(horse, 500.0);
    assert_eq!(accepted(&yard.owner, &weight.sign()), 1);
    server.clock.advance(TimeDelta::minutes(1));
    let word = Pen::of(&vet, Role::Vet)
        .draft(horse, Kind::Countersign)
        .about(weight.id())
        .recorded_at(server.now());
    server.clock.advance(TimeDelta::minutes(1));
    yard.revoke(&grant);

    assert_eq!(push_one(&vet, &word.sign()), Outcome::Held);
    let outcome: Outcome = decide(&yard.owner, word.id(), true).read();
    assert_eq!(outcome, Outcome::Accepted { seq: 2 });
});

on_both!(two_owners_decide_once, |server| {
    let late = Late::on(server);
    let horse = late.record.envelope.horse_id;
    let partner = server.device_account("Bram Oduya");
    let _ = late.yard.admit(&partner, horse, Role::Owner);
    assert_eq!(late.push(), Outcome::Held);
    let owner = late.yard.owner.clone();

    let answers: Vec<Answer> = std::thread::scope(|scope| {
        let decisions = [(&owner, true), (&partner, false)];
        let threads: Vec<_> = decisions
            .map(|(person, accept)| {
                let id = late.record.id();
                scope.spawn(move || decide(person, id, accept))
            })
            .into();
        threads
            .into_iter()
            .map(|thread| thread.join().expect("an answer"))
            .collect()
    });

    let statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
    assert!(
        statuses == [200, 404] || statuses == [404, 200],
        "{statuses:?}"
    );
    let entered = heads(&owner)[&horse].0;
    assert_eq!(entered, i64::from(statuses[0] == 200));
    let again = push(&late.hand, &[late.record.sign()]).remove(0);
    assert_eq!(matches!(again, Outcome::Known { .. }), entered == 1);
});
