//! Entry checks over HTTP: the verdict, and that what is unknown or withheld is never a pass.

use serde_json::json;
use whorl_care::figure::entry::Verdict;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_contract::path;
use whorl_tests::ledger::accepted;
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, TestServer, on_both};

use crate::looks_absent;

/// A test for equine infectious anaemia and a flu dose two days before the arrival that is asked about.
fn yard(server: &TestServer) -> (Yard, HorseId, Person) {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let pen = Pen::of(&vet, Role::Vet);
    let test = json!({"test": "eia_elisa", "drawn_on": "2027-02-01", "result": "negative",
        "laboratory": "Fenland Veterinary Laboratory"});
    let test = pen
        .draft(horse, Kind::LaboratoryTest)
        .details(test)
        .performed_at("2027-02-01T10:00:00+00:00");
    let flu = pen
        .draft(horse, Kind::Vaccination)
        .performed_at("2027-03-02T10:00:00+00:00");
    let _ = accepted(&vet, &test.sign());
    let _ = accepted(&vet, &flu.sign());
    (yard, horse, vet)
}

fn ask(who: &Person, horse: HorseId, query: &str) -> HorseEntry {
    who.get(&format!("{}?{query}", path::horse_entry(horse)))
        .read()
}

const COGGINS: &str = "rules=eia-12-months&on=2027-04-01";

on_both!(a_horse_is_checked_with_reasons_and_a_plan, |server| {
    let (yard, horse, _) = yard(server);
    let passed = ask(&yard.owner, horse, COGGINS);
    assert_eq!(passed.verdict, Verdict::Eligible, "{passed:?}");
    assert!(passed.answer.eligible && !passed.withheld && passed.answer.plan.is_empty());
    assert!(!passed.answer.cautions.is_empty() && !passed.answer.sources.is_empty());

    let late = ask(&yard.owner, horse, "rules=eia-12-months&on=2028-06-01");
    assert_eq!(late.verdict, Verdict::NotEligible);
    assert!(
        !late.answer.plan.is_empty(),
        "a new test can be drawn: {late:?}"
    );
    // Both must be met.
    let both = ask(
        &yard.owner,
        horse,
        "rules=eia-12-months,health-certificate-30-days&on=2027-04-01",
    );
    assert_ne!(both.verdict, Verdict::Eligible);
    assert!(both.answer.checks.iter().any(|check| check.met));

    for wrong in [
        "rules=no-such-rules&on=2027-04-01",
        "rules=&on=2027-04-01",
        "rules=eia-12-months&on=2027-04-01&until=2027-03-01",
        "rules=eia-12-months",
        "rules=eia-12-months&on=soon",
    ] {
        let answer = yard
            .owner
            .get(&format!("{}?{wrong}", path::horse_entry(horse)));
        assert!([400, 422].contains(&answer.status), "{wrong}: {answer:?}");
    }
});

on_both!(what_is_withheld_is_unknown_and_no_pass, |server| {
    let (yard, horse, _) = yard(server);
    let office = server.device_account("Orla Vance");
    let kinds = vec![Kind::Identity, Kind::LaboratoryTest];
    let _ = yard.admit_to(&office, horse, Role::BarnStaff, Some(kinds));

    // What rests on a kind that may be seen is told.
    let seen = ask(&office, horse, COGGINS);
    assert_eq!(seen.verdict, Verdict::Eligible);
    assert!(seen.withheld);
    // Six days without a dose: with the doses out of sight, none would be found.
    let stand_down = ask(&office, horse, "rules=fei-influenza&on=2027-03-04");
    assert_eq!(stand_down.verdict, Verdict::Unknown);
    assert!(!stand_down.answer.eligible && stand_down.answer.plan.is_empty());
    assert!(stand_down.answer.earliest_eligible_on.is_none());
    let checks = &stand_down.answer.checks;
    assert!(
        checks
            .iter()
            .all(|check| check.unknown && !check.met && check.rests_on.is_empty())
    );
    let owners = ask(&yard.owner, horse, "rules=fei-influenza&on=2027-03-04");
    assert!(
        owners
            .answer
            .checks
            .iter()
            .any(|check| !check.met && !check.unknown),
        "{owners:?}"
    );
    let text = office.get(&format!(
        "{}?rules=fei-influenza&on=2027-03-04",
        path::horse_entry(horse)
    ));
    assert!(
        !text.text().contains("2027-03-02"),
        "the day of the dose leaks: {text:?}"
    );
});

on_both!(
    a_barn_is_checked_at_once_and_for_its_people_only,
    |server| {
        let (yard, horse, vet) = yard(server);
        let second = yard.horse();
        let address = format!("{}?{COGGINS}", path::barn_entry(yard.barn));
        let checked: BarnEntry = yard.owner.get(&address).read();
        assert_eq!(
            (checked.barn.as_str(), checked.horses.len()),
            ("Saltmarsh Yard", 2)
        );
        assert_eq!(checked.rules, ["eia-12-months"]);
        let of = |id: HorseId| {
            checked
                .horses
                .iter()
                .find(|one| one.horse_id == id)
                .expect("the horse")
        };
        assert_eq!(of(horse).verdict, Verdict::Eligible);
        assert_ne!(of(second).verdict, Verdict::Eligible);
        assert_eq!(*of(horse), ask(&yard.owner, horse, COGGINS));

        // The vet was let in to one horse.
        let vets: BarnEntry = vet.get(&address).read();
        assert_eq!(vets.horses.len(), 1);
        let stranger = server.device_account("Una Pellow");
        let nowhere = whorl_care::ids::BarnId(uuid::Uuid::now_v7());
        looks_absent(
            &stranger.get(&address),
            &stranger.get(&format!("{}?{COGGINS}", path::barn_entry(nowhere))),
        );
        let unknown = HorseId(uuid::Uuid::now_v7());
        looks_absent(
            &stranger.get(&format!("{}?{COGGINS}", path::horse_entry(horse))),
            &stranger.get(&format!("{}?{COGGINS}", path::horse_entry(unknown))),
        );
    }
);
