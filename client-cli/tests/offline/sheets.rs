//! Visit sheets: checked line by line, queued whole or not at all.

use proptest::prelude::*;
use serde_json::{Value, json};

use crate::yard::{Yard, id};

fn queued(yard: &Yard) -> usize {
    yard.run(&["--json", "outbox"])
        .json()
        .as_array()
        .map_or(0, Vec::len)
}

/// The faults that a sheet is refused for.
fn faults(yard: &Yard, command: &str, file: &str, more: &[&str]) -> Vec<String> {
    let ran = yard.run(&[&["--json", "sheet", command, file][..], more].concat());
    assert!(ran.refused().contains("nothing was queued"), "{}", ran.err);
    let answer: Value = serde_json::from_str(&ran.out).expect("JSON");
    let list = answer["faults"].as_array().expect("a list").clone();
    let told = list.iter().map(|one| {
        format!(
            "{} {}: {}",
            one["line"],
            one["column"].as_str().unwrap_or_default(),
            one["detail"].as_str().unwrap_or_default()
        )
    });
    told.collect()
}

#[test]
fn a_farriers_day_is_queued_from_one_table() {
    let yard = Yard::of("farrier");
    let file = yard.file(
        "day.csv",
        &format!(
            "horse,at,service,LF.toe,LF.angle,LF.findings,next,handling\n\
             Plover,08:40,trim,84mm,52,thrush:2,6,Leans.\n\
             826098500123456,11:00,repair,,,,,\n\
             {},09:30,shoe,3.25in,53,,5,\n",
            id(3)
        ),
    );
    let args = [file.as_str(), "--kind", "hoof-care", "--day", "2027-03-03"];
    let ran = yard.run(&[&["sheet", "check"][..], &args].concat());
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("3 entries can be queued"), "{}", ran.out);
    assert_eq!(queued(&yard), 0, "a check queues nothing");
    let ran = yard.run(&[&["--json", "sheet", "queue"][..], &args].concat());
    let entries = ran.json()["entries"].clone();
    assert_eq!(queued(&yard), 3);
    assert_eq!(entries[0]["line"], 2);
    assert_eq!(entries[0]["performed_at"], "2027-03-03T08:40:00+00:00");
    assert_eq!(
        entries[2]["details"]["feet"]["LF"]["after"]["toe_length_mm"],
        82.55
    );
    // One sheet is one trip to the barn.
    let visit = |n: usize| {
        let id = entries[n]["id"].as_str().expect("an id").to_owned();
        yard.run(&["--json", "outbox", "show", &id]).json()["event"]["envelope"]["visit_id"].clone()
    };
    assert!(visit(0).is_string());
    assert_eq!(visit(0), visit(2));
    // The same file again would record every visit twice.
    let again = [&["sheet", "queue"][..], &args].concat();
    let ran = yard.run(&again);
    assert!(
        ran.refused()
            .contains("was queued already, at 2027-03-04T09:20:00Z"),
        "{}",
        ran.err
    );
    assert_eq!(yard.run(&[&again[..], &["--again"]].concat()).status, 0);
    assert_eq!(queued(&yard), 6);
}

#[test]
fn every_fault_is_listed_with_its_line_and_column() {
    let yard = Yard::of("vet");
    let file = yard.file(
        "day.csv",
        "kind,horse,at,against,product,lot,expires,dose,site,weight,method\n\
         vaccination,Plover,09:00,tetanus,Tidevax,TV-1,2027-02,1ml,left_neck,,\n\
         vaccination,Plover,09:00,tetnus,Tidevax,TV-1,2027-05,1ml,left_neck,,\n\
         vaccination,Curlew,09:00,tetanus,Tidevax,TV-1,2027-05,1ml,left_neck,,\n\
         vaccination,Ash,09:00,tetanus,Tidevax,TV-1,2027-05,1ml,left_neck,,\n\
         vaccination,Teasel,09:00,tetanus,Tidevax,,2027-05,-1ml,tail,,\n\
         weight,Teasel,2010-01-01,,,,,,,310kg,tape\n\
         weight,Teasel,,,,,,,,310kg,tape\n\
         weight,Teasel,soon,,,,,,,310kg,tape\n\
         weight,Teasel,09:00,,,,,,,5000kg,\n\
         weight,Plover,09:00,,,,,,,510kg,tape\n",
    );
    let told = faults(&yard, "queue", &file, &[]);
    for wanted in [
        "2 expires: ",
        "3 against: `tetnus` is not one of",
        "4 horse: there is no horse `Curlew`",
        "5 horse: `Ash` may be Ash (mare, foaled 2012, ",
        "6 site: `tail` is not one of",
        "7 at: 2010-01-01 is before the horse was foaled",
        "8 at: when was it?",
        "9 : `soon` is no moment",
        "10 weight: ",
        "10 method: it is missing",
    ] {
        assert!(
            told.iter().any(|one| one.starts_with(wanted)),
            "{wanted}: {told:#?}"
        );
    }
    assert!(
        !told.iter().any(|one| one.starts_with("11 ")),
        "the last line is right: {told:#?}"
    );
    assert_eq!(queued(&yard), 0);
    let shown = yard.run(&["sheet", "check", &file]);
    assert!(shown.out.contains("line   column"), "{}", shown.out);
    assert_eq!(shown.status, 2);
}

#[test]
fn a_toml_sheet_is_held_to_the_same() {
    let yard = Yard::of("vet");
    let sheet = "day = \"2027-03-03\"\nkind = \"weight\"\n\n[[entry]]\nhorse = \"Plover\"\nweight = \"510kg\"\nmethod = \"tape\"\n\n\
                 [[entry]]\nhorse = \"Teasel\"\nweight_lb = 700\nmethod = \"scale\"\n";
    let file = yard.file("day.toml", sheet);
    let entries = yard.run(&["--json", "sheet", "queue", &file]).json()["entries"].clone();
    assert_eq!(entries[0]["performed_at"], "2027-03-03T12:00:00+00:00");
    assert_eq!(
        entries[1]["details"],
        json!({"weight_kg": 317.51, "method": "scale"})
    );
    let file = yard.file(
        "wrong.toml",
        &sheet
            .replace("700", "70000")
            .replace("\"510kg\"", "\"510\""),
    );
    let told = faults(&yard, "check", &file, &[]);
    assert!(told[0].starts_with("6 weight: 510 of what"), "{told:#?}");
    assert!(told[1].starts_with("11 weight_lb: "), "{told:#?}");
}

#[test]
fn dewormings_of_a_sheet_are_judged_like_any_other() {
    let yard = Yard::of("owner");
    let file = yard.file(
        "worms.csv",
        "kind,horse,at,weight,method,active\n\
         weight,Plover,09:00,510kg,tape,\n\
         deworming,Plover,09:10,,,ivermectin\n\
         deworming,Teasel,09:20,,,ivermectin\n",
    );
    let told = faults(&yard, "queue", &file, &[]);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(
        told[0].starts_with("4 : don't give it"),
        "no weight of Teasel is known: {told:#?}"
    );
    let file = yard.file("fewer.csv", "kind,horse,at,weight,method,active\nweight,Plover,09:00,510kg,tape,\ndeworming,Plover,09:10,,,ivermectin\n");
    let entries = yard.run(&["--json", "sheet", "queue", &file]).json()["entries"].clone();
    assert_eq!(
        entries[1]["details"]["dosed_for_kg"], 510.0,
        "the line before gave the weight"
    );
}

#[test]
fn an_empty_sheet_names_the_horses_of_a_barn_and_is_refused_until_it_is_filled_in() {
    let yard = Yard::of("farrier");
    let ran = yard.run(&["sheet", "template", "hoof-care", "--barn", "saltmarsh yard"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(
        ran.out
            .starts_with("kind,horse,at,service,LF.toe,LF.angle,LF.findings"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("\r\nhoof_care,Plover,"), "{}", ran.out);
    assert!(
        ran.out.contains(&format!("\r\nhoof_care,{},", id(3))),
        "two are called Ash: {}",
        ran.out
    );
    let file = yard.file("day.csv", &ran.out);
    let told = faults(&yard, "queue", &file, &["--day", "2027-03-03"]);
    assert_eq!(told.len(), 4, "{told:#?}");
    assert!(
        told.iter()
            .all(|one| one.contains("service: service is missing")),
        "{told:#?}"
    );
    let ran = yard.run(&["sheet", "template", "weight", "--toml"]);
    assert!(
        ran.out.contains("# weight = \"kg|lb\"   # The weight"),
        "{}",
        ran.out
    );
    assert!(
        yard.run(&["sheet", "check", "/no/such.csv"])
            .refused()
            .contains("/no/such.csv")
    );
}

/// What can be wrong with a line, and what can't.
fn lines() -> impl Strategy<Value = (Vec<&'static str>, Vec<&'static str>)> {
    let right = prop::sample::select(vec![
        "weight,Plover,09:00,510kg,tape,,",
        "weight,Teasel,2027-03-01,700lb,scale,,",
        "body_condition,Plover,08:00,,,5.5,",
        "vitals,Teasel,10:00,,,,101.3F",
        "vitals,Plover,10:30,,,,38.5C",
    ]);
    let wrong = prop::sample::select(vec![
        "weight,Plover,09:00,510,tape,,",
        "weight,Curlew,09:00,510kg,tape,,",
        "weight,Ash,09:00,510kg,tape,,",
        "weight,Plover,09:00,510kg,,,",
        "weight,Plover,09:00,51000kg,tape,,",
        "weight,Plover,2030-01-01,510kg,tape,,",
        "body_condition,Plover,08:00,,,55,",
        "vitals,Plover,10:30,,,,101",
        "vitals,Plover,10:30,,,5.5,",
        "wieght,Plover,09:00,510kg,tape,,",
        "weight,,09:00,510kg,tape,,",
        "weight,Plover,09:00,510kg,tape,,,stray",
        "hoof_care,Plover,09:00,,,,",
        "retraction,Plover,09:00,,,,",
    ]);
    (
        prop::collection::vec(right, 0..6),
        prop::collection::vec(wrong, 0..3),
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is on the sheet: with a faulty line nothing is queued, and without one every line is.
    #[test]
    fn a_sheet_with_any_faulty_line_queues_nothing((right, wrong) in lines(), turn in any::<prop::sample::Index>()) {
        let mut all: Vec<&str> = right;
        all.dedup();
        all.sort_unstable();
        all.dedup();
        let good = all.len();
        all.extend(&wrong);
        if !all.is_empty() {
            let by = turn.index(all.len());
            all.rotate_left(by);
        }
        let yard = Yard::of("vet");
        let file = yard.file("day.csv", &format!("kind,horse,at,weight,method,score,temperature\n{}\n", all.join("\n")));
        let ran = yard.run(&["sheet", "queue", &file]);
        if wrong.is_empty() && good > 0 {
            prop_assert_eq!(ran.status, 0, "{}", ran.out);
            prop_assert_eq!(queued(&yard), good);
        } else {
            prop_assert_eq!(ran.status, 2, "{}", ran.out);
            prop_assert_eq!(queued(&yard), 0);
        }
    }
}
