//! Reading back: histories, single entries, corrections, and the list of horses.

use serde_json::{Value, json};
use whorl_care::details::example;
use whorl_care::kind::Kind;

use crate::record::{recordable, whose};
use crate::yard::{Yard, id, whole};

fn recorded(yard: &Yard, args: &[&str]) -> String {
    let args = [&["--json", "record"][..], args].concat();
    yard.run(&args).json()["id"]
        .as_str()
        .expect("an id")
        .to_owned()
}

fn history(yard: &Yard, horse: &str, more: &[&str]) -> Vec<Value> {
    let args = [&["--json", "history", horse][..], more].concat();
    yard.run(&args).json().as_array().cloned().expect("a list")
}

#[test]
fn every_kind_is_read_back_as_it_was_recorded() {
    for kind in recordable() {
        let yard = Yard::of(whose(kind));
        let file = yard.file("details.json", &example(kind).to_string());
        let id = recorded(
            &yard,
            &[
                kind.code(),
                "Plover",
                "--details",
                &file,
                "--at",
                "2026-05-04 09:20",
            ],
        );
        let entries = history(&yard, "plover", &["--kind", &kind.code().replace('_', "-")]);
        assert_eq!(entries.len(), 1, "{kind}");
        let entry = &entries[0];
        assert_eq!(entry["id"], id);
        assert_eq!(whole(&entry["details"]), whole(&example(kind)), "{kind}");
        assert_eq!(entry["state"], "waiting");
        assert_eq!(entry["seq"], Value::Null);
        assert_eq!(entry["author"], "Maren Oduya");
        assert_eq!(entry["standing"], "as_recorded");
    }
}

#[test]
fn the_three_corrections_are_recorded_and_worked_into_the_entry() {
    let yard = Yard::of("vet");
    let id = recorded(
        &yard,
        &[
            "weight",
            "Plover",
            "--weight",
            "501kg",
            "--method",
            "tape",
            "--transcribed",
        ],
    );
    yard.at("2027-03-04T09:30:00+00:00");
    let amended = yard
        .run(&[
            "--json",
            "amend",
            &id,
            "--reason",
            "Read the tape wrongly.",
            "--set",
            "weight=1125lb",
        ])
        .json();
    assert_eq!(amended["kind"], "amendment");
    assert_eq!(
        amended["details"],
        json!({"reason": "Read the tape wrongly.", "details": {"weight_kg": 510.29, "method": "tape"}})
    );
    let entry = history(&yard, "Plover", &[]).remove(0);
    assert_eq!(entry["details"]["weight_kg"], 510.29);
    assert_eq!(entry["standing"], "amended");
    assert_eq!(entry["amended_by"], json!([amended["id"]]));
    assert_eq!(entry["reason"], "Read the tape wrongly.");

    yard.at("2027-03-04T09:35:00+00:00");
    let ran = yard.run(&["countersign", &id, "--statement", "I held the tape."]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let entry = history(&yard, "Plover", &[]).remove(0);
    assert_eq!(
        entry["countersignatures"][0]["statement"],
        "I held the tape."
    );
    let own = recorded(&yard, &["body-condition", "Plover", "--score", "5"]);
    let ran = yard.run(&["countersign", &own, "--statement", "Mine."]);
    assert!(ran.refused().contains("attested already"), "{}", ran.err);
    yard.run(&["retract", &own, "--reason", "Only to try."]);

    yard.at("2027-03-04T09:40:00+00:00");
    let withdrawn = yard.run(&["retract", &id, "--reason", "It was Teasel."]);
    assert_eq!(withdrawn.status, 0, "{}", withdrawn.err);
    assert!(
        withdrawn.out.starts_with(
            "Recorded for Plover, retraction of weight: it is withdrawn: 510.29 kg, by tape."
        ),
        "{}",
        withdrawn.out
    );
    assert_eq!(history(&yard, "Plover", &[]).len(), 0);
    let entry = history(&yard, "Plover", &["--retracted", "--kind", "weight"]).remove(0);
    assert_eq!(entry["standing"], "retracted");
    assert_eq!(entry["reason"], "It was Teasel.");
    for args in [
        ["amend", &id, "--reason=x", "--set=weight=1kg"],
        ["retract", &id, "--reason=x", "--role=vet"],
    ] {
        let ran = yard.run(&args);
        assert!(ran.refused().contains("withdrawn already"), "{}", ran.err);
    }
}

#[test]
fn a_vet_vouches_for_what_was_copied_from_paper() {
    let yard = Yard::of("vet");
    let dose = recorded(
        &yard,
        &[
            "vaccination",
            "Plover",
            "--against",
            "tetanus",
            "--transcribed",
            "--at",
            "2024-05-01",
            "--performed-by",
            "Idris Fenn",
        ],
    );
    let ran = yard.run(&[
        "--json",
        "countersign",
        &dose[28..],
        "--statement",
        "Compared with my day book.",
    ]);
    assert_eq!(ran.json()["kind"], "countersign");
    let entry = history(&yard, "Plover", &[]).remove(0);
    assert_eq!(entry["countersignatures"][0]["by"], "Maren Oduya");
    assert_eq!(
        entry["countersignatures"][0]["statement"],
        "Compared with my day book."
    );
    let shown = yard.run(&["history", "Plover"]).out;
    assert!(shown.contains("transcribed by Maren Oduya (vet); done by Idris Fenn; countersigned by Maren Oduya (vet)"), "{shown}");
    // On a terminal the words are asked for.
    let other = recorded(
        &yard,
        &[
            "vaccination",
            "Plover",
            "--against",
            "rabies",
            "--transcribed",
            "--at",
            "2024-06-01",
        ],
    );
    let ran = yard.answering(&["countersign", &other], "I gave it.\n");
    assert!(
        ran.err
            .contains("What do you vouch for, of \"against rabies\": "),
        "{}",
        ran.err
    );
}

#[test]
fn an_amendment_is_held_to_the_kind_it_amends_and_must_change_something() {
    let yard = Yard::of("farrier");
    let id = recorded(
        &yard,
        &[
            "trim",
            "Plover",
            "--after",
            "LF:toe=84mm,angle=52",
            "--next",
            "6",
            "--handling",
            "Leans.",
        ],
    );
    for (args, says) in [
        (vec!["--set", "next=6"], "nothing is changed"),
        (vec!["--set", "feet.LF.after.angle=140"], "140"),
        (
            vec!["--set", "feet.LX.after.angle=50"],
            "`LX` is not one of",
        ),
        (vec!["--set", "weight=510kg"], "there is no field `weight`"),
        (vec!["--unset", "shoe"], "no such field"),
        (vec!["--unset", "service"], "service is missing"),
    ] {
        let ran = yard.run(&[&["amend", &id, "--reason", "slip"][..], &args].concat());
        assert!(ran.refused().contains(says), "{args:?}: {}", ran.err);
    }
    let ran = yard.run(&["amend", &id, "--set", "next=5"]);
    assert!(
        ran.refused().contains("give it with --reason"),
        "{}",
        ran.err
    );
    let args = [
        "--json",
        "amend",
        &id,
        "--reason",
        "slip",
        "--set",
        "feet.LF.after.toe=85mm",
        "--unset",
        "handling",
    ];
    let details = yard.run(&args).json()["details"]["details"].clone();
    assert_eq!(
        whole(&details),
        json!({"service": "trim", "next_in_weeks": 6, "feet": {"LF": {"after": {"toe_length_mm": 85, "toe_angle_deg": 52}}}})
    );
}

#[test]
fn a_file_that_belongs_to_an_entry_is_told_with_it() {
    let yard = Yard::of("vet");
    let scan = yard.file("scan.pdf", "%PDF-1.7 rest");
    recorded(
        &yard,
        &["dental", "Plover", "--procedure", "exam", "--photo", &scan],
    );
    let told = yard.run(&["history", "Plover"]).out;
    assert!(told.contains("exam [1 photo or document] [waits"), "{told}");
}

#[test]
fn an_entry_is_named_by_a_part_of_its_id_as_long_as_it_is_one() {
    let yard = Yard::of("vet");
    let first = recorded(
        &yard,
        &["weight", "Plover", "--weight", "510kg", "--method", "tape"],
    );
    recorded(
        &yard,
        &[
            "weight",
            "Teasel",
            "--weight",
            "300kg",
            "--method",
            "tape",
            "--note",
            "In the wash bay.",
        ],
    );
    let ran = yard.run(&["show", &first[..8]]);
    assert!(
        ran.refused().contains("may be more than one entry"),
        "{}",
        ran.err
    );
    let ran = yard.run(&["show", &first[28..]]);
    assert!(ran.out.contains("weight_kg   510"), "{}", ran.out);
    assert!(ran.out.contains("in the outbox: waiting"), "{}", ran.out);
    assert!(
        yard.run(&["show", &id(404)])
            .refused()
            .contains("there is no entry")
    );
    let shown = yard.run(&["--json", "show", &first]).json();
    assert_eq!(shown["horse"], "Plover");
    assert_eq!(shown["entry"]["provenance"], "attested");
}

#[test]
fn the_log_comes_before_the_outbox_and_what_is_withheld_is_said_to_be() {
    let yard = Yard::of("vet");
    let weight = recorded(
        &yard,
        &[
            "weight",
            "Plover",
            "--weight",
            "510kg",
            "--method",
            "tape",
            "--at",
            "2027-03-01",
        ],
    );
    recorded(
        &yard,
        &[
            "lameness-exam",
            "Plover",
            "--scale",
            "aaep_0_5",
            "--limbs",
            "LF=2",
            "--at",
            "2027-03-02",
        ],
    );
    yard.synced(&[Kind::LamenessExam]);
    yard.run(&[
        "amend",
        &weight,
        "--reason",
        "slip",
        "--set",
        "weight=512kg",
    ]);
    let entries = history(&yard, "Plover", &[]);
    assert_eq!(entries.len(), 2, "the amendment is told with its entry");
    assert_eq!(
        (&entries[0]["seq"], &entries[0]["sealed"]),
        (&json!(2), &json!(true))
    );
    assert_eq!(entries[0]["details"], Value::Null);
    assert!(
        entries[0]["what"]
            .as_str()
            .is_some_and(|what| what.starts_with("withheld"))
    );
    assert_eq!(
        (&entries[1]["seq"], &entries[1]["state"]),
        (&json!(1), &Value::Null)
    );
    assert_eq!(entries[1]["details"]["weight_kg"], 512.0);
    let ran = yard.run(&[
        "amend",
        entries[0]["id"].as_str().expect("an id"),
        "--reason",
        "x",
        "--set",
        "limbs=LF=1",
    ]);
    assert!(ran.refused().contains("can't be read here"), "{}", ran.err);
    // What can't be read counts for nothing, and nothing is lost of the rest.
    assert_eq!(
        yard.run(&["--json", "dose", "ivermectin", "Plover"]).json()["weight_kg"],
        512.0
    );
}

#[test]
fn a_history_is_filtered_by_day_and_told_to_spreadsheets_without_formulas() {
    let yard = Yard::of("vet");
    for (day, note) in [
        ("2027-01-10", "=1+1"),
        ("2027-02-10", "plain"),
        ("2027-03-01", "@cmd"),
    ] {
        recorded(
            &yard,
            &[
                "weight", "Plover", "--weight", "510kg", "--method", "tape", "--at", day, "--note",
                note,
            ],
        );
    }
    assert_eq!(history(&yard, "Plover", &["--from", "2027-02-10"]).len(), 2);
    assert_eq!(
        history(&yard, "Plover", &["--until", "2027-02-10"]).len(),
        2
    );
    assert_eq!(
        history(
            &yard,
            "Plover",
            &["--from", "2027-02-10", "--until", "2027-02-10"]
        )
        .len(),
        1
    );
    assert_eq!(history(&yard, "Teasel", &[]).len(), 0);
    assert!(
        yard.run(&["history", "Teasel"])
            .out
            .contains("Nothing is on record of Teasel here.")
    );
    assert!(
        yard.run(&["history", "Plover", "--kind", "wait"])
            .refused()
            .contains("is not one of")
    );
    let csv = yard.run(&["history", "Plover", "--csv"]).out;
    let mut lines = csv.split("\r\n");
    assert!(
        lines
            .next()
            .is_some_and(|head| head.starts_with("seq,state,id,kind,performed_at,author"))
    );
    assert!(
        lines.next().is_some_and(|line| line.contains(",'@cmd,")),
        "{csv}"
    );
    assert!(csv.contains(",'=1+1,"), "{csv}");
}

#[test]
fn who_has_to_be_handled_with_care_is_listed_first() {
    let yard = Yard::of("farrier");
    recorded(
        &yard,
        &[
            "trim",
            "Teasel",
            "--handling",
            "Strikes with the left fore.",
        ],
    );
    let ran = yard.run(&["horses"]);
    let lines: Vec<&str> = ran.out.lines().collect();
    assert!(lines[0].starts_with("CAUTION"), "{}", ran.out);
    assert!(lines[2].starts_with("Strikes with the left fore.   Teasel   gelding   about 10 months   Saltmarsh Yard   2027-03-04 hoof care (farrier)"), "{}", ran.out);
    let names: Vec<Value> = yard
        .run(&["--json", "horses"])
        .json()
        .as_array()
        .expect("a list")
        .iter()
        .map(|horse| horse["name"].clone())
        .collect();
    assert_eq!(names, ["Teasel", "Ash", "Ash", "Plover"]);
    assert!(
        yard.run(&["horses", "--barn", "Elsewhere"])
            .refused()
            .contains("there is no barn")
    );
}
