use proptest::prelude::*;
use serde_json::{Number, json};

use super::*;

/// Words that the details know, among others that they don't.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        prop::sample::select(vec![
            "",
            " ",
            "LF",
            "trim",
            "tetanus",
            "ivermectin",
            "2026-05-04",
            "2026-05",
            "2027",
            "9999-12",
            "2026-05-04T09:20:00+02:00",
            "999098500123456",
            "826098500123456",
            "feet",
            "details",
            "~1/",
        ])
        .prop_map(str::to_owned),
        ".{0,12}",
        prop::collection::vec(prop::char::any(), 0..300).prop_map(String::from_iter),
    ]
}

fn number() -> impl Strategy<Value = Value> {
    prop_oneof![
        any::<i64>().prop_map(Value::from),
        (-10i32..400).prop_map(Value::from),
        any::<f64>().prop_map(|number| Number::from_f64(number).map_or(Value::Null, Value::Number)),
    ]
}

/// Any JSON at all, up to a few levels deep.
fn anything() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        number(),
        text().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 24, 5, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::vec((text(), inner), 0..5)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

fn kind() -> impl Strategy<Value = Kind> {
    prop::sample::select(Kind::ALL)
}

/// Every pointer of a document, the root's first.
fn pointers(document: &Value, at: &str, all: &mut Vec<String>) {
    all.push(at.to_owned());
    match document {
        Value::Object(fields) => fields.iter().for_each(|(name, field)| {
            pointers(field, &format!("{at}{}", crate::fault::step(name)), all);
        }),
        Value::Array(items) => items.iter().enumerate().for_each(|(index, item)| {
            pointers(item, &format!("{at}/{index}"), all);
        }),
        _ => {}
    }
}

/// What happens to one place of an example.
#[derive(Clone, Debug)]
enum Change {
    Replace(Value),
    Remove,
    Add(String, Value),
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        anything().prop_map(Change::Replace),
        Just(Change::Remove),
        (text(), anything()).prop_map(|(name, value)| Change::Add(name, value)),
    ]
}

fn apply(document: &mut Value, pointer: &str, change: Change) {
    match change {
        Change::Replace(value) => {
            if let Some(place) = document.pointer_mut(pointer) {
                *place = value;
            }
        }
        Change::Remove => {
            let _ = take_field(document, pointer) || take_item(document, pointer);
        }
        Change::Add(name, value) => {
            if let Some(Value::Object(fields)) = document.pointer_mut(pointer) {
                fields.insert(name, value);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_json_upsets_the_reader(kind in kind(), document in anything()) {
        let _ = to_metric(kind, document.clone());
        if let Some(known) = Details::parse_known(kind, &document) {
            let _ = known.check(&context());
            let _ = known.doubts(&context());
        }
        if let Err(faults) = Details::parse(kind, &document) {
            prop_assert!(!faults.0.is_empty());
        }
    }

    /// An example with one change is valid, or every fault names a place that exists or a field that is missing from
    /// an object that exists.
    #[test]
    fn a_changed_example_is_valid_or_told_where_it_is_not(
        kind in kind(),
        place in any::<prop::sample::Index>(),
        change in change(),
    ) {
        let mut document = example(kind);
        let mut places = Vec::new();
        pointers(&document, "", &mut places);
        apply(&mut document, &places[place.index(places.len())], change);
        for fault in faults(kind, &document, &context()).0 {
            prop_assert!(!fault.detail.is_empty());
            if document.pointer(&fault.pointer).is_some() {
                continue;
            }
            let parent = fault.pointer.rsplit_once('/').and_then(|(parent, _)| document.pointer(parent));
            prop_assert!(parent.is_some_and(Value::is_object), "{kind} {document}: {fault:?}");
        }
    }

    /// What can be read can be written and read again, and says the same.
    #[test]
    fn what_was_read_is_written_as_it_was(kind in kind(), place in any::<prop::sample::Index>(), change in change()) {
        let mut document = example(kind);
        let mut places = Vec::new();
        pointers(&document, "", &mut places);
        apply(&mut document, &places[place.index(places.len())], change);
        if let Ok(details) = Details::parse(kind, &document) {
            prop_assert_eq!(Details::parse(kind, &details.to_value()), Ok(details));
        }
    }

    #[test]
    fn metric_values_pass_through_unchanged(kind in kind()) {
        prop_assert_eq!(to_metric(kind, example(kind)), Ok(example(kind)));
    }
}

#[test]
fn a_hostile_depth_is_only_a_fault() {
    let mut deep = json!(1);
    for _ in 0..100 {
        deep = json!([deep]);
    }
    assert!(Details::parse(Kind::Identity, &json!({"name": deep})).is_err());
}
