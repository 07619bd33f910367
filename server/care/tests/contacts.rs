//! Fever and contagious diseases: who is ill, who met them, who is watched and until when.

use chrono::{DateTime, FixedOffset};
use serde_json::{Value, json};
use whorl_care::contacts::{HealthWatch, Member, Stay, Watched, health_watch, is_positive};
use whorl_care::horse::CareEvent;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::rules::Rules;
use whorl_care::rules::herd_health::Illness;

const HERE: u32 = 1;
const THERE: u32 = 2;

fn id(n: u32) -> String {
    format!("01970000-0000-7000-8000-{n:012}")
}

fn event(n: u32, kind: &str, at: &str, details: &Value) -> CareEvent {
    let document = json!({"kind": kind, "id": id(n), "performed_at": at, "details": details});
    serde_json::from_value(document).expect("an event")
}

fn temperature(n: u32, at: &str, c: f64) -> CareEvent {
    event(n, "vitals", at, &json!({"temperature_c": c}))
}

fn member(n: u32, stays: &[(&str, u32)], events: Vec<CareEvent>) -> Member {
    let stays = stays.iter().map(|(from, barn)| Stay {
        from: from.parse().expect("a day"),
        barn: BarnId(id(*barn).parse().expect("an id")),
    });
    Member {
        horse_id: HorseId(id(n).parse().expect("an id")),
        name: Some(format!("Horse {n}")),
        stays: stays.collect(),
        events,
    }
}

fn at(text: &str) -> DateTime<FixedOffset> {
    text.parse().expect("an instant")
}

fn watch(members: &[Member], now: &str) -> HealthWatch {
    health_watch(members, at(now), &Rules::built_in().expect("rules"))
}

fn of(answer: &HealthWatch, n: u32) -> Option<&Watched> {
    answer
        .watched
        .iter()
        .find(|one| one.horse_id.to_string() == id(n))
}

#[test]
fn a_fever_is_one_for_its_age() {
    // Veterinary care sheets for owners: adult above 101.5 °F (38.6 °C), foal above 102 °F (38.9 °C); the vet without delay
    // from 103 °F (39.4 °C) on.
    let cases = [
        ("2016", 38.6, false, false),
        ("2016", 38.7, true, false),
        ("2016", 39.4, true, true),
        ("2027-02", 38.7, false, false),
        ("2027-02", 38.9, false, false),
        ("2027-02", 39.0, true, false),
    ];
    for (foaled, c, febrile, urgent) in cases {
        let log = vec![
            event(
                1,
                "identity",
                "2027-02-10T09:00:00Z",
                &json!({"name": "Plover", "foaled_on": foaled}),
            ),
            temperature(2, "2027-03-04T08:00:00Z", c),
        ];
        let answer = watch(
            &[member(7, &[("2027-01-01", HERE)], log)],
            "2027-03-04T09:00:00Z",
        );
        assert_eq!(answer.cases.len(), usize::from(febrile), "{foaled} {c}");
        assert_eq!(
            answer.cases.iter().any(|case| case.urgent),
            urgent,
            "{foaled} {c}"
        );
    }
}

#[test]
fn whoever_shared_the_barn_within_the_days_is_watched_until_they_are_over() {
    let sick = member(
        1,
        &[("2027-01-01", HERE)],
        vec![temperature(90, "2027-03-04T08:00:00Z", 39.5)],
    );
    let stayed = member(2, &[("2027-01-01", HERE)], Vec::new());
    let left_since = member(
        3,
        &[("2027-01-01", HERE), ("2027-03-01", THERE)],
        Vec::new(),
    );
    let left_before = member(
        4,
        &[("2027-01-01", HERE), ("2027-02-18", THERE)],
        Vec::new(),
    );
    let elsewhere = member(5, &[("2027-01-01", THERE)], Vec::new());
    let herd = [sick, stayed, left_since, left_before, elsewhere];
    let answer = watch(&herd, "2027-03-05T09:00:00Z");

    let [case] = answer.cases.as_slice() else {
        panic!("one case: {:?}", answer.cases);
    };
    assert_eq!((case.illness, case.urgent), (Illness::Fever, true));
    assert_eq!(case.contacts_since.to_string(), "2027-02-18");
    let until = |n: u32| of(&answer, n).map(|one| one.until.to_string());
    // The sick one until three days without fever, contacts fourteen days after the last day together (the pack's proposal).
    assert_eq!(until(1).as_deref(), Some("2027-03-07"));
    assert_eq!(until(2).as_deref(), Some("2027-03-19"));
    assert_eq!(until(3).as_deref(), Some("2027-03-14"));
    assert_eq!((until(4), until(5)), (None, None));
    assert!(of(&answer, 1).is_some_and(|one| one.is_case && one.stays));
    let contact = &of(&answer, 3).expect("watched").contacts[0];
    assert_eq!(contact.last_on.to_string(), "2027-02-28");
    assert!(contact.how.contains("same barn"));
    let all = answer.cautions.join(" ");
    for text in [
        "Call the vet",
        "the vet and local law to decide",
        "a proposal of ours",
    ] {
        assert!(all.contains(text), "{text} in {all}");
    }

    let over = watch(&herd, "2027-03-22T09:00:00Z");
    assert!(over.cases.is_empty() && over.watched.is_empty() && over.cautions.is_empty());
}

#[test]
fn horses_that_met_on_a_journey_are_contacts() {
    let journey = |n: u32, to: &str, mixed: Option<bool>| {
        event(
            n,
            "movement",
            "2027-03-01T07:00:00Z",
            &json!({"to": to, "mixed_with_others": mixed}),
        )
    };
    let positive = event(
        90,
        "laboratory_test",
        "2027-03-06T09:00:00Z",
        &json!({"test": "strangles_pcr", "drawn_on": "2027-03-05", "result": "positive"}),
    );
    let sick = member(
        1,
        &[("2027-01-01", HERE)],
        vec![journey(91, "Fenwick Sands", Some(true)), positive],
    );
    let met = member(
        2,
        &[("2027-01-01", THERE)],
        vec![journey(92, " fenwick sands ", None)],
    );
    let apart = member(
        3,
        &[("2027-01-01", THERE)],
        vec![journey(93, "Fenwick Sands", Some(false))],
    );
    let answer = watch(&[sick, met, apart], "2027-03-07T09:00:00Z");
    assert_eq!(answer.cases[0].illness, Illness::Strangles);
    assert_eq!(
        answer.cases[0].first_on.to_string(),
        "2027-03-05",
        "the day the sample was drawn"
    );
    let met = of(&answer, 2).expect("watched");
    assert_eq!(met.until.to_string(), "2027-03-22");
    assert!(
        met.contacts[0].how.contains("fenwick sands"),
        "{:?}",
        met.contacts
    );
    assert!(of(&answer, 3).is_none(), "it met nobody there");
}

#[test]
fn what_the_law_wants_to_know_is_said_and_what_no_horse_passes_on_traces_nobody() {
    let found = |test: &str| {
        let result = event(
            90,
            "laboratory_test",
            "2027-03-04T09:00:00Z",
            &json!({"test": test, "drawn_on": "2027-03-03", "result": "Positive"}),
        );
        let herd = [
            member(1, &[("2027-01-01", HERE)], vec![result]),
            member(2, &[("2027-01-01", HERE)], Vec::new()),
        ];
        watch(&herd, "2027-03-05T09:00:00Z")
    };
    let eia = found("eia_agid");
    assert!(eia.cases[0].notifiable && of(&eia, 2).is_some());
    assert!(
        eia.cautions
            .iter()
            .any(|one| one.contains("must tell the authority"))
    );
    let ticks = found("piroplasmosis_elisa");
    assert!(ticks.cases[0].notifiable && !ticks.cases[0].contagious);
    assert!(of(&ticks, 2).is_none() && of(&ticks, 1).is_some());
    assert!(found("acth").cases.is_empty());
    for text in ["negative", "Not detected", "NEG", "", "pending"] {
        assert!(!is_positive(text), "{text}");
    }
    for text in [
        "positive",
        "S. equi detected",
        "weak positive",
        "inconclusive",
        "1:512, see the letter",
    ] {
        assert!(is_positive(text), "{text}");
    }
}

#[test]
fn temperatures_are_asked_for_twice_a_day() {
    let log = vec![
        temperature(90, "2027-03-03T08:00:00Z", 39.1),
        temperature(91, "2027-03-03T18:00:00Z", 38.2),
        temperature(92, "2027-03-04T07:30:00Z", 38.0),
    ];
    let answer = watch(
        &[member(1, &[("2027-01-01", HERE)], log.clone())],
        "2027-03-04T10:00:00Z",
    );
    let one = of(&answer, 1).expect("watched");
    assert_eq!(one.to_do, ["take the temperature this evening"]);
    let [today, yesterday, ..] = one.readings.as_slice() else {
        panic!("readings");
    };
    assert_eq!(
        (today.morning_c, today.evening_c, today.febrile),
        (Some(38.0), None, false)
    );
    assert_eq!(
        (yesterday.morning_c, yesterday.evening_c, yesterday.febrile),
        (Some(39.1), Some(38.2), true)
    );
    // Three days without fever end it; another fever would begin them anew.
    assert_eq!(one.until.to_string(), "2027-03-06");
    let mut slip = log;
    slip.push(event(
        93,
        "amendment",
        "2027-03-04T09:00:00Z",
        &json!({"reason": "misread", "details": {"temperature_c": 38.1}}),
    ));
    slip[3].target_id = id(90).parse().ok();
    let answer = watch(
        &[member(1, &[("2027-01-01", HERE)], slip)],
        "2027-03-04T10:00:00Z",
    );
    assert!(answer.cases.is_empty(), "it never was a fever");
}
