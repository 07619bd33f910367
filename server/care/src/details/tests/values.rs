use serde_json::json;

use super::*;

/// A wrong value put into the example of a kind.
struct Wrong {
    kind: Kind,
    at: &'static str,
    value: Value,
    /// Where the fault is found.
    pointer: &'static str,
    /// A part of what it says.
    says: &'static str,
}

fn wrong_values() -> Vec<Wrong> {
    let lines = include_str!("wrong_values.txt").lines();
    let rows = lines.filter(|line| !line.is_empty() && !line.starts_with('#'));
    let table = rows.map(|line| {
        let cells: Vec<_> = line.split(" | ").collect();
        let [kind, at, value, pointer, says] = cells.as_slice() else {
            panic!("not five cells: {line}");
        };
        Wrong {
            kind: kind.parse().expect("a kind"),
            at,
            value: serde_json::from_str(value).expect("JSON"),
            pointer: if *pointer == "=" { at } else { pointer },
            says,
        }
    });
    table.collect()
}

/// Puts a value into a document at a pointer whose parent exists.
fn put(document: &mut Value, pointer: &str, value: Value) {
    let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
    match document.pointer_mut(parent).expect("a parent") {
        Value::Array(items) => items[name.parse::<usize>().expect("an index")] = value,
        object => object[name] = value,
    }
}

#[test]
fn each_wrong_value_is_pointed_to_in_plain_words() {
    for wrong in wrong_values() {
        let Wrong {
            kind,
            at,
            value,
            pointer,
            says,
        } = wrong;
        let mut details = example(kind);
        put(&mut details, at, value.clone());
        let found = faults(kind, &details, &context());
        assert_eq!(found.0.len(), 1, "{kind} {at} = {value}: {found}");
        assert_eq!(
            found.0[0].pointer, pointer,
            "{kind} {at} = {value}: {found}"
        );
        assert!(
            found.0[0].detail.contains(says),
            "{kind} {at} = {value}: {found}"
        );
    }
}

#[test]
fn every_kind_has_a_wrong_value_in_the_table() {
    for kind in Kind::ALL {
        assert!(
            wrong_values().iter().any(|wrong| wrong.kind == *kind),
            "{kind}"
        );
    }
}

/// No quantity is without bounds: a limit's name that is misspelt in the code would let everything through.
#[test]
fn every_number_has_a_least_and_a_most() {
    fn numbers(value: &Value, at: &str, all: &mut Vec<String>) {
        match value {
            Value::Number(_) => all.push(at.to_owned()),
            Value::Object(fields) => fields
                .iter()
                .for_each(|(name, field)| numbers(field, &format!("{at}/{name}"), all)),
            _ => {}
        }
    }
    let mut checked = 0;
    for kind in Kind::ALL.iter().filter(|kind| **kind != Kind::Amendment) {
        let mut places = Vec::new();
        numbers(&example(*kind), "", &mut places);
        for (at, beyond) in places.iter().flat_map(|at| {
            [
                (at, json!(-1e9)),
                (at, json!(1e9)),
                (at, json!(999_999_999)),
            ]
        }) {
            let mut details = example(*kind);
            put(&mut details, at, beyond.clone());
            let found = faults(*kind, &details, &context());
            assert!(
                found.0.iter().any(|fault| fault.pointer == *at),
                "{kind} {at} = {beyond}: {found}"
            );
            checked += 1;
        }
    }
    assert!(checked > 120, "{checked}");
}

#[test]
fn texts_have_an_end() {
    for (kind, at, most) in [
        (Kind::Vaccination, "/lot_number", 200),
        (Kind::HoofCare, "/handling", 4000),
    ] {
        let mut details = example(kind);
        put(&mut details, at, json!("é".repeat(most)));
        assert_eq!(faults(kind, &details, &context()).0, [], "{kind}");
        put(&mut details, at, json!("é".repeat(most + 1)));
        let found = faults(kind, &details, &context());
        assert!(
            found.0[0].detail.contains("characters are too long"),
            "{found}"
        );
    }
}

/// Values at the edge of what is taken.
#[test]
fn what_is_right_is_taken() {
    for (kind, at, value) in [
        (Kind::Vaccination, "/expiration_date", json!("2026-05-04")),
        (Kind::Vaccination, "/expiration_date", json!("2026-05")),
        (Kind::Identity, "/microchip", json!("900215001234567")),
        (Kind::Identity, "/microchip", json!("985112003456789")),
        (Kind::Identity, "/microchip", json!("276098106123456")),
        (Kind::Identity, "/ueln", json!("25000100155928M")),
        (Kind::Identity, "/ueln", json!("372IRE001234567")),
        (Kind::Identity, "/foaled_on", json!("2026")),
        (
            Kind::Identity,
            "/dam_vaccinated",
            json!({"influenza": true, "rabies": null}),
        ),
        (Kind::Weight, "/weight_kg", json!(1150)),
        (Kind::BodyCondition, "/score", json!(9)),
        (Kind::Medication, "/dose", json!("0.5 ml/100 kg")),
        (Kind::Medication, "/dose", json!("½ sachet")),
        (Kind::Medication, "/dose", json!("2–3 drops in the eye")),
        (Kind::LaboratoryTest, "/test", json!("acth")),
        (Kind::HoofCare, "/feet", json!({})),
        (Kind::HoofCare, "/handling", json!("Two lines\nare fine.")),
    ] {
        let mut details = example(kind);
        put(&mut details, at, value.clone());
        assert_eq!(
            faults(kind, &details, &context()).0,
            [],
            "{kind} {at} = {value}"
        );
    }
}

#[test]
fn paper_may_lack_what_ones_own_record_may_not() {
    let own = context();
    let copied = Context {
        provenance: Provenance::Transcribed,
        ..own
    };
    for (kind, bare) in [
        (Kind::Vaccination, json!({"targets": ["tetanus"]})),
        (Kind::Weight, json!({"weight_kg": 480})),
        (Kind::Medication, json!({"drug": "antibiotic"})),
        (
            Kind::LaboratoryTest,
            json!({"test": "eia_agid", "result": "negative"}),
        ),
        (Kind::HealthCertificate, json!({"issued_on": "2026-05-04"})),
    ] {
        assert_eq!(faults(kind, &bare, &copied).0, [], "{kind}");
        let found = faults(kind, &bare, &own);
        assert!(
            found
                .0
                .iter()
                .all(|fault| fault.detail.starts_with("it is missing")),
            "{found}"
        );
        assert_ne!(found.0, [], "{kind}");
    }
    let expired = json!({"targets": ["tetanus"], "expiration_date": "2020-01"});
    let found = faults(Kind::Vaccination, &expired, &copied);
    assert!(
        found.0[0]
            .detail
            .contains("leave it out and say so in the note"),
        "{found}"
    );
}

#[test]
fn a_day_before_birth_or_ahead_of_the_clock_is_refused() {
    let on = |performed: &str, foaled: Option<&str>, kind| {
        let around = Context {
            performed_on: day(performed),
            foaled_on: foaled.map(|text| text.parse().expect("a date")),
            ..context()
        };
        check_day(kind, &around).map_err(|faults| faults.to_string())
    };
    assert_eq!(
        on("2026-05-05", None, Kind::Weight),
        Ok(()),
        "a clock ahead of ours"
    );
    let ahead = on("2026-05-06", None, Kind::Weight).unwrap_err();
    assert!(
        ahead.starts_with("/performed_at: 2026-05-06 hasn't come yet"),
        "{ahead}"
    );
    assert_eq!(on("2026-04-01", Some("2026-04"), Kind::Weight), Ok(()));
    let unborn = on("2026-03-31", Some("2026-04"), Kind::Weight).unwrap_err();
    assert!(
        unborn.contains("before the horse was foaled (2026-04)"),
        "{unborn}"
    );
    assert_eq!(
        on("2026-03-31", Some("2026-04"), Kind::Identity),
        Ok(()),
        "it may correct the date"
    );
    let drawn = json!({"test": "foal_igg", "drawn_on": "2026-03-31", "result": "8 g/l"});
    let around = Context {
        foaled_on: "2026-04-10".parse().ok(),
        ..context()
    };
    assert_eq!(
        faults(Kind::LaboratoryTest, &drawn, &around).0[0].pointer,
        "/drawn_on"
    );
}

#[test]
fn an_unusual_value_is_asked_about_and_taken() {
    let ask = |kind, details: &Value| {
        let details = Details::parse(kind, details).expect("details");
        assert_eq!(details.check(&context()), Ok(()));
        details.doubts(&context())
    };
    let pounds = json!({"weight_kg": 1100, "method": "scale"});
    let doubts = ask(Kind::Weight, &pounds);
    assert_eq!(doubts[0].pointer, "/weight_kg");
    assert!(
        doubts[0].detail.contains("were pounds meant (499 kg)?"),
        "{doubts:?}"
    );
    // 188² × 168 / 11 880 = 499.8, worked by hand.
    let far =
        json!({"weight_kg": 900, "method": "tape", "heart_girth_cm": 188, "body_length_cm": 168});
    let doubts = ask(Kind::Weight, &far);
    assert!(
        doubts[0]
            .detail
            .contains("the 500 kg that girth and length make"),
        "{doubts:?}"
    );
    let half = json!({"actives": ["moxidectin"], "dosed_for_kg": 500, "dose_mg": 100});
    let doubts = ask(Kind::Deworming, &half);
    assert!(
        doubts[0]
            .detail
            .contains("0.2 mg/kg of moxidectin: 0.2 mg/kg is unusual"),
        "{doubts:?}"
    );
    let own = json!({"method": "Mcmaster", "eggs_counted": 3, "multiplication_factor": 25});
    let doubts = ask(Kind::EggCount, &own);
    assert!(
        doubts[0]
            .detail
            .contains("mcmaster, wisconsin, stoll, mini_flotac"),
        "{doubts:?}"
    );
    let odd = json!({"method": "mini_flotac", "eggs_counted": 3, "multiplication_factor": 25});
    assert!(
        ask(Kind::EggCount, &odd)[0]
            .detail
            .contains("where it is 5")
    );
    assert_eq!(ask(Kind::Vitals, &json!({"temperature_c": 35.5})).len(), 1);
}
