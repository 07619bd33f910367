use serde_json::{Value, json};

use super::*;

fn told(kind: Kind, foaled: Option<&str>, details: &Value) -> Vec<Alarm> {
    let rules = Rules::built_in().expect("built-in rules");
    let around = Around {
        on: "2027-03-04".parse().expect("a day"),
        foaled_on: foaled.map(|text| text.parse().expect("a date")),
        rules: &rules,
    };
    of(&Details::parse(kind, details).expect("details"), &around)
}

fn alarms(kind: Kind, details: &Value) -> Vec<Alarm> {
    told(kind, Some("2015"), details)
}

#[test]
fn what_calls_for_a_vet_is_said_and_what_can_wait_is_not() {
    let nail = json!({"feet": {"LF": {"findings": [
        {"finding": "thrush", "severity": 1}, {"finding": "puncture", "severity": 2, "region": "frog"}]}}});
    let told = alarms(Kind::HoofCheck, &nail);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(told[0].red_flag && told[0].text.starts_with("LF puncture: "));
    let lame = json!({"scale": "aaep_0_5", "limbs": {"LF": 3.5, "RF": 1}});
    assert_eq!(alarms(Kind::LamenessExam, &lame).len(), 1);
    let sound = json!({"scale": "aaep_0_5", "limbs": {"LF": 2}});
    assert_eq!(alarms(Kind::LamenessExam, &sound), []);
    let standing = json!({"signs": ["non_weight_bearing"]});
    assert!(
        alarms(Kind::Observation, &standing)[0]
            .text
            .contains("Puts no weight on the foot")
    );
    assert_eq!(alarms(Kind::Weight, &json!({"weight_kg": 500})), []);
}

#[test]
fn vital_signs_out_of_range_are_told_by_the_limits_of_the_rules() {
    // 38.6 and 39.4 °C for grown horses: the care sheets that the pack names.
    for (temperature, urgency) in [
        (38.6, None),
        (38.7, Some(Urgency::SameDay)),
        (39.4, Some(Urgency::Now)),
    ] {
        let told = alarms(Kind::Vitals, &json!({"temperature_c": temperature}));
        let first = told.first().map(|alarm| alarm.urgency);
        assert_eq!(first, urgency, "{temperature}");
    }
    for (details, count) in [
        (
            json!({"pulse_bpm": 36, "respiration_bpm": 12, "digital_pulses": {"LF": 1, "RF": 2}}),
            0,
        ),
        (json!({"pulse_bpm": 50}), 0),
        (json!({"pulse_bpm": 64}), 1),
        (json!({"respiration_bpm": 48}), 1),
        (json!({"digital_pulses": {"LF": 3, "RF": 3}}), 2),
        (json!({"temperature_c": 40.1, "pulse_bpm": 72}), 2),
    ] {
        let told = alarms(Kind::Vitals, &details);
        assert_eq!(told.len(), count, "{details}: {told:#?}");
        assert!(
            told.iter()
                .all(|one| one.red_flag && one.topic == Topic::Vitals)
        );
    }
}

#[test]
fn a_foals_pulse_is_not_judged_as_a_grown_horses() {
    let quick = json!({"pulse_bpm": 80, "respiration_bpm": 30});
    assert_eq!(told(Kind::Vitals, Some("2027-02-20"), &quick), []);
    // Of unknown age: as grown, as with a fever.
    assert!(!told(Kind::Vitals, None, &quick).is_empty());
}

#[test]
fn a_disease_says_what_to_do_until_the_vet_comes() {
    let strangles = json!({"diseases": ["strangles"], "signs": ["fever"]});
    let told = alarms(Kind::Observation, &strangles);
    let topics: Vec<Topic> = told.iter().map(|one| one.topic).collect();
    assert_eq!(topics, [Topic::Disease, Topic::Vitals], "{told:#?}");
    assert!(
        told[0].text.contains("apart from other horses"),
        "{told:#?}"
    );
    let rabies = alarms(Kind::Observation, &json!({"diseases": ["rabies"]}));
    assert!(rabies[0].text.contains("must be reported"), "{rabies:#?}");
}

#[test]
fn a_reaction_is_told_from_marked_on() {
    let reaction = |severity: u8| json!({"signs": ["hives"], "severity": severity});
    assert_eq!(alarms(Kind::AdverseReaction, &reaction(2)), []);
    for details in [
        reaction(3),
        json!({"signs": ["collapse"]}),
        json!({"signs": ["colic"], "outcome": "died"}),
    ] {
        let told = alarms(Kind::AdverseReaction, &details);
        assert_eq!(told.len(), 1, "{details}");
        assert_eq!(
            (told[0].topic, told[0].urgency),
            (Topic::Reaction, Urgency::Now)
        );
    }
}

#[test]
fn no_other_kind_than_those_listed_raises_an_alarm() {
    for kind in Kind::ALL.iter().filter(|kind| !KINDS.contains(kind)) {
        let told = alarms(*kind, &crate::details::example(*kind));
        assert_eq!(told, [], "{kind}");
    }
}
