//! What the published document says of the details.

use serde_json::json;
use utoipa::PartialSchema;

use super::*;
use crate::kind::Foot;

macro_rules! schemas {
    ($($kind:ident,)*) => {
        vec![$((Kind::$kind, serde_json::to_value($kind::schema()).expect("JSON")),)*]
    };
}

#[test]
fn every_kind_is_published_closed_and_with_the_fields_of_its_example() {
    let schemas = schemas![
        HoofCare,
        HoofCheck,
        Vaccination,
        Deworming,
        EggCount,
        Weight,
        BodyCondition,
        Vitals,
        Dental,
        LamenessExam,
        Medication,
        LaboratoryTest,
        HealthCertificate,
        Movement,
        Breeding,
        Observation,
        AdverseReaction,
        CarePlan,
        Identity,
        Amendment,
        Retraction,
        Countersign,
        Erasure,
    ];
    assert_eq!(schemas.len(), Kind::ALL.len());
    for (kind, schema) in schemas {
        assert_eq!(schema["additionalProperties"], json!(false), "{kind}");
        let example = example(kind);
        for field in example.as_object().expect("an object").keys() {
            assert!(schema["properties"][field].is_object(), "{kind} {field}");
        }
        for field in schema["required"].as_array().into_iter().flatten() {
            assert!(
                example.get(field.as_str().expect("a name")).is_some(),
                "{kind} {field}"
            );
        }
    }
}

#[test]
fn codes_are_published_as_they_are_written() {
    let foot = serde_json::to_value(Foot::schema()).expect("JSON");
    assert_eq!(foot["enum"], json!(["LF", "RF", "LH", "RH"]));
    assert!(
        foot["description"]
            .as_str()
            .is_some_and(|text| text.contains("`LF`: Left fore."))
    );
    let feet = serde_json::to_value(HoofCare::schema()).expect("JSON");
    let names = &feet["properties"]["feet"]["propertyNames"]["enum"];
    assert_eq!(names, &json!(["LF", "RF", "LH", "RH"]));
}
