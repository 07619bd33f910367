use serde_json::{Map, json};
use whorl_care::details::{Details, example, to_metric};

use super::*;

fn set(kind: Kind, pairs: &[(&str, &str)]) -> Result<Value, String> {
    let mut details = Map::new();
    for (path, text) in pairs {
        Form::of(kind).set(&mut details, path, text)?;
    }
    Ok(Value::Object(details))
}

/// Every leaf of a document as a path and a text, as somebody would type it.
fn leaves(value: &Value, path: &str, into: &mut Vec<(String, String)>) {
    let below = |name: &str| {
        if path.is_empty() {
            name.to_owned()
        } else {
            format!("{path}.{name}")
        }
    };
    match value {
        Value::Object(fields) if fields.is_empty() => into.push((path.to_owned(), String::new())),
        Value::Object(fields) => {
            for (name, value) in fields {
                leaves(value, &below(name), into);
            }
        }
        Value::Array(items) => {
            let words = items.iter().map(|item| match item {
                Value::Object(item) => ["finding", "severity", "region", "note"]
                    .map(|name| match item.get(name) {
                        Some(Value::String(text)) => text.clone(),
                        Some(other) => other.to_string(),
                        None => String::new(),
                    })
                    .join(":"),
                Value::String(text) => text.clone(),
                other => other.to_string(),
            });
            into.push((path.to_owned(), words.collect::<Vec<_>>().join(";")));
        }
        Value::String(text) => into.push((path.to_owned(), text.clone())),
        other => into.push((path.to_owned(), other.to_string())),
    }
}

/// All kinds but the amendment, whose details are those of another kind.
fn kinds() -> impl Iterator<Item = Kind> {
    Kind::ALL
        .iter()
        .copied()
        .filter(|kind| *kind != Kind::Amendment)
}

#[test]
fn every_kind_can_be_typed_field_by_field() {
    for kind in kinds() {
        let mut pairs = Vec::new();
        leaves(&example(kind), "", &mut pairs);
        let mut details = Map::new();
        for (path, text) in pairs.iter().filter(|(_, text)| !text.is_empty()) {
            assert!(Form::of(kind).knows(path), "{kind} {path}");
            Form::of(kind)
                .set(&mut details, path, text)
                .unwrap_or_else(|why| panic!("{kind} {path}={text}: {why}"));
        }
        let typed = Value::Object(details);
        if kind == Kind::HoofCheck {
            // A foot that looked well has nothing to type but its name.
            assert!(typed.pointer("/feet/LF/findings/0").is_some());
            continue;
        }
        assert_eq!(
            Details::parse(kind, &typed),
            Details::parse(kind, &example(kind)),
            "{kind}"
        );
    }
}

#[test]
fn every_kind_can_be_read_from_a_document() {
    for kind in kinds() {
        let read = Form::of(kind).read(&example(kind)).expect("read");
        assert_eq!(Value::Object(read), example(kind), "{kind}");
    }
}

#[test]
fn every_field_has_a_meaning_and_a_name_of_its_own() {
    for kind in kinds() {
        let form = Form::of(kind);
        assert!(!form.about.is_empty(), "{kind}");
        let mut shorts: Vec<&str> = Vec::new();
        for field in form.fields() {
            assert!(!field.about.is_empty(), "{kind} {}", field.name);
            assert!(
                !shorts.contains(&field.short.as_str()),
                "{kind} {}",
                field.short
            );
            shorts.push(&field.short);
        }
    }
}

#[test]
fn a_farrier_types_little() {
    let typed = set(
        Kind::HoofCare,
        &[
            ("service", "trim"),
            ("feet.lf.before", "toe=92mm,angle=50"),
            ("feet.LF.after", "toe=3.25in, angle=53, method=gauge"),
            (
                "feet.LF.findings",
                "thrush:2:central sulcus; white_line_separation:1",
            ),
            ("feet.RF.shoe", "type=plain,size=2,nails=6"),
            ("next", "6"),
        ],
    );
    assert_eq!(
        typed.map(|typed| to_metric(Kind::HoofCare, typed)),
        Ok(Ok(json!({
            "service": "trim", "next_in_weeks": 6,
            "feet": {
                "LF": {
                    "before": {"toe_length_mm": 92.0, "toe_angle_deg": 50.0},
                    "after": {"toe_length_mm": 82.55, "toe_angle_deg": 53.0, "method": "gauge"},
                    "findings": [
                        {"finding": "thrush", "severity": 2, "region": "central sulcus"},
                        {"finding": "white_line_separation", "severity": 1}
                    ]
                },
                "RF": {"shoe": {"type": "plain", "size": "2", "nails": 6}}
            }
        })))
    );
}

#[test]
fn short_names_codes_and_keys_are_forgiving_where_nothing_is_ambiguous() {
    let vitals = set(
        Kind::Vitals,
        &[("temperature", "101.5F"), ("digital-pulses", "lf=1,RF=2")],
    );
    assert_eq!(
        vitals,
        Ok(json!({"temperature_f": 101.5, "digital_pulses": {"LF": 1, "RF": 2}}))
    );
    let dose = set(
        Kind::Vaccination,
        &[("against", "tetanus, west-nile"), ("site", "LEFT-neck")],
    );
    assert_eq!(
        dose,
        Ok(json!({"targets": ["tetanus", "west_nile"], "site": "left_neck"}))
    );
    assert_eq!(
        set(Kind::HoofCheck, &[("feet", "all")]),
        Ok(json!({"feet": {"LF": {}, "RF": {}, "LH": {}, "RH": {}}}))
    );
    assert_eq!(
        set(Kind::Weight, &[("weight_lb", "1125"), ("girth", "188cm")]),
        Ok(json!({"weight_lb": 1125.0, "heart_girth_cm": 188.0}))
    );
    assert_eq!(
        set(Kind::Identity, &[("dam_vaccinated", "yes")]),
        Ok(json!({"dam_vaccinated": true}))
    );
}

#[test]
fn what_does_not_fit_is_said_plainly() {
    for (kind, path, text, says) in [
        (Kind::Weight, "weight", "510", "510 of what: kg or lb?"),
        (
            Kind::Weight,
            "wieght",
            "510kg",
            "there is no field `wieght` here; there are weight,",
        ),
        (
            Kind::Weight,
            "method",
            "guess",
            "`guess` is not one of scale, tape, formula, visual",
        ),
        (Kind::Weight, "weight_kg", "510lb", ""),
        (Kind::Weight, "method", " ", "it is empty"),
        (
            Kind::HoofCare,
            "feet.LX.after",
            "toe=84mm",
            "`LX` is not one of LF, RF, LH, RH",
        ),
        (Kind::HoofCare, "feet.LF.after", "toe", "`toe` has no value"),
        (Kind::HoofCare, "next", "5.5", "is no whole number"),
        (Kind::HoofCare, "service.more", "trim", "nothing under it"),
        (Kind::HoofCheck, "feet", "LF=thrush", "write LF,RF,LH,RH"),
        (
            Kind::Vitals,
            "digital_pulses",
            "LF",
            "`LF` has no value; write LF=value",
        ),
        (Kind::Dental, "sedated", "maybe", "neither yes nor no"),
    ] {
        match set(kind, &[(path, text)]) {
            Err(said) => assert!(said.contains(says), "{path}={text}: {said}"),
            Ok(value) => assert!(says.is_empty(), "{path}={text}: {value}"),
        }
    }
}

#[test]
fn a_document_may_use_short_names_and_units_and_its_faults_are_pointed_to() {
    let form = Form::of(Kind::HoofCare);
    let document = json!({"service": "trim", "feet": {"lf": {"after": {"toe": "84mm", "angle": 52},
        "findings": "thrush:2"}}});
    let read = form.read(&document).expect("read");
    assert_eq!(
        Value::Object(read),
        json!({"service": "trim", "feet": {"LF": {"after": {"toe_length_mm": 84.0, "toe_angle_deg": 52.0},
            "findings": [{"finding": "thrush", "severity": 2}]}}})
    );
    let document = json!({"servce": "trim", "feet": {"LF": {"after": {"toe": 84}}},
        "next": 6, "next_in_weeks": 6});
    let faults = form.read(&document).expect_err("faults").0;
    let pointers: Vec<&str> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
    assert_eq!(
        pointers,
        ["/feet/LF/after/toe", "/next_in_weeks", "/servce"]
    );
}

#[test]
fn a_pointer_finds_its_field() {
    let at = |kind, pointer: &str| Form::of(kind).at(pointer).map(|field| field.short.as_str());
    assert_eq!(at(Kind::Vaccination, "/lot_number"), Some("lot"));
    assert_eq!(
        at(Kind::HoofCare, "/feet/LF/after/toe_length_mm"),
        Some("toe")
    );
    assert_eq!(
        at(Kind::HoofCare, "/feet/LF/findings/0/severity"),
        Some("severity")
    );
    assert_eq!(at(Kind::Weight, "/nothing"), None);
}

#[test]
fn a_path_by_short_or_trade_names_leads_to_the_records_own() {
    let pointer = |kind, path| Form::of(kind).pointer(path);
    assert_eq!(
        pointer(Kind::Weight, "weight_lb").as_deref(),
        Some("/weight_kg")
    );
    assert_eq!(
        pointer(Kind::HoofCare, "feet.lf.after.toe").as_deref(),
        Some("/feet/LF/after/toe_length_mm")
    );
    assert_eq!(
        pointer(Kind::HoofCare, "feet.LF.findings.0.severity").as_deref(),
        Some("/feet/LF/findings/0/severity")
    );
    assert_eq!(pointer(Kind::Weight, "weight.more"), None);
}

#[test]
fn fields_come_in_the_order_in_which_people_think_of_them() {
    let names = |kind| {
        let fields = Form::of(kind).fields().iter();
        fields.map(|field| field.name.as_str()).collect::<Vec<_>>()
    };
    assert_eq!(
        names(Kind::Vaccination)[..4],
        ["targets", "product", "manufacturer", "lot_number"]
    );
    let test = Form::of(Kind::Vaccination)
        .fields()
        .iter()
        .find(|field| field.name == "site");
    let codes = test.map(|field| field.shape.codes().first().cloned());
    let first = codes.flatten().expect("codes");
    assert_eq!(
        (first.code.as_str(), first.about.as_str()),
        ("left_neck", "The left side of the neck")
    );
}
