//! What the care engine says to people is in words: no rule's id, no code and no field's name stands in it.

use chrono::NaiveDate;
use serde_json::{Value, json};
use whorl_care::figure;
use whorl_care::kind::Foot;
use whorl_care::rules::Rules;
use whorl_tests::demo::scenario::Scenario;

use crate::due_golden::log;

/// Fields whose text is for people.
const FOR_PEOPLE: [&str; 6] = ["cautions", "reason", "reasons", "text", "do", "note"];

/// Every text for people in an answer.
fn told<'a>(answer: &'a Value, is_for_people: bool, texts: &mut Vec<&'a str>) {
    match answer {
        Value::String(text) if is_for_people => texts.push(text),
        Value::Array(items) => {
            for item in items {
                told(item, is_for_people, texts);
            }
        }
        Value::Object(fields) => {
            for (name, field) in fields {
                told(field, FOR_PEOPLE.contains(&name.as_str()), texts);
            }
        }
        _ => {}
    }
}

/// The first word of a text that only a program could like.
fn code<'a>(text: &'a str, ids: &[String]) -> Option<&'a str> {
    let parts = |letter: char| !letter.is_alphanumeric() && !matches!(letter, '_' | '-' | '.');
    // What may be typed in answer is named as it is typed.
    let text = text.split(" one of ").next().unwrap_or(text);
    text.split(parts)
        .map(|word| word.trim_matches(['.', '-']))
        .find(|word| word.contains('_') || ids.iter().any(|id| id == word))
}

/// The ids of rule sets and their clauses: they have no underscore to be known by.
fn ids(rules: &Rules) -> Vec<String> {
    let sets = rules.entry.rule_sets().iter();
    sets.flat_map(|set| {
        std::iter::once(set.id.clone()).chain(set.clauses.iter().map(|clause| clause.id.clone()))
    })
    .collect()
}

fn check(what: &str, answer: &Value, ids: &[String]) -> usize {
    let mut texts = Vec::new();
    told(answer, false, &mut texts);
    for text in &texts {
        assert_eq!(code(text, ids), None, "{what}: {text}");
    }
    texts.len()
}

#[test]
fn a_code_is_found_among_words() {
    let ids = [
        "fei-influenza".to_owned(),
        "fei-influenza.course".to_owned(),
    ];
    for text in [
        "weight_good_for_days: ours",
        "by fei-influenza.",
        "x (fei-influenza.course)",
    ] {
        assert!(code(text, &ids).is_some(), "{text}");
    }
    assert_eq!(code("a well-known word, and 2026-05-01.", &ids), None);
}

#[test]
fn figures_speak_in_words() {
    let rules = Rules::built_in().expect("the packs");
    let ids = ids(&rules);
    let document = whorl_http::description::openapi();
    let operation = &document["paths"][whorl_contract::path::figure("{name}")]["post"];
    let examples = &operation["requestBody"]["content"]["application/json"]["examples"];
    let run = |name: &str, input: &Value| figure::run(name, input, &rules).expect("a figure");
    for name in figure::NAMES {
        let answer = run(name, &examples[name]["value"]).expect("an answer");
        assert!(check(name, &answer, &ids) > 0, "{name} says something");
    }
    // Doses say the most of all: every active, to horses of which little is known.
    for row in [
        "ivermectin",
        "moxidectin",
        "pyrantel_pamoate",
        "fenbendazole",
        "oxibendazole",
        "praziquantel",
    ] {
        for (kg, from) in [
            (40.0, "tape"),
            (322.0, "eye"),
            (560.0, "scale"),
            (1500.0, "tape"),
        ] {
            let input = json!({
                "active": row, "weight_kg": kg, "weight_from": from, "on": "2026-11-20", "weighed_on": "2026-01-02",
                "product": {"concentration_percent": 1.87, "content_g": 6.42, "mark_kg": 50.0},
            });
            if let Ok(answer) = run("dose", &input) {
                check(&format!("dose of {row} at {kg} kg"), &answer, &ids);
            }
        }
    }
}

#[test]
fn what_is_said_of_the_herd_is_in_words() {
    let rules = Rules::built_in().expect("the packs");
    let ids = ids(&rules);
    let sets: Vec<&str> = rules
        .entry
        .rule_sets()
        .iter()
        .map(|set| set.id.as_str())
        .collect();
    let scenario = Scenario::read();
    let day = NaiveDate::from_ymd_opt(2026, 11, 20).expect("a day");
    let entries = scenario.entries(day);
    let run = |name: &str, input: &Value| {
        figure::run(name, input, &rules)
            .expect("a figure")
            .expect("an answer")
    };
    for horse in &scenario.horses {
        let events = log(&scenario, horse, &entries, day);
        let barn = json!({"time_zone": scenario.barn.time_zone, "region": scenario.barn.region});
        let due = run(
            "due",
            &json!({"horse": {}, "events": &events, "on": day, "barn": barn}),
        );
        assert!(check(&horse.key, &due, &ids) > 3);
        let entry = run(
            "entry",
            &json!({"events": &events, "rules": &sets, "arrives_on": day, "on": day}),
        );
        assert!(check(&horse.key, &entry, &ids) > sets.len());
        for foot in Foot::ALL {
            for visit in entries.iter().filter(|one| one.horse == horse.key) {
                let care = &visit.details["feet"][foot.code()];
                let (before, after) = (&care["before"], &care["after"]);
                if let (Some(after), Some(_)) = (after.as_object(), before.as_object()) {
                    let mut input = after.clone();
                    input.insert("foot".to_owned(), json!(foot));
                    input.insert("on".to_owned(), json!(day));
                    input.insert("weight_kg".to_owned(), json!(512.0));
                    check(&horse.key, &run("hoof", &Value::Object(input)), &ids);
                }
            }
        }
    }
}
