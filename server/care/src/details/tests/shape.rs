use serde_json::json;

use super::*;

#[test]
fn every_example_is_valid_and_survives_the_types() {
    for kind in Kind::ALL {
        let example = example(*kind);
        let details = Details::parse(*kind, &example).unwrap_or_else(|f| panic!("{kind}: {f}"));
        assert_eq!(details.kind(), *kind);
        assert_eq!(details.check(&context()), Ok(()), "{kind}");
        assert_eq!(details.doubts(&context()), [], "{kind}");
        assert_eq!(
            Details::parse(*kind, &details.to_value()).as_ref(),
            Ok(&details)
        );
    }
}

/// Typed by hand: what a kind can't do without, when one records it oneself.
const REQUIRED: &[(Kind, &[&str])] = &[
    (Kind::HoofCare, &["service"]),
    (Kind::HoofCheck, &["feet"]),
    (
        Kind::Vaccination,
        &["targets", "product", "lot_number", "expiration_date"],
    ),
    (Kind::Deworming, &["actives"]),
    (Kind::EggCount, &[]),
    (Kind::Weight, &["weight_kg", "method"]),
    (Kind::BodyCondition, &[]),
    (Kind::Vitals, &[]),
    (Kind::Dental, &["procedure"]),
    (Kind::LamenessExam, &["scale", "limbs"]),
    (Kind::Medication, &["drug", "dose"]),
    (Kind::LaboratoryTest, &["test", "drawn_on", "result"]),
    (Kind::HealthCertificate, &["number", "issued_on"]),
    (Kind::Movement, &["to"]),
    (Kind::Breeding, &["step"]),
    (Kind::Observation, &[]),
    (Kind::AdverseReaction, &["signs"]),
    (Kind::CarePlan, &["domain", "actives", "valid_until"]),
    (Kind::Identity, &[]),
    (Kind::Amendment, &["reason", "details"]),
    (Kind::Retraction, &["reason"]),
    (Kind::Countersign, &["statement"]),
    (Kind::Erasure, &["reason"]),
];

#[test]
fn each_required_field_is_missed_and_no_other() {
    let kinds: Vec<_> = REQUIRED.iter().map(|(kind, _)| *kind).collect();
    assert_eq!(kinds, Kind::ALL);
    for (kind, required) in REQUIRED {
        let example = example(*kind);
        for field in example.as_object().expect("an object").keys() {
            let mut without = example.clone();
            without.as_object_mut().expect("an object").remove(field);
            let found = faults(*kind, &without, &context());
            if required.contains(&field.as_str()) {
                assert_eq!(found.0.len(), 1, "{kind} without {field}: {found}");
                assert_eq!(found.0[0].pointer, format!("/{field}"), "{kind}");
            } else {
                assert_eq!(found.0, [], "{kind} without {field}");
            }
        }
    }
}

#[test]
fn details_that_say_nothing_are_refused_in_every_kind() {
    for kind in Kind::ALL {
        assert_ne!(faults(*kind, &json!({}), &context()).0, [], "{kind}");
        for no_object in [json!(null), json!([]), json!("trim"), json!(3)] {
            let found = faults(*kind, &no_object, &context());
            assert_eq!(found.0[0].pointer, "", "{kind} {no_object}");
        }
    }
}

#[test]
fn an_unknown_field_is_pointed_to_in_every_kind() {
    for kind in Kind::ALL {
        let mut example = example(*kind);
        example["lot_numbr"] = json!("x");
        let faults = Details::parse(*kind, &example).unwrap_err();
        assert_eq!(faults.0.len(), 1, "{kind}: {faults}");
        assert_eq!(faults.0[0].pointer, "/lot_numbr", "{kind}");
        assert!(faults.0[0].detail.contains("no field lot_numbr"), "{kind}");
        let known = Details::parse_known(*kind, &example).expect("what is known");
        assert_eq!(Details::parse(*kind, &super::example(*kind)), Ok(known));
    }
}

#[test]
fn an_unknown_field_deep_inside_is_pointed_to() {
    let details = json!({"service": "trim", "feet": {"LF": {"after": {"toe_length": 85},
        "findings": [{"finding": "thrush"}, {"finding": "crack", "severty": 2}]}, "RF": {}}});
    let found = Details::parse(Kind::HoofCare, &details).unwrap_err();
    let pointers: Vec<_> = found.0.iter().map(|fault| &*fault.pointer).collect();
    assert_eq!(
        pointers,
        ["/feet/LF/after/toe_length", "/feet/LF/findings/1/severty"]
    );
}

#[test]
fn a_list_is_never_taken_for_an_object() {
    for (kind, details, pointer) in [
        (
            Kind::HoofCare,
            json!({"service": "trim", "feet": {"LF": {"after": [85, 52]}}}),
            "/feet/LF/after",
        ),
        (
            Kind::HoofCheck,
            json!({"feet": {"LF": {"findings": [["thrush", 1]]}}}),
            "/feet/LF/findings/0",
        ),
        (Kind::HoofCheck, json!({"feet": {"LF": []}}), "/feet/LF"),
        (Kind::Vitals, json!([38.5]), ""),
    ] {
        let found = Details::parse(kind, &details).unwrap_err();
        assert_eq!(found.0[0].pointer, pointer, "{found}");
        assert!(found.0[0].detail.contains("list"), "{found}");
    }
}

#[test]
fn all_faults_of_shape_are_found_at_once() {
    let details = json!({"targets": ["tetanus"], "lot": "A1", "dose_ml": "one", "route": "im",
        "expiration_date": "03/27", "site": "left_neck"});
    let found = Details::parse(Kind::Vaccination, &details).unwrap_err();
    let mut pointers: Vec<_> = found.0.iter().map(|fault| &*fault.pointer).collect();
    pointers.sort_unstable();
    assert_eq!(pointers, ["/dose_ml", "/expiration_date", "/lot", "/route"]);
    let route = found.0.iter().find(|fault| fault.pointer == "/route");
    let route = route.expect("the route's fault");
    assert_eq!(
        route.detail,
        "`im` is not one of intramuscular, subcutaneous, intranasal, oral"
    );
}

#[test]
fn trade_units_are_not_of_the_record() {
    let found = Details::parse(Kind::Weight, &json!({"weight_lb": 1100})).unwrap_err();
    assert_eq!(found.0[0].pointer, "/weight_lb");
    let metric = to_metric(Kind::Weight, json!({"weight_lb": 1100})).expect("metric");
    assert!(Details::parse(Kind::Weight, &metric).is_ok());
}

#[test]
fn an_amendment_s_details_are_read_by_the_kind_they_amend() {
    let amendment: Amendment = read(&example(Kind::Amendment)).expect("an amendment");
    assert_eq!(
        amendment.new_details(Kind::Weight).map(|new| new.kind()),
        Ok(Kind::Weight)
    );
    let found = amendment.new_details(Kind::Vitals).unwrap_err();
    assert_eq!(found.0[0].pointer, "/details/method");
    assert_eq!(found.0[1].pointer, "/details/weight_kg");
    assert!(amendment.new_details(Kind::Retraction).is_err());
}

#[test]
fn what_is_known_of_a_newer_event_is_read() {
    let newer =
        json!({"targets": ["tetanus", "moon_fever"], "product": "X", "cold_chain": {"max_c": 8}});
    let Some(Details::Vaccination(known)) = Details::parse_known(Kind::Vaccination, &newer) else {
        panic!("a vaccination");
    };
    assert_eq!(known.targets, [crate::disease::Disease::Tetanus]);
    assert_eq!(
        Details::parse_known(Kind::Weight, &json!({"weight_kg": "heavy"})),
        None
    );
}
