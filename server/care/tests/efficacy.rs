//! A yard's own reduction tests: which counts make a pair, when there is a judgement, and what the dose figure says of it.

use chrono::NaiveDate;
use serde_json::{Value, json};
use whorl_care::code::{Active, Efficacy};
use whorl_care::efficacy::{Answer, Member, efficacy, since};
use whorl_care::figure::dose::{self, dose};
use whorl_care::horse::CareEvent;
use whorl_care::ids::HorseId;
use whorl_care::rules::Rules;

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn event(kind: &str, on: &str, details: &Value) -> CareEvent {
    let document = json!({"kind": kind, "performed_on": on, "details": details});
    serde_json::from_value(document).expect("an event")
}

fn count(on: &str, eggs: u32) -> CareEvent {
    event(
        "egg_count",
        on,
        &json!({"method": "mini_flotac", "eggs_counted": eggs, "multiplication_factor": 5.0}),
    )
}

fn wormed(on: &str, active: &str) -> CareEvent {
    event("deworming", on, &json!({"actives": [active]}))
}

fn member(n: usize, events: Vec<CareEvent>) -> Member {
    let id = format!("01970000-0000-7000-8000-{n:012}");
    Member {
        horse_id: HorseId(id.parse().expect("an id")),
        name: Some(format!("Horse {n}")),
        since: None,
        events,
    }
}

/// A yard where every horse was counted on 1 March, treated on 3 March, and counted again on 17 March 2027.
fn yard(active: &str, before: &[u32], after: &[u32]) -> Vec<Member> {
    let pairs = before.iter().zip(after).enumerate();
    pairs
        .map(|(n, (before, after))| {
            member(
                n,
                vec![
                    count("2027-03-01", *before),
                    wormed("2027-03-03", active),
                    count("2027-03-17", *after),
                ],
            )
        })
        .collect()
}

fn of(members: &[Member]) -> Answer {
    efficacy(
        members,
        day("2027-04-01"),
        &Rules::built_in().expect("rules"),
    )
}

// Examples A, B and F: made-up counts; reductions and intervals were computed with numpy and scipy (gamma and beta quantiles).
const A: ([u32; 6], [u32; 6]) = ([52, 88, 31, 120, 64, 45], [0; 6]);
const B: ([u32; 7], [u32; 7]) = ([40, 75, 22, 130, 61, 48, 90], [18, 41, 12, 77, 30, 20, 55]);
const F: ([u32; 5], [u32; 5]) = ([44, 51, 39, 60, 47], [1, 0, 4, 0, 1]);

#[test]
fn a_yards_counts_become_tests_by_themselves() {
    type Case<'a> = (&'a str, &'a [u32], &'a [u32], f64, (f64, f64), Efficacy);
    let cases: [Case<'_>; 3] = [
        (
            "ivermectin",
            &A.0,
            &A.1,
            100.0,
            (99.25, 100.0),
            Efficacy::Susceptible,
        ),
        (
            "fenbendazole",
            &B.0,
            &B.1,
            45.71,
            (41.13, 50.13),
            Efficacy::Resistant,
        ),
        (
            "pyrantel_pamoate",
            &F.0,
            &F.1,
            97.51,
            (94.27, 99.50),
            Efficacy::Susceptible,
        ),
    ];
    for (active, before, after, reduction, (low, high), class) in cases {
        let answer = of(&yard(active, before, after));
        let [test] = answer.tests.as_slice() else {
            panic!("one test, not {answer:?}");
        };
        assert_eq!(test.active.code(), active);
        assert_eq!(test.treated_on, day("2027-03-03"));
        assert_eq!(
            (test.pairs.len(), test.horses_treated),
            (before.len(), before.len())
        );
        assert_eq!(test.verdict, Some(class), "{active}");
        let figure = test.figure.as_ref().expect("a figure");
        let interval = figure.interval.as_ref().expect("an interval");
        assert!(
            (figure.reduction_percent - reduction).abs() < 0.01,
            "{figure:?}"
        );
        assert!(
            (interval.low - low).abs() < 0.02 && (interval.high - high).abs() < 0.02,
            "{interval:?}"
        );
        assert!(test.missing.is_empty());
    }
}

#[test]
fn too_few_horses_or_eggs_are_not_judged() {
    let few = of(&yard("fenbendazole", &B.0[..4], &B.1[..4]));
    let test = &few.tests[0];
    assert_eq!((test.verdict, test.figure.is_none()), (None, true));
    assert!(
        test.missing[0].contains("4 horses") && test.missing[0].contains("at least 5"),
        "{:?}",
        test.missing
    );
    let thin = of(&yard(
        "fenbendazole",
        &[20, 30, 10, 25, 15],
        &[9, 9, 9, 9, 9],
    ));
    assert_eq!(thin.tests[0].verdict, None);
    assert!(
        thin.tests[0].missing[0].contains("100 eggs"),
        "{:?}",
        thin.tests[0].missing
    );
}

#[test]
fn a_pair_that_is_spoiled_is_left_out_with_the_reason() {
    let mut members = yard("fenbendazole", &B.0, &B.1);
    let why = |members: &[Member]| {
        let answer = of(members);
        let test = answer
            .tests
            .iter()
            .find(|one| one.active == Active::Fenbendazole)
            .expect("a test");
        let [left] = test.left_out.as_slice() else {
            panic!("one left out, not {:?}", test.left_out);
        };
        left.why.clone()
    };
    let whole = members[0].events.clone();
    let mut try_with = |events: Vec<CareEvent>| {
        members[0].events = events;
        why(&members)
    };
    let [before, given, after] = [&whole[0], &whole[1], &whole[2]].map(Clone::clone);
    // Days 9 and 18 lie outside the window of days 10 to 17; a count 15 days before is too old.
    for late in ["2027-03-12", "2027-03-21"] {
        let told = try_with(vec![before.clone(), given.clone(), count(late, 3)]);
        assert!(told.contains("day 10 to day 17"), "{late}: {told}");
    }
    let told = try_with(vec![count("2027-02-16", 9), given.clone(), after.clone()]);
    assert!(told.contains("within the 14 days before"), "{told}");
    let told = try_with(vec![
        before.clone(),
        given.clone(),
        wormed("2027-03-10", "moxidectin"),
        after.clone(),
    ]);
    assert!(
        told.contains("another dewormer between the counts"),
        "{told}"
    );
    let both = event(
        "deworming",
        "2027-03-03",
        &json!({"actives": ["fenbendazole", "praziquantel"]}),
    );
    let told = try_with(vec![before.clone(), both, after.clone()]);
    assert!(told.contains("nobody can tell which"), "{told}");
    let epg = event("egg_count", "2027-03-01", &json!({"strongyle_epg": 200.0}));
    let told = try_with(vec![epg, given.clone(), after.clone()]);
    assert!(told.contains("only eggs per gram"), "{told}");
    let told = try_with(vec![count("2027-03-01", 0), given.clone(), after.clone()]);
    assert!(told.contains("no egg was seen before"), "{told}");
    let other = event(
        "egg_count",
        "2027-03-17",
        &json!({"method": "mcmaster", "eggs_counted": 1, "multiplication_factor": 50}),
    );
    let told = try_with(vec![before.clone(), given.clone(), other]);
    assert!(told.contains("different methods"), "{told}");
}

#[test]
fn a_test_in_hand_says_when_to_count_again() {
    let mut members = yard("fenbendazole", &B.0, &B.1);
    for one in &mut members {
        one.events.truncate(2);
    }
    let rules = Rules::built_in().expect("rules");
    let answer = efficacy(&members, day("2027-03-05"), &rules);
    let told = answer.tests[0].missing.join("; ");
    assert!(
        told.contains("again between 2027-03-13 and 2027-03-20"),
        "{told}"
    );
    let over = efficacy(&members, day("2027-03-21"), &rules);
    assert!(!over.tests[0].missing.join("; ").contains("again between"));
    // No count at all: nothing to show, but it is said.
    let uncounted: Vec<Member> = members
        .iter()
        .map(|one| Member {
            events: one.events[1..].to_vec(),
            ..one.clone()
        })
        .collect();
    let answer = efficacy(&uncounted, day("2027-03-05"), &rules);
    assert_eq!(
        (answer.tests.len(), answer.treatments_without_counts),
        (0, 1)
    );
}

#[test]
fn what_happened_in_another_yard_says_nothing_of_this_one() {
    let mut members = yard("fenbendazole", &B.0, &B.1);
    members[0].since = Some(day("2027-03-10"));
    assert_eq!(of(&members).tests[0].pairs.len(), 6);
    let came = |moves: &[(&str, bool)]| {
        let moves: Vec<_> = moves.iter().map(|(on, here)| (day(on), *here)).collect();
        since(&moves)
    };
    assert_eq!(came(&[("2026-01-01", true)]), None);
    assert_eq!(
        came(&[
            ("2026-01-01", false),
            ("2026-05-01", true),
            ("2026-06-01", true)
        ]),
        Some(day("2026-05-01"))
    );
    assert_eq!(
        came(&[
            ("2026-01-01", true),
            ("2026-05-01", false),
            ("2026-06-01", true)
        ]),
        Some(day("2026-06-01"))
    );
}

#[test]
fn the_dose_warns_of_a_failure_here_and_stays_the_same() {
    let rules = Rules::built_in().expect("rules");
    let tests = of(&yard("fenbendazole", &B.0, &B.1)).judged();
    let input = |active: &str, tests: &Value| -> dose::Input {
        serde_json::from_value(
            json!({"active": active, "weight_kg": 500, "on": "2027-04-01", "foaled_on": "2016",
            "weight_from": "scale", "yard_tests": tests}),
        )
        .expect("an input")
    };
    let failed = json!(tests);
    let plain = dose(&input("fenbendazole", &json!([])), &rules).expect("a dose");
    let warned = dose(&input("fenbendazole", &failed), &rules).expect("a dose");
    let told = warned
        .warnings
        .iter()
        .find(|one| one.code == "failed_here")
        .expect("a warning");
    for text in [
        "2027-03-03",
        "45.7 %",
        "41.1 to 50.1 %",
        "7 horses",
        "ask the vet",
    ] {
        assert!(told.text.contains(text), "{text} in {}", told.text);
    }
    assert_eq!(
        (warned.dose_mg, warned.refused),
        (plain.dose_mg, plain.refused)
    );
    assert!(!plain.warnings.iter().any(|one| one.code == "failed_here"));
    // Another of its class is warned of too, one of another class isn't.
    let kin = dose(&input("oxibendazole", &failed), &rules).expect("a dose");
    let told = kin
        .warnings
        .iter()
        .find(|one| one.code == "failed_here")
        .expect("a warning");
    assert!(told.text.contains("of the same class"), "{}", told.text);
    let other = dose(&input("ivermectin", &failed), &rules).expect("a dose");
    assert!(!other.warnings.iter().any(|one| one.code == "failed_here"));
    // A dewormer that worked raises nothing.
    let worked = json!(of(&yard("pyrantel_pamoate", &F.0, &F.1)).judged());
    let fine = dose(&input("pyrantel_pamoate", &worked), &rules).expect("a dose");
    assert!(!fine.warnings.iter().any(|one| one.code == "failed_here"));
}
