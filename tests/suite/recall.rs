//! Recall: which horses had a lot, as the record stands now and as far as each account may see.

use serde_json::{Value, json};
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::path;
use whorl_contract::recall::{Recall, Why};
use whorl_tests::ledger::accepted;
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, on_both};

fn ask(who: &Person, query: &str) -> Recall {
    who.get(&format!("{}?{query}", path::RECALL)).read()
}

fn shot(pen: &Pen, horse: HorseId, lot: &str) -> Draft {
    pen.draft(horse, Kind::Vaccination)
        .details(tetanus(lot))
        .provenance(Provenance::Transcribed)
}

fn tetanus(lot: &str) -> Value {
    json!({"targets": ["tetanus"], "product": "Tidevax T", "lot_number": lot, "expiration_date": "2028-01-31"})
}

on_both!(every_kind_that_names_the_lot_is_found, |server| {
    let yard = Yard::open(server);
    let vet = server.device_account("Senna Quill");
    license(&vet, Role::Vet);
    let (plover, teasel, wrack) = (yard.horse(), yard.horse(), yard.horse());
    for horse in [plover, teasel, wrack] {
        let _ = yard.admit(&vet, horse, Role::Vet);
    }
    let name = yard
        .pen()
        .draft(plover, Kind::Identity)
        .details(json!({"name": "Plover"}));
    let _ = accepted(&yard.owner, &name.sign());
    let doctor = Pen::of(&vet, Role::Vet);
    let given = doctor
        .draft(plover, Kind::Vaccination)
        .details(tetanus("T-4417"));
    let wormed = doctor.draft(teasel, Kind::Deworming).details(
        json!({"actives": ["ivermectin"], "product": "Drovepaste", "lot_number": "t 4417"}),
    );
    let drug = doctor
        .draft(wrack, Kind::Medication)
        .details(json!({"drug": "Tidevax serum", "dose": "10 ml", "lot_number": "T4417"}));
    let other = doctor
        .draft(wrack, Kind::Vaccination)
        .details(tetanus("T-44171"));
    for event in [&given, &wormed, &drug, &other] {
        let _ = accepted(&vet, &event.sign());
    }

    let all = ask(&yard.owner, "lot=t4417");
    assert_eq!(
        (
            all.lot.as_str(),
            all.horses_searched,
            all.horses_partly_searched
        ),
        ("T4417", 3, 0)
    );
    let mut kinds: Vec<Kind> = all.items.iter().map(|item| item.kind).collect();
    kinds.sort_unstable();
    let mut expected = [Kind::Vaccination, Kind::Deworming, Kind::Medication];
    expected.sort_unstable();
    assert_eq!(kinds, expected);
    let of_product = ask(&yard.owner, "lot=T-4417&product=tidevax");
    assert_eq!(of_product.items.len(), 2);

    let first = all
        .items
        .iter()
        .find(|item| item.horse_id == plover)
        .expect("Plover");
    assert_eq!(first.horse.as_deref(), Some("Plover"));
    assert_eq!(first.event_id, Some(given.id()));
    assert_eq!(first.lot_number, "T-4417");
    assert_eq!(first.given_by.as_deref(), Some("Senna Quill"));
    let place = first.stands.as_ref().expect("a place");
    assert_eq!(
        (place.barn_id, place.name.as_deref()),
        (yard.barn, Some("Saltmarsh Yard"))
    );
    let tell: Vec<(Why, Option<&str>)> = first
        .tell
        .iter()
        .map(|one| (one.why, one.name.as_deref()))
        .collect();
    assert_eq!(
        tell,
        [
            (Why::Owner, Some("Maren Oduya")),
            (Why::GaveIt, Some("Senna Quill"))
        ]
    );
    assert!(
        all.cautions
            .iter()
            .any(|one| one.contains("competent authority"))
    );
});

on_both!(
    an_amendment_moves_a_dose_and_a_retraction_takes_it_away,
    |server| {
        let yard = Yard::open(server);
        let (horse, pen) = (yard.horse(), yard.pen());
        let dose = shot(&pen, horse, "A-100");
        let _ = accepted(&yard.owner, &dose.sign());
        assert_eq!(ask(&yard.owner, "lot=a100").items.len(), 1);

        let misread = pen
            .draft(horse, Kind::Amendment)
            .about(dose.id())
            .details(json!({"reason": "misread the vial", "details": tetanus("B-200")}))
            .provenance(Provenance::Transcribed);
        let _ = accepted(&yard.owner, &misread.sign());
        assert!(ask(&yard.owner, "lot=A-100").items.is_empty());
        let [moved] = ask(&yard.owner, "lot=B-200").items.try_into().expect("one");
        assert!(moved.amended);
        assert_eq!(moved.event_id, Some(dose.id()));

        let withdrawn = pen.draft(horse, Kind::Retraction).about(dose.id());
        let _ = accepted(&yard.owner, &withdrawn.sign());
        assert!(ask(&yard.owner, "lot=B-200").items.is_empty());
    }
);

on_both!(it_speaks_only_for_what_the_account_may_see, |server| {
    let yard = Yard::open(server);
    let (horse, hidden) = (yard.horse(), yard.horse());
    let (farrier, stranger) = (
        server.device_account("Idris Fenn"),
        server.device_account("Orla Vance"),
    );
    let hand = server.device_account("Tam Brisling");
    let _ = yard.admit_to(&farrier, horse, Role::Farrier, Some(vec![Kind::HoofCare]));
    let grant = yard.admit(&hand, horse, Role::BarnStaff);
    for one in [horse, hidden] {
        let _ = accepted(&yard.owner, &shot(&yard.pen(), one, "T-4417").sign());
    }

    assert_eq!(ask(&yard.owner, "lot=T4417").items.len(), 2);
    let seen = ask(&hand, "lot=T4417");
    assert_eq!(seen.items.len(), 1);
    assert_eq!((seen.horses_searched, seen.horses_partly_searched), (1, 0));
    let limited = ask(&farrier, "lot=T4417");
    assert!(limited.items.is_empty());
    assert_eq!(
        (limited.horses_searched, limited.horses_partly_searched),
        (1, 1)
    );
    assert!(
        limited
            .scope
            .contains("of 1 not every kind of entry is open to it"),
        "{}",
        limited.scope
    );
    // No trace of a hit: the answer is that of a lot which nobody had, but for its name.
    let nobodys = ask(&farrier, "lot=T9999");
    assert_eq!(
        Recall {
            lot: limited.lot.clone(),
            ..nobodys
        },
        limited
    );
    let none = ask(&stranger, "lot=T4417");
    assert_eq!((none.items.len(), none.horses_searched), (0, 0));

    yard.revoke(&grant);
    let ended = ask(&hand, "lot=T4417");
    assert_eq!((ended.items.len(), ended.horses_searched), (0, 0));
    for wrong in ["lot=", "lot=---", "lot=A&batch=B", "product=Tidevax"] {
        let answer = yard.owner.get(&format!("{}?{wrong}", path::RECALL));
        assert!([400, 422].contains(&answer.status), "{wrong}: {answer:?}");
    }
});

on_both!(what_was_recorded_before_the_index_is_found_too, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let _ = accepted(&yard.owner, &shot(&yard.pen(), horse, "T-4417").sign());
    // As after an upgrade: the log is there, what is kept beside it isn't yet.
    let state = server.state();
    state
        .store
        .write(whorl_store::lots::forget)
        .expect("forgotten");
    drop(state);
    assert!(ask(&yard.owner, "lot=T4417").items.is_empty());

    server.restart();

    assert_eq!(ask(&yard.owner, "lot=T4417").items.len(), 1);
});
