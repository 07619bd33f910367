//! Promises that hold for any history.

use chrono::NaiveDate;
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::*;

const RULE_SETS: [&str; 13] = [
    "fei-influenza",
    "gb-racing-influenza",
    "gb-affiliated-influenza",
    "france-racing-influenza",
    "italy-racing-influenza",
    "germany-lpo-influenza",
    "us-equestrian-vaccination",
    "us-show-180-days",
    "eia-12-months",
    "eia-6-months",
    "eia-calendar-year",
    "health-certificate-30-days",
    "microchip-iso-11784",
];

fn on(offset: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 6, 1)
        .and_then(|day| day.checked_add_signed(chrono::TimeDelta::days(offset)))
        .expect("a day")
}

fn a_history() -> impl Strategy<Value = Vec<Value>> {
    let provenance =
        prop_oneof![4 => Just("attested"), 1 => Just("transcribed"), 1 => Just("recorded")];
    let gap = prop_oneof![
        Just(21i64),
        Just(28),
        Just(60),
        Just(61),
        Just(150),
        Just(182),
        1i64..420
    ];
    let one = (gap, 0usize..6, provenance);
    prop::collection::vec(one, 0..9).prop_map(|steps| {
        let mut day = 0;
        let mut events = Vec::new();
        for (n, (gap, what, provenance)) in steps.into_iter().enumerate() {
            day += gap;
            let on = on(day).to_string();
            let mut event = match what {
                0 => eia(&on),
                1 => json!({"kind": "health_certificate", "performed_on": on,
                    "details": {"issued_on": on}}),
                2 => herpes(&on),
                3 => json!({"kind": "vaccination", "performed_on": on,
                    "details": {"targets": ["influenza", "ehv_1_4"]}}),
                _ => flu(&on),
            };
            event["provenance"] = json!(provenance);
            event["id"] = json!(format!("01970000-0000-7000-8000-{n:012}"));
            events.push(event);
        }
        events
    })
}

/// What a plan's action records once it is done on its first day; none for what no event shows.
fn done(action: &Value, events: &[Value]) -> Vec<Value> {
    let what = action["do"].as_str().expect("words");
    let day = action["from"].as_str().expect("a day");
    if what.contains("countersign") || what.contains("get the result") {
        // Every entry that is not a vet's own is vouched for.
        return events
            .iter()
            .filter(|event| event["provenance"] != "attested")
            .map(|event| {
                json!({"kind": "countersign", "role": "vet", "performed_on": day,
                    "target_id": event["id"], "details": {"statement": "seen"}})
            })
            .collect();
    }
    if what.starts_with("influenza") {
        vec![flu(day)]
    } else if what.starts_with("herpes") {
        vec![herpes(day)]
    } else if what.starts_with("EIA") {
        vec![eia(day)]
    } else if what.starts_with("health certificate") {
        vec![json!({"kind": "health_certificate", "performed_on": day,
            "details": {"issued_on": day}})]
    } else {
        assert!(what.starts_with("microchip"), "{what}");
        vec![]
    }
}

fn with_plan_done(document: &Value, answer: &Value) -> Value {
    let mut document = document.clone();
    let mut events = document["events"].as_array().expect("events").clone();
    for action in answer["plan"].as_array().expect("a plan") {
        let recorded = done(action, &events);
        events.extend(recorded);
    }
    document["events"] = json!(events);
    document["horse"]["microchip"] = json!("276098106123456");
    document["arrives_on"] = answer["earliest_eligible_on"].clone();
    document
        .as_object_mut()
        .expect("an object")
        .remove("leaves_on");
    document
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn carrying_out_the_plan_makes_the_horse_eligible_on_the_day_stated(
        events in a_history(), arrives in 0i64..1500, today in prop::option::of(-40i64..40),
        second in 0usize..13,
    ) {
        for first in RULE_SETS {
            let mut document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
                "rules": [first, RULE_SETS[second]]});
            if let Some(today) = today {
                document["on"] = json!(on(arrives + today));
            }
            let answer = entry(&document);
            let day: NaiveDate = answer["earliest_eligible_on"]
                .as_str()
                .unwrap_or_else(|| panic!("no plan for {first}: {answer:#} {document:#}"))
                .parse()
                .expect("a day");
            prop_assert!(day >= on(arrives));
            if answer["eligible"] == true {
                prop_assert_eq!(day, on(arrives));
                prop_assert_eq!(&answer["plan"], &json!([]));
            }
            let then = entry(&with_plan_done(&document, &answer));
            prop_assert_eq!(&then["eligible"], &json!(true), "{:#} {:#} {:#}", document, answer, then);
            for action in answer["plan"].as_array().expect("a plan") {
                let from = action["from"].as_str().expect("a day");
                prop_assert!(action["until"].as_str().is_none_or(|until| from <= until));
                let no_sooner = document["on"].as_str().is_none_or(|on| on <= from);
                prop_assert!(no_sooner, "{:#}", action);
            }
        }
    }

    #[test]
    fn no_day_before_the_earliest_is_eligible_as_things_stand(
        events in a_history(), arrives in 0i64..1500, n in 0usize..13,
    ) {
        let document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
            "on": on(arrives), "rules": RULE_SETS[n]});
        let answer = entry(&document);
        let day: NaiveDate = answer["earliest_eligible_on"].as_str().expect("a plan").parse().expect("a day");
        let mut before = document.clone();
        let mut at = on(arrives);
        while at < day {
            before["arrives_on"] = json!(at);
            prop_assert_eq!(&entry(&before)["eligible"], &json!(false));
            at = at.succ_opt().expect("a day");
        }
    }

    #[test]
    fn a_later_arrival_never_makes_a_lapsed_dose_valid(
        events in a_history(), arrives in 0i64..1500, later in 1i64..400, n in 0usize..13,
    ) {
        // Once nothing more is given, a horse that was eligible and isn't any more stays so.
        let at = |offset: i64| entry(&json!({"horse": {"microchip": "276098106123456"},
            "events": events, "arrives_on": on(offset), "rules": RULE_SETS[n]}));
        let last = 9 * 420 + 60;
        let (first, then) = (last.min(arrives + 4000), last + later);
        if at(first)["eligible"] == false && first < then {
            // Beyond every wait after the last dose, only lapsing can be the reason.
            prop_assert_eq!(&at(then)["eligible"], &json!(false));
        }
    }

    #[test]
    fn what_is_not_about_it_and_the_order_change_nothing(
        events in a_history(), arrives in 0i64..1500, n in 0usize..13, day in 0i64..1500,
    ) {
        let document = json!({"horse": {}, "events": events, "arrives_on": on(arrives),
            "rules": RULE_SETS[n]});
        let answer = entry(&document);
        let mut shuffled = events.clone();
        shuffled.reverse();
        for (kind, details) in [
            ("weight", json!({"weight_kg": 512.0})),
            ("vaccination", json!({"targets": ["tetanus"]})),
            ("laboratory_test", json!({"test": "strangles_pcr", "drawn_on": on(day), "result": "positive"})),
            ("observation", json!({"signs": ["cough"]})),
        ] {
            shuffled.insert(
                usize::try_from(day).unwrap_or(0) % (shuffled.len() + 1),
                json!({"kind": kind, "performed_on": on(day), "details": details}),
            );
        }
        let mut other = document.clone();
        other["events"] = json!(shuffled);
        prop_assert_eq!(answer, entry(&other));
    }
}
