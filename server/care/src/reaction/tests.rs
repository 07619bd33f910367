//! A report of an adverse reaction, from a log.

use serde_json::json;

use super::*;

fn event(n: u32, kind: &str, at: &str, details: &Value) -> CareEvent {
    let document =
        json!({"kind": kind, "id": id(n), "performed_at": at, "details": details, "role": "vet"});
    serde_json::from_value(document).expect("an event")
}

fn id(n: u32) -> String {
    format!("01970000-0000-7000-8000-{n:012}")
}

fn log() -> Vec<CareEvent> {
    vec![
        event(
            1,
            "identity",
            "2020-01-01T09:00:00Z",
            &json!({"name": "Plover", "sex": "mare", "foaled_on": "2016-04-19"}),
        ),
        event(
            2,
            "vaccination",
            "2026-05-01T09:00:00+01:00",
            &json!({"targets": ["tetanus"], "product": "Tidevax T", "lot_number": "T-4000"}),
        ),
        event(
            3,
            "vaccination",
            "2027-05-01T09:00:00+01:00",
            &json!({"targets": ["tetanus"], "product": "tidevax t", "lot_number": "T-4417", "dose_ml": 1.0, "route": "intramuscular", "site": "left_neck"}),
        ),
        event(
            4,
            "deworming",
            "2027-04-20T09:00:00+01:00",
            &json!({"actives": ["ivermectin"], "dose_mg": 110.0, "dosed_for_kg": 550.0}),
        ),
        event(
            5,
            "deworming",
            "2027-01-20T09:00:00+01:00",
            &json!({"actives": ["moxidectin"]}),
        ),
        event(
            6,
            "adverse_reaction",
            "2027-05-01T15:30:00+01:00",
            &json!({"after_event_id": id(3), "onset_hours": 6.0, "signs": ["hives"], "outcome": "recovered"}),
        ),
        event(
            7,
            "medication",
            "2027-05-02T09:00:00+01:00",
            &json!({"drug": "later", "dose": "1 ml"}),
        ),
    ]
}

fn of(events: &[CareEvent]) -> Report {
    let rules = Rules::built_in().expect("rules");
    report(events, id(6).parse().expect("an id"), &rules).expect("a report")
}

#[test]
fn it_gathers_what_the_record_tells() {
    let report = of(&log());
    let after = report.after.as_ref().expect("what it came after");
    assert_eq!(after.lot_number.as_deref(), Some("T-4417"));
    assert_eq!(after.dose.as_deref(), Some("1.0 ml"));
    assert_eq!(report.hours_between, Some(6.5));
    assert_eq!(report.age.as_deref(), Some("11 years (foaled 2016-04-19)"));
    let also: Vec<_> = report
        .also_given
        .iter()
        .map(|one| (one.contains.join(","), one.days_before))
        .collect();
    assert_eq!(also, [("ivermectin".to_owned(), Some(11))]);
    assert_eq!(
        report.given_before.len(),
        1,
        "the same product a year before, however it is spelt"
    );
    assert_eq!(report.outcome, Some(ReactionOutcome::Recovered));
}

#[test]
fn what_is_missing_is_said_and_not_guessed() {
    let report = of(&log());
    for text in [
        "the expiry date",
        "who made the product",
        "the horse's weight",
        "how long it lasted",
        "the vet's opinion",
    ] {
        assert!(
            report.missing.iter().any(|one| one == text),
            "{text} in {:?}",
            report.missing
        );
    }
    for known in [
        "the lot number",
        "the dose",
        "the horse's sex",
        "how it ended",
    ] {
        assert!(!report.missing.iter().any(|one| one == known), "{known}");
    }
    let mut hidden = log();
    hidden.retain(|event| event.kind != Kind::Vaccination);
    let report = of(&hidden);
    assert!(report.after.is_none() && report.hours_between.is_none());
    assert!(
        report.missing[0].contains("withdrawn, or isn't open"),
        "{:?}",
        report.missing
    );
}

#[test]
fn only_a_standing_reaction_has_a_report() {
    let rules = Rules::built_in().expect("rules");
    assert!(report(&log(), id(3).parse().expect("an id"), &rules).is_err());
    let mut withdrawn = log();
    let mut back = event(
        8,
        "retraction",
        "2027-05-03T09:00:00Z",
        &json!({"reason": "other horse"}),
    );
    back.target_id = id(6).parse().ok();
    withdrawn.push(back);
    assert!(report(&withdrawn, id(6).parse().expect("an id"), &rules).is_err());
}
