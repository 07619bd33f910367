//! Promises that hold for any log.

use chrono::{Days, Months, NaiveDate};
use proptest::prelude::*;
use serde_json::{Value, json};
use whorl_care::figure::due::{BarnContext, Programme, items};
use whorl_care::horse::{CareEvent, Horse};

use crate::*;

fn a_log() -> impl Strategy<Value = Vec<Value>> {
    let one = (0usize..9, 0u64..1500, 0usize..6).prop_map(|(what, offset, which)| {
        let day = NaiveDate::from_ymd_opt(2023, 1, 1)
            .and_then(|day| day.checked_add_days(Days::new(offset)));
        let day = day.expect("a day").to_string();
        let disease = [
            "tetanus",
            "eee",
            "west_nile",
            "rabies",
            "influenza",
            "ehv_1_4",
        ][which];
        let active = [
            "ivermectin",
            "moxidectin",
            "pyrantel_pamoate",
            "fenbendazole",
            "praziquantel",
            "oxibendazole",
        ][which];
        match what {
            0..=2 => dose(disease, &day),
            3 => wormed(active, &day),
            4 => counted(f64::from(u32::try_from(offset).unwrap_or(0)), &day),
            5 => trimmed(&day, [None, Some(4), Some(6)][which % 3]),
            6 => event("dental", &day, json!({"procedure": "float"})),
            7 => event("observation", &day, json!({"signs": ["wound"]})),
            _ => event(
                "weight",
                &day,
                json!({"weight_kg": 480.0, "method": "tape"}),
            ),
        }
    });
    prop::collection::vec(one, 0..40)
}

fn a_horse() -> impl Strategy<Value = Value> {
    (0u32..180, 0usize..3, any::<bool>()).prop_map(|(months, sex, risk)| {
        let foaled = NaiveDate::from_ymd_opt(2026, 10, 1)
            .and_then(|day| day.checked_sub_months(Months::new(months)));
        let sex = ["mare", "gelding", "filly"][sex];
        let risks: &[&str] = if risk {
            &["travels", "near_water"]
        } else {
            &[]
        };
        json!({"sex": sex, "foaled_on": foaled.expect("a day"), "risks": risks})
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn the_order_and_what_is_not_about_it_change_nothing(log in a_log(), horse in a_horse(), on in 0u64..700) {
        let on = NaiveDate::from_ymd_opt(2026, 1, 1).and_then(|day| day.checked_add_days(Days::new(on))).expect("a day");
        let answer = due(&ask(horse.clone(), log.clone(), &on.to_string()));
        let mut other = log;
        other.reverse();
        other.push(event("vitals", "2026-01-02", json!({"temperature_c": 37.8})));
        other.push(event("body_condition", "2026-01-02", json!({"score": 5.0})));
        prop_assert_eq!(&answer, &due(&ask(horse, other, &on.to_string())));
    }

    #[test]
    fn every_item_is_whole(log in a_log(), horse in a_horse(), on in 0u64..700) {
        let on = NaiveDate::from_ymd_opt(2026, 1, 1).and_then(|day| day.checked_add_days(Days::new(on))).expect("a day");
        let answer = due(&ask(horse, log, &on.to_string()));
        let mut codes = Vec::new();
        for item in answer["items"].as_array().expect("items") {
            let text = |field: &str| item[field].as_str().map(str::to_owned);
            let (from, by) = (text("due_from"), text("due_by"));
            prop_assert!(from.is_none() || by.is_none() || from <= by, "{:#}", item);
            prop_assert!(text("last_on").is_none_or(|last| last <= on.to_string()), "{:#}", item);
            prop_assert!(!text("reason").unwrap_or_default().is_empty(), "{:#}", item);
            prop_assert!(item["who"].as_array().is_some_and(|who| !who.is_empty()));
            match text("status").as_deref() {
                Some("overdue") => prop_assert!(by.is_some_and(|by| by < on.to_string())),
                Some("due") => prop_assert!(from.is_none_or(|from| from <= on.to_string())),
                Some("upcoming" | "up_to_date") => prop_assert!(from.is_some_and(|from| from > on.to_string())),
                status => prop_assert_eq!(status, Some("ask_vet")),
            }
            codes.push(text("code"));
        }
        codes.sort();
        let all = codes.len();
        codes.dedup();
        prop_assert_eq!(all, codes.len());
    }

    #[test]
    fn waiting_never_makes_what_is_overdue_up_to_date(log in a_log(), horse in a_horse(), wait in 1u64..300) {
        let on = NaiveDate::from_ymd_opt(2027, 3, 1).expect("a day");
        let later = on.checked_add_days(Days::new(wait)).expect("a day");
        let now = due(&ask(horse.clone(), log.clone(), &on.to_string()));
        let then = due(&ask(horse, log, &later.to_string()));
        for item in now["items"].as_array().expect("items") {
            let code = item["code"].as_str().expect("a code");
            // A foal's programme moves on with its age: the next treatment takes the place of a missed one.
            if item["status"] != "overdue" || code.starts_with("parasite.") || code.starts_with("hoof.") {
                continue;
            }
            let after = then["items"].as_array().expect("items").iter().find(|one| one["code"] == code);
            if let Some(after) = after {
                prop_assert!(after["status"] != "up_to_date" && after["status"] != "upcoming", "{:#} {:#}", item, after);
            }
        }
    }

    #[test]
    fn the_typed_function_gives_the_same_items(log in a_log(), horse in a_horse()) {
        let document = ask(horse, log, "2026-11-25");
        let typed: Horse = serde_json::from_value(document["horse"].clone()).expect("a horse");
        let events: Vec<CareEvent> = serde_json::from_value(document["events"].clone()).expect("events");
        let barn: BarnContext = serde_json::from_value(document["barn"].clone()).expect("a barn");
        let on = NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day");
        let list = items(&typed, &events, on, &Programme::default(), &barn, &RULES);
        prop_assert_eq!(serde_json::to_value(list).expect("items"), due(&document)["items"].clone());
    }
}
