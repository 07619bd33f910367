//! I2, I4 and I8 under concurrency: many pushers and readers at once, on one server or two, and revocations between.

use std::collections::BTreeSet;
use std::sync::Barrier;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use chrono::TimeDelta;
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_contract::event::SignedEvent;
use whorl_contract::key::Hash;
use whorl_contract::path;
use whorl_contract::sync::Outcome;
use whorl_tests::ledger::{heads, pull_all, push, push_one};
use whorl_tests::pen::Pen;
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Database, Person, TestServer, on_both};

/// Threads that push, and how many batches each pushes.
const PUSHERS: usize = 6;
const BATCHES: usize = 12;
/// Threads that read meanwhile.
const READERS: usize = 3;

/// The leaves of a log, as somebody pulled it.
fn leaves(who: &Caller, horse: HorseId) -> Vec<Hash> {
    let events = pull_all(who, horse, 17).events;
    let leaves = events.iter().map(|event| event.leaf().expect("a leaf"));
    leaves.collect()
}

/// Pushes to the same horses from many threads, through each of the `doors` in turn, every batch twice and in another
/// order of horses, while others read.
fn crowd(yard: &Yard, doors: &[Caller]) {
    let horses = [yard.horse(), yard.horse(), yard.horse()];
    let pen = yard.pen();
    let door = |n: usize| &doors[n % doors.len()];
    let (accepted, done, read) = (
        AtomicUsize::new(0),
        AtomicBool::new(false),
        AtomicUsize::new(0),
    );
    let start = Barrier::new(PUSHERS);
    std::thread::scope(|scope| {
        let pushers: Vec<_> = (0..PUSHERS)
            .map(|n| {
                let (pen, accepted, start) = (&pen, &accepted, &start);
                scope.spawn(move || {
                    start.wait();
                    for m in 0..BATCHES {
                        let batch: Vec<SignedEvent> = (0..6)
                            .map(|k| pen.weight(horses[(n + m + k) % 3], 500.0).sign())
                            .collect();
                        let first = push(door(n + m), &batch);
                        let again = push(door(n + m + 1), &batch);
                        for (first, again) in first.into_iter().zip(again) {
                            let Outcome::Accepted { seq } = first else {
                                panic!("{first:?}")
                            };
                            assert_eq!(again, Outcome::Known { seq });
                            accepted.fetch_add(1, Ordering::SeqCst);
                        }
                    }
                })
            })
            .collect();
        for n in 0..READERS {
            let (done, read) = (&done, &read);
            scope.spawn(move || {
                let mut before: [Vec<Hash>; 3] = Default::default();
                let mut ended = false;
                // Once more after the last push.
                while !std::mem::replace(&mut ended, done.load(Ordering::SeqCst)) {
                    for (before, horse) in before.iter_mut().zip(horses) {
                        let now = leaves(door(n), horse);
                        // I4: what was read once is never added to before its end.
                        assert!(now.starts_with(before), "an event came before the end");
                        *before = now;
                        read.fetch_add(1, Ordering::SeqCst);
                    }
                }
            });
        }
        let ended: Vec<_> = pushers
            .into_iter()
            .map(std::thread::ScopedJoinHandle::join)
            .collect();
        done.store(true, Ordering::SeqCst);
        for one in ended {
            one.expect("a pusher");
        }
    });
    assert_eq!(accepted.into_inner(), PUSHERS * BATCHES * 6);
    assert!(read.into_inner() >= READERS * 3);
    let mut all = BTreeSet::new();
    let mut length = 0;
    for horse in horses {
        let log = leaves(door(0), horse);
        assert_eq!(log, leaves(door(1), horse));
        length += log.len();
        all.extend(log);
    }
    assert_eq!(length, PUSHERS * BATCHES * 6);
    assert_eq!(all.len(), length, "no event twice");
}

on_both!(many_pushers_and_readers_agree, |server| {
    let yard = Yard::open(server);
    crowd(&yard, &[(*yard.owner).clone()]);
});

#[test]
fn two_servers_on_one_postgres_agree() {
    let server = TestServer::start(Database::Postgres);
    let second = server.replica();
    let yard = Yard::open(&server);
    let through_second = second
        .anonymous()
        .with_token(&yard.owner.session.access_token);
    crowd(&yard, &[(*yard.owner).clone(), through_second]);
}

/// The same new id for two horses at once, from two devices of one author: one of them gets in, the other is told why not.
fn one_id_for_two_horses(yard: &Yard, doors: &[Caller]) {
    let horses = [yard.horse(), yard.horse()];
    let rounds = 20;
    for _ in 0..rounds {
        let draft = yard.pen().weight(horses[0], 500.0);
        let start = Barrier::new(2);
        let outcomes: Vec<Outcome> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..2)
                .map(|n| {
                    let event = draft
                        .clone()
                        .with(|envelope| envelope.horse_id = horses[n])
                        .sign();
                    let (start, door) = (&start, &doors[n % doors.len()]);
                    scope.spawn(move || {
                        start.wait();
                        push_one(door, &event)
                    })
                })
                .collect();
            threads
                .into_iter()
                .map(|thread| thread.join().expect("an answer"))
                .collect()
        });
        let entered = outcomes
            .iter()
            .filter(|outcome| matches!(outcome, Outcome::Accepted { .. }));
        assert_eq!(entered.count(), 1, "{outcomes:?}");
        let refused = outcomes
            .iter()
            .filter(|outcome| matches!(outcome, Outcome::Refused { .. }));
        assert_eq!(refused.count(), 1, "{outcomes:?}");
    }
    let stand = heads(&yard.owner);
    assert_eq!(stand[&horses[0]].0 + stand[&horses[1]].0, rounds);
}

on_both!(one_id_never_enters_two_logs, |server| {
    let yard = Yard::open(server);
    one_id_for_two_horses(&yard, &[(*yard.owner).clone()]);
});

/// What ends a barn hand's writing.
#[derive(Clone, Copy, Debug)]
enum End {
    Grant,
    Device,
}

const ROUNDS: usize = 16;
const HANDS: usize = 3;

/// I8: while a barn hand pushes from several threads, the right to it ends; after the answer to that, nothing enters.
fn revoke_while_pushing(server: &TestServer, end: End) {
    let yard = Yard::open(server);
    let hand = server.device_account("Tam Brisling");
    let (mut entered, mut stopped) = (0, 0);
    for round in 0..ROUNDS {
        let horse = yard.horse();
        let grant = yard.admit(&hand, horse, Role::BarnStaff);
        let phone: Person = hand.elsewhere(true);
        let pen = Pen::of(&phone, Role::BarnStaff);
        let (pushed, over) = (AtomicUsize::new(0), AtomicBool::new(false));
        let at_the_answer = std::thread::scope(|scope| {
            for _ in 0..HANDS {
                let (pen, hand, pushed, over) = (&pen, &hand, &pushed, &over);
                scope.spawn(move || {
                    while !over.load(Ordering::SeqCst) {
                        // Time passes, so that instants before and after the end differ.
                        server.clock.advance(TimeDelta::milliseconds(1));
                        let event = pen.weight(horse, 500.0).recorded_at(server.now()).sign();
                        let _ = push_one(hand, &event);
                        pushed.fetch_add(1, Ordering::SeqCst);
                    }
                });
            }
            while pushed.load(Ordering::SeqCst) < 1 + round {
                std::thread::yield_now();
            }
            match end {
                End::Grant => yard.revoke(&grant),
                End::Device => {
                    let answer = hand.delete(&path::device(phone.device()));
                    assert_eq!(answer.status, 204, "{answer:?}");
                }
            }
            let at_the_answer = heads(&yard.owner)[&horse].0;
            let so_far = pushed.load(Ordering::SeqCst);
            while pushed.load(Ordering::SeqCst) < so_far + 2 * HANDS {
                std::thread::yield_now();
            }
            over.store(true, Ordering::SeqCst);
            at_the_answer
        });
        let at_last = heads(&yard.owner)[&horse].0;
        assert_eq!(
            at_last, at_the_answer,
            "{end:?}: something entered after its end"
        );
        entered += at_last;
        stopped += i64::try_from(pushed.into_inner()).expect("a number") - at_last;
    }
    assert!(
        entered > 0 && stopped > 0,
        "{entered} entered, {stopped} did not"
    );
}

on_both!(nothing_enters_by_a_grant_after_its_end, |server| {
    revoke_while_pushing(server, End::Grant);
});

on_both!(nothing_enters_by_a_device_after_its_end, |server| {
    revoke_while_pushing(server, End::Device);
});

on_both!(what_was_answered_is_there_after_a_restart, |server| {
    // I1, as far as a restart shows it; DEVELOPERS.md says what the databases do for a power cut.
    let yard = Yard::open(server);
    let horse = yard.horse();
    let events: Vec<SignedEvent> = (0..20)
        .map(|n| yard.pen().weight(horse, 400.0 + f64::from(n)).sign())
        .collect();
    let _ = push(&yard.owner, &events);
    let before = leaves(&yard.owner, horse);

    server.restart();

    assert_eq!(leaves(&yard.owner, horse), before);
    let known: Vec<Outcome> = (1..=20).map(|seq| Outcome::Known { seq }).collect();
    assert_eq!(push(&yard.owner, &events), known);
});
