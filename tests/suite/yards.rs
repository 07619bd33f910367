//! A barn as a whole: its own reduction tests and its watch list, for those who may see what they rest on.

use serde_json::json;
use uuid::Uuid;
use whorl_care::code::Efficacy as Verdict;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_care::rules::herd_health::Illness;
use whorl_contract::grant::NewInvitation;
use whorl_contract::path;
use whorl_contract::yard::{BarnEfficacy, BarnHealth};
use whorl_tests::ledger::push;
use whorl_tests::yard::Yard;
use whorl_tests::{Person, on_both};

use crate::looks_absent;

/// Made-up counts of a dewormer that failed; 45.71 % (41.13 to 50.13) by numpy and scipy.
const BEFORE: [u32; 7] = [40, 75, 22, 130, 61, 48, 90];
const AFTER: [u32; 7] = [18, 41, 12, 77, 30, 20, 55];

fn barn_grant(yard: &Yard, who: &Person, kinds: Option<Vec<Kind>>) -> whorl_contract::grant::Grant {
    yard.invite(
        who,
        &NewInvitation {
            horse_id: None,
            barn_id: Some(yard.barn),
            role: Role::BarnStaff,
            from: None,
            until: None,
            kinds,
        },
    )
}

on_both!(a_yards_counts_say_whether_a_dewormer_works, |server| {
    let yard = Yard::open(server);
    let (hand, blind) = (
        server.device_account("Tam Brisling"),
        server.device_account("Idris Fenn"),
    );
    let grant = barn_grant(&yard, &hand, None);
    let _ = barn_grant(&yard, &blind, Some(vec![Kind::Deworming]));
    for (before, after) in BEFORE.iter().zip(AFTER) {
        let horse = yard.horse();
        let count = |at: &str, eggs: u32| {
            let details = json!({"method": "mini_flotac", "eggs_counted": eggs, "multiplication_factor": 5.0});
            yard.pen()
                .draft(horse, Kind::EggCount)
                .performed_at(at)
                .details(details)
                .provenance(whorl_care::kind::Provenance::Transcribed)
                .sign()
        };
        let wormed = yard
            .pen()
            .draft(horse, Kind::Deworming)
            .performed_at("2026-05-06T09:00:00+01:00")
            .details(json!({"actives": ["fenbendazole"], "product": "Drovepaste F"}))
            .sign();
        let pushed = push(
            &yard.owner,
            &[
                count("2026-05-04T09:00:00+01:00", *before),
                wormed,
                count("2026-05-20T09:00:00+01:00", after),
            ],
        );
        assert_eq!(pushed.len(), 3);
    }
    let address = path::efficacy(yard.barn);

    for who in [&yard.owner, &hand] {
        let answer: BarnEfficacy = who.get(&address).read();
        assert_eq!(
            (answer.scope.horses, answer.scope.horses_partly_seen),
            (7, 0)
        );
        let [test] = answer.efficacy.tests.as_slice() else {
            panic!("{answer:?}");
        };
        assert_eq!(test.verdict, Some(Verdict::Resistant));
        let figure = test.figure.as_ref().expect("a figure");
        assert!((figure.reduction_percent - 45.71).abs() < 0.01);
        assert!(
            answer
                .efficacy
                .cautions
                .iter()
                .any(|one| one.contains("Ask your vet"))
        );
    }
    // Egg counts are withheld from this one: nothing is judged, and no count is told.
    let text = blind.get(&address);
    let limited: BarnEfficacy = text.read();
    assert_eq!(
        (limited.scope.horses, limited.scope.horses_partly_seen),
        (7, 7)
    );
    assert_eq!(
        (
            limited.efficacy.tests.len(),
            limited.efficacy.treatments_without_counts
        ),
        (0, 1)
    );
    assert!(!text.text().contains("eggs_counted") && !text.text().contains("before_eggs"));

    let nowhere = path::efficacy(BarnId(Uuid::now_v7()));
    looks_absent(
        &server.account("Orla Vance").get(&address),
        &yard.owner.get(&nowhere),
    );
    yard.revoke(&grant);
    looks_absent(&hand.get(&address), &yard.owner.get(&nowhere));
});

fn fever(yard: &Yard, horse: HorseId) {
    let event = yard
        .pen()
        .draft(horse, Kind::Vitals)
        .performed_at("2027-03-04T08:00:00+00:00")
        .details(json!({"temperature_c": 39.6}))
        .sign();
    let _ = push(&yard.owner, &[event]);
}

on_both!(a_fever_puts_its_neighbours_on_the_watch_list, |server| {
    let yard = Yard::open(server);
    let (hand, farrier) = (
        server.device_account("Tam Brisling"),
        server.device_account("Idris Fenn"),
    );
    let grant = barn_grant(&yard, &hand, None);
    let _ = barn_grant(&yard, &farrier, Some(vec![Kind::HoofCare, Kind::Movement]));
    let (plover, teasel) = (yard.horse(), yard.horse());
    let name = yard
        .pen()
        .draft(plover, Kind::Identity)
        .details(json!({"name": "Plover"}))
        .sign();
    let _ = push(&yard.owner, &[name]);
    let address = path::health_watch(yard.barn);
    let calm: BarnHealth = yard.owner.get(&address).read();
    assert!(calm.watch.cases.is_empty() && calm.watch.watched.is_empty());

    fever(&yard, plover);

    for who in [&yard.owner, &hand] {
        let answer: BarnHealth = who.get(&address).read();
        let [case] = answer.watch.cases.as_slice() else {
            panic!("{answer:?}");
        };
        assert_eq!(
            (case.horse_id, case.illness, case.urgent),
            (plover, Illness::Fever, true)
        );
        assert_eq!(case.horse.as_deref(), Some("Plover"));
        let watched: Vec<HorseId> = answer
            .watch
            .watched
            .iter()
            .map(|one| one.horse_id)
            .collect();
        assert!(watched.contains(&plover) && watched.contains(&teasel));
        let neighbour = answer
            .watch
            .watched
            .iter()
            .find(|one| one.horse_id == teasel)
            .expect("Teasel");
        assert_eq!(neighbour.to_do.len(), 2, "twice a day: {neighbour:?}");
        assert!(neighbour.stays && neighbour.contacts[0].of_horse_id == plover);
    }
    let limited = farrier.get(&address);
    let seen: BarnHealth = limited.read();
    assert!(
        seen.watch.cases.is_empty() && seen.watch.watched.is_empty(),
        "{seen:?}"
    );
    assert_eq!(seen.scope.horses_partly_seen, 2);
    assert!(!limited.text().contains("39.6"));

    let nowhere = path::health_watch(BarnId(Uuid::now_v7()));
    looks_absent(
        &server.account("Orla Vance").get(&address),
        &yard.owner.get(&nowhere),
    );
    yard.revoke(&grant);
    looks_absent(&hand.get(&address), &yard.owner.get(&nowhere));
});
