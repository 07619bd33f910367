//! Every kind of event through the real route: who may record it, and what may be said about an event afterwards.

use std::collections::HashMap;

use serde_json::json;
use uuid::Uuid;
use whorl_care::details::example;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::problem::Kind as Problem;
use whorl_contract::sync::Outcome;
use whorl_tests::ledger::{accepted, pull_all, push, push_one, refusal, refused};
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, TestServer, on_both};

/// A yard with a horse and somebody who holds every role on it, with both licences.
pub(crate) fn yard_of_all_roles(server: &TestServer) -> (Yard, HorseId, Person) {
    let yard = Yard::open(server);
    let (horse, versatile) = (yard.horse(), server.device_account("Una Pellow"));
    for role in Role::ALL {
        let _ = yard.admit(&versatile, horse, *role);
    }
    license(&versatile, Role::Vet);
    license(&versatile, Role::Farrier);
    (yard, horse, versatile)
}

on_both!(every_kind_is_taken_from_who_may_record_it, |server| {
    let (yard, horse, person) = yard_of_all_roles(server);
    let vet = Pen::of(&person, Role::Vet);
    let mut taken = Vec::new();
    for kind in Kind::ALL.iter().filter(|kind| !kind.is_about_another()) {
        let event = vet.draft(horse, *kind).sign();
        assert!(
            matches!(push_one(&person, &event), Outcome::Accepted { .. }),
            "{kind}: {:?}",
            push_one(&person, &event)
        );
        taken.push(*kind);
    }
    let weight = vet.draft(horse, Kind::Weight);
    let copied = yard
        .pen()
        .draft(horse, Kind::Vaccination)
        .provenance(Provenance::Transcribed);
    let _ = accepted(&person, &weight.sign());
    let _ = accepted(&yard.owner, &copied.sign());
    for (kind, target) in [
        (Kind::Amendment, weight.id()),
        (Kind::Retraction, weight.id()),
        (Kind::Countersign, copied.id()),
    ] {
        let _ = accepted(&person, &vet.draft(horse, kind).about(target).sign());
        taken.push(kind);
    }

    let erasure = yard.pen().draft(horse, Kind::Erasure).about(weight.id());
    let _ = accepted(&yard.owner, &erasure.sign());
    taken.push(Kind::Erasure);

    assert_eq!(taken.len(), Kind::ALL.len());
    assert_eq!(pull_all(&yard.owner, horse, 7).events.len(), 25);
});

/// The table of the design, spelled out: who may claim which grade, without a care plan in force. A: attested,
/// R: recorded, T: transcribed; whoever may attest or record may also copy from paper. The row's name comes last.
const TABLE: &[(&[Kind], [&str; 4], &str)] = &[
    (&[Kind::HoofCare], ["T", "", "AT", "AT"], "hoof-care"),
    (
        &[
            Kind::HoofCheck,
            Kind::Weight,
            Kind::BodyCondition,
            Kind::Vitals,
            Kind::Observation,
        ],
        ["RT", "RT", "RT", "ART"],
        "everyday-care",
    ),
    (&[Kind::Vaccination], ["T", "", "", "AT"], "vaccination"),
    // Barn staff deworm under a care plan only, and there is none here.
    (&[Kind::Deworming], ["RT", "", "", "ART"], "deworming"),
    (&[Kind::EggCount], ["T", "RT", "", "ART"], "egg-count"),
    (&[Kind::Dental], ["T", "", "", "AT"], "dental"),
    (
        &[Kind::LamenessExam],
        ["T", "", "RT", "AT"],
        "lameness-exam",
    ),
    (&[Kind::Medication], ["", "", "", "AT"], "medication"),
    (
        &[Kind::LaboratoryTest, Kind::HealthCertificate],
        ["T", "", "", "AT"],
        "tests-and-certificates",
    ),
    (
        &[Kind::Movement, Kind::Breeding],
        ["RT", "RT", "", "ART"],
        "movement-and-breeding",
    ),
    (
        &[Kind::AdverseReaction],
        ["RT", "RT", "RT", "ART"],
        "adverse-reaction",
    ),
    // The example is a plan about parasites; a farrier's is about hooves.
    (&[Kind::CarePlan], ["", "", "", "AT"], "care-plan"),
    (&[Kind::Identity], ["RT", "", "", "ART"], "identity"),
];

const ROLES: [Role; 4] = [Role::Owner, Role::BarnStaff, Role::Farrier, Role::Vet];

on_both!(
    the_policy_decides_and_every_refusal_names_its_row,
    |server| {
        let (_, horse, person) = yard_of_all_roles(server);
        // A care plan would open what this table shows as closed, so plans go to a horse of their own.
        let (mut drafts, mut expected) = (Vec::<Draft>::new(), Vec::new());
        for (kinds, cells, row) in TABLE {
            for (kind, (role, cell)) in kinds
                .iter()
                .flat_map(|kind| ROLES.iter().zip(cells).map(move |cell| (*kind, cell)))
            {
                for (grade, letter) in Provenance::ALL.iter().zip(["A", "R", "T"]) {
                    let pen = Pen::of(&person, *role);
                    drafts.push(pen.draft(horse, kind).provenance(*grade));
                    expected.push((kind, *role, *grade, cell.contains(letter), *row));
                }
            }
        }
        // Plans come last: what a plan allows counts from then on.
        let mut order: Vec<usize> = (0..drafts.len()).collect();
        order.sort_by_key(|at| expected[*at].0 == Kind::CarePlan);
        let events: Vec<_> = order.iter().map(|at| drafts[*at].sign()).collect();

        let answers = push(&person, &events);

        assert_eq!(answers.len(), 19 * 4 * 3);
        let mut refusals: HashMap<&str, usize> = HashMap::new();
        for (answer, at) in answers.into_iter().zip(order) {
            let (kind, role, grade, may, row) = expected[at];
            if may {
                assert!(
                    matches!(answer, Outcome::Accepted { .. }),
                    "{role} {kind} {grade}: {answer:?}"
                );
            } else {
                let problem = refused(answer);
                assert_eq!(
                    problem.kind,
                    Problem::PolicyRefuses,
                    "{role} {kind} {grade}"
                );
                assert_eq!(problem.policy_row.as_deref(), Some(row));
                *refusals.entry(row).or_default() += 1;
            }
        }
        assert_eq!(refusals.len(), TABLE.len(), "every row refuses something");
    }
);

on_both!(attesting_needs_a_licence_on_record, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    let pen = Pen::of(&vet, Role::Vet);

    let problem = refusal(&vet, &pen.draft(horse, Kind::Vaccination).sign());
    assert_eq!(problem.policy_row.as_deref(), Some("vaccination"));
    assert!(problem.detail.unwrap_or_default().contains("licence"));

    license(&vet, Role::Farrier);
    let event = pen.draft(horse, Kind::Vaccination).sign();
    assert_eq!(refusal(&vet, &event).kind, Problem::PolicyRefuses);
    license(&vet, Role::Vet);
    assert_eq!(accepted(&vet, &event), 1);
});

on_both!(a_role_that_no_grant_gives_is_refused, |server| {
    let yard = Yard::open(server);
    let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
    let _ = yard.admit(&hand, horse, Role::BarnStaff);

    let as_owner = Pen::of(&hand, Role::Owner).weight(horse, 500.0).sign();
    let as_hand = Pen::of(&hand, Role::BarnStaff).weight(horse, 500.0).sign();

    assert_eq!(refusal(&hand, &as_owner).kind, Problem::NoGrant);
    assert_eq!(accepted(&hand, &as_hand), 1);
});

/// Where a refusal points.
fn pointer(problem: &whorl_contract::problem::Problem) -> &str {
    assert_eq!(problem.kind, Problem::Invalid, "{problem:?}");
    &problem.errors[0].pointer
}

on_both!(a_correction_names_an_event_of_this_horse, |server| {
    let yard = Yard::open(server);
    let (horse, other, pen) = (yard.horse(), yard.horse(), yard.pen());
    let (here, there) = (pen.weight(horse, 500.0), pen.weight(other, 480.0));
    let _ = accepted(&yard.owner, &here.sign());
    let _ = accepted(&yard.owner, &there.sign());
    let amendment = pen.draft(horse, Kind::Amendment).about(here.id());
    let _ = accepted(&yard.owner, &amendment.sign());

    for target in [EventId(Uuid::now_v7()), there.id(), amendment.id()] {
        for kind in [Kind::Amendment, Kind::Retraction] {
            let event = pen.draft(horse, kind).about(target).sign();
            let problem = refusal(&yard.owner, &event);
            assert_eq!(pointer(&problem), "/envelope/target_id");
        }
    }
    let retraction = pen.draft(horse, Kind::Retraction).about(here.id()).sign();
    assert_eq!(accepted(&yard.owner, &retraction), 3);
});

on_both!(only_ones_own_events_are_corrected, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let weight = yard.pen().weight(horse, 500.0);
    let _ = accepted(&yard.owner, &weight.sign());
    let pen = Pen::of(&vet, Role::Vet);

    for kind in [Kind::Amendment, Kind::Retraction] {
        let problem = refusal(&vet, &pen.draft(horse, kind).about(weight.id()).sign());
        assert_eq!(problem.kind, Problem::PolicyRefuses);
        assert_eq!(problem.policy_row.as_deref(), Some("correction"));
    }
});

on_both!(new_details_are_read_by_the_kind_that_they_amend, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let (weight, movement) = (pen.weight(horse, 500.0), pen.draft(horse, Kind::Movement));
    let _ = push(&yard.owner, &[weight.sign(), movement.sign()]);
    let amend = |target, details| {
        pen.draft(horse, Kind::Amendment)
            .about(target)
            .details(json!({"reason": "misread", "details": details}))
            .sign()
    };

    let wrong = [
        (
            amend(weight.id(), example(Kind::Movement)),
            "/content/details/details/",
        ),
        (
            amend(
                weight.id(),
                json!({"weight_kg": 90_000.0, "method": "scale"}),
            ),
            "/content/details/details/weight_kg",
        ),
        (
            amend(movement.id(), json!({"weight_kg": 500.0})),
            "/content/details/details/",
        ),
    ];
    for (event, under) in wrong {
        let problem = refusal(&yard.owner, &event);
        let found = pointer(&problem);
        assert!(found.starts_with(under), "{found}");
    }
    let right = amend(weight.id(), json!({"weight_kg": 505.0, "method": "scale"}));
    assert_eq!(accepted(&yard.owner, &right), 3);
});

on_both!(
    a_farrier_countersigns_hoof_work_and_a_vet_anything,
    |server| {
        let (yard, horse, person) = yard_of_all_roles(server);
        let copied = |kind| {
            yard.pen()
                .draft(horse, kind)
                .provenance(Provenance::Transcribed)
        };
        let (trim, shot) = (copied(Kind::HoofCare), copied(Kind::Vaccination));
        let _ = push(&yard.owner, &[trim.sign(), shot.sign()]);
        let sign = |role, target| {
            Pen::of(&person, role)
                .draft(horse, Kind::Countersign)
                .about(target)
                .provenance(Provenance::Attested)
                .sign()
        };

        let _ = accepted(&person, &sign(Role::Farrier, trim.id()));
        let _ = accepted(&person, &sign(Role::Vet, shot.id()));
        for event in [
            sign(Role::Farrier, shot.id()),
            sign(Role::BarnStaff, trim.id()),
            sign(Role::Owner, trim.id()),
        ] {
            let problem = refusal(&person, &event);
            assert_eq!(problem.policy_row.as_deref(), Some("countersign"));
        }
    }
);

on_both!(a_farrier_amends_their_own_plan_about_hooves, |server| {
    let (_, horse, person) = yard_of_all_roles(server);
    let pen = Pen::of(&person, Role::Farrier);
    let of = |domain: &str| json!({"domain": domain, "interval_weeks": 6});
    let plan = pen.draft(horse, Kind::CarePlan).details(of("hoof"));
    let amend = |details| {
        pen.draft(horse, Kind::Amendment)
            .about(plan.id())
            .details(json!({"reason": "sooner", "details": details}))
            .sign()
    };

    assert_eq!(accepted(&person, &plan.sign()), 1);
    assert_eq!(accepted(&person, &amend(of("hoof"))), 2);
    let problem = refusal(&person, &amend(of("dental")));
    assert_eq!(problem.policy_row.as_deref(), Some("care-plan"));
});

on_both!(barn_staff_deworm_while_a_plan_is_in_force, |server| {
    let (yard, horse, person) = yard_of_all_roles(server);
    let (vet, hand) = (
        Pen::of(&person, Role::Vet),
        Pen::of(&person, Role::BarnStaff),
    );
    let on = |day: &str| {
        hand.draft(horse, Kind::Deworming)
            .details(json!({"actives": ["ivermectin"], "weight_from": "tape"}))
            .performed_at(&format!("{day}T08:00:00Z"))
            .sign()
    };
    let told = |event| {
        let problem = refusal(&person, &event);
        assert_eq!(problem.policy_row.as_deref(), Some("deworming"));
        problem.detail.unwrap_or_default()
    };

    assert!(told(on("2026-06-01")).contains("no care plan"));
    let plan = vet.draft(horse, Kind::CarePlan).details(
        json!({"domain": "parasite", "instructions": "by tape", "actives": ["ivermectin"],
            "roles": ["barn_staff"], "valid_until": "2026-09-30"}),
    );
    let _ = accepted(&person, &plan.sign());
    assert!(told(on("2026-05-01")).contains("made on 2026-05-04"));
    let _ = accepted(&person, &on("2026-06-01"));
    let _ = accepted(&person, &on("2026-09-30"));
    assert!(told(on("2026-10-01")).contains("ended on 2026-09-30"));
    let withdrawn = vet
        .draft(horse, Kind::Retraction)
        .about(plan.id())
        .performed_at("2026-08-01T09:00:00Z");
    let _ = accepted(&person, &withdrawn.sign());
    assert!(told(on("2026-08-02")).contains("withdrawn"));
    let _ = accepted(&person, &on("2026-07-31"));
    assert_eq!(pull_all(&yard.owner, horse, 10).events.len(), 5);
});
