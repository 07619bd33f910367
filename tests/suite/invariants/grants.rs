//! Nobody sees or writes past their grants: any sequence of grants, ends and records, held against a small model.

use std::collections::BTreeSet;

use proptest::collection::vec;
use proptest::prelude::*;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::event::Envelope;
use whorl_contract::grant::{Grant, NewInvitation};
use whorl_contract::problem::Kind as Problem;
use whorl_contract::sync::Outcome;
use whorl_tests::ledger::{heads, pull, pull_all, push_one};
use whorl_tests::pen::Pen;
use whorl_tests::yard::Yard;
use whorl_tests::{Person, on_both};

use super::on_cases;

const CASES: u32 = 32;
const PEOPLE: usize = 3;
const HORSES: usize = 2;
/// Kinds that the policy lets each of these roles record, so that the grants alone decide.
const KINDS: [Kind; 4] = [
    Kind::HoofCheck,
    Kind::Weight,
    Kind::Vitals,
    Kind::Observation,
];
const ROLES: [Role; 3] = [Role::BarnStaff, Role::Farrier, Role::Vet];

/// What happens.
#[derive(Clone, Debug)]
enum Step {
    /// Somebody gets a role, on one horse or on the whole barn, for all kinds or for some.
    Admit {
        person: usize,
        horse: Option<usize>,
        role: usize,
        kinds: Option<Vec<usize>>,
    },
    /// A grant ends.
    Revoke(prop::sample::Index),
    /// Somebody tries to record.
    Record {
        person: usize,
        horse: usize,
        role: usize,
        kind: usize,
    },
    /// The owner records.
    OwnersRecord { horse: usize, kind: usize },
}

fn step() -> impl Strategy<Value = Step> {
    let kinds = prop::option::of(vec(0..KINDS.len(), 1..3));
    let admit = (
        0..PEOPLE,
        prop::option::weighted(0.7, 0..HORSES),
        0..ROLES.len(),
        kinds,
    )
        .prop_map(|(person, horse, role, kinds)| Step::Admit {
            person,
            horse,
            role,
            kinds,
        });
    let record = (0..PEOPLE, 0..HORSES, 0..ROLES.len(), 0..KINDS.len()).prop_map(
        |(person, horse, role, kind)| Step::Record {
            person,
            horse,
            role,
            kind,
        },
    );
    prop_oneof![
        3 => admit,
        2 => any::<prop::sample::Index>().prop_map(Step::Revoke),
        4 => record,
        2 => (0..HORSES, 0..KINDS.len()).prop_map(|(horse, kind)| Step::OwnersRecord { horse, kind }),
    ]
}

/// A grant of the model.
struct Given {
    person: usize,
    horse: Option<usize>,
    role: usize,
    kinds: Option<Vec<usize>>,
    ended: bool,
    grant: Grant,
}

/// The model: who was given what, and what is in each log.
#[derive(Default)]
struct Model {
    given: Vec<Given>,
    logs: [Vec<(EventId, usize)>; HORSES],
}

impl Model {
    fn in_force(&self, person: usize, horse: usize) -> impl Iterator<Item = &Given> {
        self.given.iter().filter(move |given| {
            !given.ended && given.person == person && given.horse.is_none_or(|one| one == horse)
        })
    }

    fn may_see(&self, person: usize, horse: usize, kind: usize) -> bool {
        self.in_force(person, horse)
            .any(|given| covers(given, kind))
    }

    fn may_record(&self, person: usize, horse: usize, role: usize, kind: usize) -> bool {
        self.in_force(person, horse)
            .any(|given| given.role == role && covers(given, kind))
    }
}

fn covers(given: &Given, kind: usize) -> bool {
    given
        .kinds
        .as_ref()
        .is_none_or(|kinds| kinds.contains(&kind))
}

fn play(yard: &Yard, people: &[Person], steps: &[Step]) {
    let horses = [yard.horse(), yard.horse()];
    let mut model = Model::default();
    for step in steps {
        match step {
            Step::Admit {
                person,
                horse,
                role,
                kinds,
            } => {
                let new = NewInvitation {
                    horse_id: horse.map(|horse| horses[horse]),
                    barn_id: horse.is_none().then_some(yard.barn),
                    role: ROLES[*role],
                    from: None,
                    until: None,
                    kinds: kinds
                        .as_ref()
                        .map(|kinds| kinds.iter().map(|kind| KINDS[*kind]).collect()),
                };
                model.given.push(Given {
                    person: *person,
                    horse: *horse,
                    role: *role,
                    kinds: kinds.clone(),
                    ended: false,
                    grant: yard.invite(&people[*person], &new),
                });
            }
            Step::Revoke(index) => {
                if !model.given.is_empty() {
                    let given = index.get_mut(&mut model.given);
                    given.ended = true;
                    yard.revoke(&given.grant);
                }
            }
            Step::Record {
                person,
                horse,
                role,
                kind,
            } => {
                let draft = Pen::of(&people[*person], ROLES[*role])
                    .draft(horses[*horse], KINDS[*kind])
                    .provenance(Provenance::Recorded);
                let outcome = push_one(&people[*person], &draft.sign());
                if model.may_record(*person, *horse, *role, *kind) {
                    let seq = i64::try_from(model.logs[*horse].len()).expect("a place") + 1;
                    assert_eq!(outcome, Outcome::Accepted { seq });
                    model.logs[*horse].push((draft.id(), *kind));
                } else {
                    let problem = whorl_tests::ledger::refused(outcome);
                    assert_eq!(problem.kind, Problem::NoGrant);
                }
            }
            Step::OwnersRecord { horse, kind } => {
                let draft = yard.pen().draft(horses[*horse], KINDS[*kind]);
                let outcome = push_one(&yard.owner, &draft.sign());
                assert!(matches!(outcome, Outcome::Accepted { .. }), "{outcome:?}");
                model.logs[*horse].push((draft.id(), *kind));
            }
        }
    }
    for (n, person) in people.iter().enumerate() {
        check(&model, n, person, &horses);
    }
}

/// Somebody sees what the model says, and nothing else.
fn check(model: &Model, n: usize, person: &Person, horses: &[HorseId]) {
    let listed: BTreeSet<HorseId> = heads(person)
        .into_keys()
        .filter(|horse| horses.contains(horse))
        .collect();
    for (h, horse) in horses.iter().enumerate() {
        let visible = model.in_force(n, h).next().is_some();
        assert_eq!(listed.contains(horse), visible);
        if !visible {
            assert!(pull(person, *horse, 0, None).runs.is_empty());
            continue;
        }
        let copy = pull_all(person, *horse, 3);
        assert_eq!(copy.events.len(), model.logs[h].len());
        for (event, (id, kind)) in copy.events.iter().zip(&model.logs[h]) {
            let seen = event.envelope.as_ref().map(|text| {
                let envelope: Envelope = serde_json::from_str(text.get()).expect("an envelope");
                envelope.id
            });
            let expected = model.may_see(n, h, *kind).then_some(*id);
            assert_eq!(seen, expected, "{} at {}", KINDS[*kind], event.seq);
            assert_eq!(event.content.is_some(), expected.is_some());
        }
    }
}

on_both!(nobody_sees_or_writes_past_their_grants, |server| {
    let owner = server.device_account("Maren Oduya");
    let people = [
        server.device_account("Tam Brisling"),
        server.device_account("Idris Fenn"),
        server.device_account("Senna Quill"),
    ];
    on_cases(CASES, &vec(step(), 1..16), |steps| {
        // A yard of its own for each case: grants for a barn end with it.
        play(&Yard::of(owner.clone()), &people, &steps);
    });
});
