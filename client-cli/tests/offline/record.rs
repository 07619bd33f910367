//! Recording each kind, by flags and from a file.

use serde_json::Value;
use whorl_care::details::example;
use whorl_care::kind::Kind;

use crate::typed::TYPED;
use crate::yard::{Yard, id};

/// The kinds that `record` takes; the others are commands of their own.
pub(crate) fn recordable() -> impl Iterator<Item = Kind> {
    let all = Kind::ALL.iter().copied();
    all.filter(|kind| !kind.is_about_another())
}

/// A role that may record the kind by the default policy, and attest it where anyone can.
pub(crate) fn whose(kind: Kind) -> &'static str {
    match kind {
        Kind::HoofCare | Kind::HoofCheck => "farrier",
        Kind::Movement | Kind::Identity | Kind::Breeding => "owner",
        _ => "vet",
    }
}

#[test]
fn each_kind_is_recorded_from_its_example() {
    for kind in recordable() {
        let yard = Yard::of(whose(kind));
        let details = example(kind);
        let file = yard.file("details.json", &details.to_string());
        let ran = yard.run(&[
            "--json",
            "record",
            kind.code(),
            "Plover",
            "--details",
            &file,
            "--at",
            "2026-05-04 09:20",
        ]);
        let recorded = ran.json();
        assert_eq!(recorded["kind"], kind.code());
        assert_eq!(recorded["details"], details, "{kind}");
        assert_eq!(recorded["horse"], "Plover");
        assert_eq!(recorded["performed_at"], "2026-05-04T09:20:00+01:00");
    }
}

#[test]
fn each_kind_is_recorded_by_its_flags() {
    let kind = |verb: &str| match verb {
        "trim" | "shoe" => Kind::HoofCare,
        verb => verb.replace('-', "_").parse().expect("a kind"),
    };
    for kind_wanted in recordable() {
        assert!(
            TYPED.iter().any(|(verb, _, _)| kind(verb) == kind_wanted),
            "{kind_wanted}"
        );
    }
    for (verb, flags, details) in TYPED {
        let yard = Yard::of(whose(kind(verb)));
        let args: Vec<&str> = ["--json", "record", verb, "plover"]
            .into_iter()
            .chain(flags.iter().copied())
            .collect();
        let details: Value = serde_json::from_str(details).expect("JSON");
        assert_eq!(yard.run(&args).json()["details"], details, "{verb}");
    }
}

fn waiting(yard: &Yard) -> usize {
    yard.run(&["--json", "outbox"])
        .json()
        .as_array()
        .map_or(0, Vec::len)
}

#[test]
fn a_script_is_told_which_flags_are_missing_and_nothing_is_recorded() {
    let yard = Yard::of("vet");
    let ran = yard.run(&["record", "vaccination", "Plover", "--against", "tetanus"]);
    for flag in [
        "--product: it is missing",
        "--lot: it is missing",
        "--expires: it is missing",
    ] {
        assert!(ran.refused().contains(flag), "{}", ran.err);
    }
    let ran = yard.run(&["record", "weight", "Plover"]);
    assert!(
        ran.refused().contains("--weight: weight_kg is missing"),
        "{}",
        ran.err
    );
    assert_eq!(waiting(&yard), 0);
}

#[test]
fn a_person_is_asked_for_what_is_missing_until_it_can_be_read() {
    let yard = Yard::of("vet");
    let typed = "510\n510kg\ntape\n";
    let ran = yard.answering(&["record", "weight", "Plover"], typed);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.err.contains("The weight [kg|lb]: "), "{}", ran.err);
    assert!(ran.err.contains("510 of what: kg or lb?"), "{}", ran.err);
    assert!(
        ran.err
            .contains("How it was come by [scale, tape, formula, visual]: "),
        "{}",
        ran.err
    );
    assert!(ran.out.contains("weight: 510 kg, by tape."), "{}", ran.out);
    // An empty line, or the end of the input, gives up.
    for typed in ["\n", "510kg\n"] {
        let ran = yard.answering(&["record", "weight", "Plover"], typed);
        assert!(ran.refused().contains("missing"), "{}", ran.err);
    }
    // What is wrong is not asked for again: it is told.
    let ran = yard.answering(
        &["record", "weight", "Plover", "--weight", "5100kg"],
        "tape\n",
    );
    assert!(ran.refused().contains("--weight: "), "{}", ran.err);
    assert_eq!(waiting(&yard), 1);
}

#[test]
fn a_quantity_without_its_unit_is_met_with_a_question() {
    let yard = Yard::of("farrier");
    for (args, question) in [
        (
            ["trim", "--foot=LF", "--toe=84"],
            "--toe: 84 of what: mm, cm or in?",
        ),
        (
            ["trim", "--after=LF:toe=84", "--next=6"],
            "--after: 84 of what: mm, cm or in?",
        ),
        (
            ["vitals", "--temperature=101", "--pulse=36"],
            "--temperature: 101 of what: c or f?",
        ),
    ] {
        let [verb, first, second] = args;
        let ran = yard.run(&["record", verb, "Plover", first, second]);
        assert!(ran.refused().contains(question), "{}", ran.err);
    }
    let ran = yard.run(&[
        "record",
        "weight",
        "Plover",
        "--weight-kg",
        "510",
        "--method",
        "tape",
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let ran = yard.run(&[
        "record",
        "weight",
        "Plover",
        "--weight",
        "510kg",
        "--weight-lb",
        "1125",
        "--method",
        "tape",
    ]);
    assert!(
        ran.refused()
            .contains("--set weight_lb: give weight_lb or weight_kg, not both"),
        "{}",
        ran.err
    );
}

#[test]
fn what_is_wrong_is_told_by_the_flag_that_set_it() {
    let yard = Yard::of("vet");
    for (args, says) in [
        (
            vec!["record", "vaccination", "Plover", "--against", "tetnus"],
            "invalid value 'tetnus' for '--against",
        ),
        (
            vec![
                "record",
                "vaccination",
                "Plover",
                "--against",
                "tetanus",
                "--product",
                "T",
                "--lot",
                "1",
                "--expires",
                "2027-02",
            ],
            "--expires: ",
        ),
        (
            vec![
                "record",
                "weight",
                "Plover",
                "--weight",
                "510kg",
                "--method",
                "tape",
                "--at",
                "2010-01-01",
            ],
            "--at: 2010-01-01 is before the horse was foaled",
        ),
        (
            vec![
                "record",
                "weight",
                "Plover",
                "--weight",
                "510kg",
                "--method",
                "tape",
                "--at",
                "2027-03-28 01:30",
            ],
            "the clocks jumped over",
        ),
        (
            vec!["record", "weight", "Ash", "--weight", "510kg"],
            "`Ash` may be Ash (mare, foaled 2012, ",
        ),
        (
            vec!["record", "weight", "Curlew", "--weight", "510kg"],
            "there is no horse `Curlew`",
        ),
        (
            vec!["record", "trim", "Plover", "--after", "toe=84mm"],
            "begin with the foot",
        ),
        (
            vec!["record", "trim", "Plover", "--foot", "LF"],
            "say what was measured",
        ),
        (vec!["record", "trim", "Plover", "--toe", "84mm"], "--foot"),
        (
            vec!["record", "weight", "Plover", "--set", "weight"],
            "write it as FIELD=VALUE",
        ),
        (
            vec!["record", "weight", "Plover", "--set", "wieght=510kg"],
            "--set wieght: there is no field",
        ),
        (
            vec!["record", "weight", "Plover", "--details", "/no/such/file"],
            "/no/such/file",
        ),
        (
            vec![
                "record", "weight", "Plover", "--weight", "510kg", "--method", "tape", "--role",
                "owner",
            ],
            "you are no owner",
        ),
    ] {
        let ran = yard.run(&args);
        assert!(ran.refused().contains(says), "{args:?}: {}", ran.err);
    }
    assert_eq!(waiting(&yard), 0);
}

#[test]
fn a_farrier_reads_what_was_recorded_in_a_sentence() {
    let yard = Yard::of("farrier");
    let ran = yard.run(&[
        "record",
        "trim",
        "826098500123456",
        "--before",
        "LF:toe=92mm,angle=50",
        "--after",
        "LF:toe=84mm,angle=53",
        "--finding",
        "LF:thrush:2",
        "--next",
        "6",
        "--at",
        "08:40",
        "--method",
        "gauge",
    ]);
    let lines: Vec<&str> = ran.out.lines().collect();
    assert_eq!(
        lines[0],
        "Recorded for Plover, 2027-03-04 08:40, hoof care: trim; LF toe 92 → 84 mm, angle 50 → 53°, thrush (moderate); again in 6 weeks."
    );
    let last = lines.last().expect("a line");
    assert!(
        last.starts_with("Attested, as farrier; it waits for the next push. Id 01a"),
        "{last}"
    );
}

#[test]
fn what_stands_beside_the_details_is_signed_with_them() {
    let yard = Yard::of("vet");
    let photo = yard.file("tooth.png", "\u{89}PNG");
    let ran = yard.run(&[
        "record", "weight", "Plover", "--weight", "510kg", "--photo", &photo,
    ]);
    assert!(
        ran.refused().contains("no JPEG, PNG, WebP or PDF"),
        "{}",
        ran.err
    );
    let photo = yard.file("scan.pdf", "%PDF-1.7 rest");
    let ran = yard.run(&[
        "--json",
        "record",
        "dental",
        "Plover",
        "--procedure",
        "exam",
        "--note",
        "From the old book.",
        "--transcribed",
        "--performed-by",
        "Idris Fenn",
        "--licence",
        "D-77",
        "--at",
        "2019-06-01",
        "--photo",
        &photo,
        "--visit",
    ]);
    let first = ran.json();
    assert_eq!(first["provenance"], "transcribed");
    assert_eq!(first["performed_at"], "2019-06-01T12:00:00+01:00");
    let shown = yard
        .run(&[
            "--json",
            "outbox",
            "show",
            first["id"].as_str().expect("an id"),
        ])
        .json();
    let content = &shown["event"]["content"];
    assert_eq!(content["note"], "From the old book.");
    assert_eq!(content["performed_by"]["licence"], "D-77");
    assert_eq!(content["attachments"][0]["media_type"], "application/pdf");
    assert!(shown["event"]["envelope"]["visit_id"].is_string());
}

#[test]
fn what_is_done_on_one_trip_belongs_together() {
    let yard = Yard::of("vet");
    let visit = |horse: &str, more: &[&str]| {
        let args = ["--json", "record", "dental", horse, "--procedure", "exam"];
        let args: Vec<&str> = args.iter().chain(more).copied().collect();
        let id = yard.run(&args).json()["id"]
            .as_str()
            .expect("an id")
            .to_owned();
        yard.run(&["--json", "outbox", "show", &id]).json()["event"]["envelope"]["visit_id"].clone()
    };
    let first = visit("Plover", &["--visit"]);
    assert_eq!(visit("Teasel", &["--visit"]), first);
    let yesterday = visit("Plover", &["--visit", "--at", "2027-03-03"]);
    assert_ne!(yesterday, first);
    assert_eq!(visit("Plover", &["--visit"]), first);
    assert_eq!(
        visit("Teasel", &["--visit", "--at", "2027-03-03"]),
        yesterday
    );
    assert_eq!(visit("Teasel", &[]), Value::Null);
    assert_eq!(visit("Teasel", &[&format!("--visit={}", id(77))]), id(77));
    yard.at("2027-03-05T09:00:00+00:00");
    assert_ne!(
        visit("Plover", &["--visit"]),
        first,
        "the next day is another trip"
    );
}

#[test]
fn codes_may_be_typed_in_capitals() {
    let yard = Yard::of("vet");
    let args = [
        "--json", "record", "weight", "Plover", "--weight", "510kg", "--method", "TAPE",
    ];
    assert_eq!(yard.run(&args).json()["details"]["method"], "tape");
}

#[test]
fn the_policy_is_told_before_anything_is_signed() {
    let yard = Yard::of("barn_staff");
    let args = ["record", "dental", "Plover", "--procedure", "exam"];
    let ran = yard.run(&args);
    assert!(
        ran.refused().contains("barn staff may not record dental"),
        "{}",
        ran.err
    );
    let owner = Yard::of("owner");
    let ran = owner.run(&args);
    assert!(ran.refused().contains("--transcribed"), "{}", ran.err);
    assert_eq!(
        owner.run(&[&args[..], &["--transcribed"]].concat()).status,
        0
    );
}

#[test]
fn whatever_is_recorded_happened_by_the_clock_of_the_barn() {
    let yard = Yard::of("owner");
    yard.at("2027-03-04T05:20:00-04:00");
    assert_eq!(yard.run(&["horse", "add", "Dab"]).status, 0);
    let weight = [
        "--json", "record", "weight", "Plover", "--weight", "510kg", "--method", "tape",
    ];
    let weight = yard.run(&weight).json();
    let id = weight["id"].as_str().expect("an id");
    let change = ["--reason", "misread", "--set", "weight=501kg"];
    let amended = yard.run(&[&["amend", id], &change[..]].concat());
    assert_eq!(amended.status, 0, "{}", amended.err);
    let listed = yard.run(&["--json", "outbox"]).json();
    let happened = listed.as_array().expect("a list").iter().map(|one| {
        let id = one["id"].as_str().expect("an id");
        let shown = yard.run(&["--json", "outbox", "show", id]).json();
        shown["event"]["envelope"]["performed_at"].clone()
    });
    let happened: Vec<_> = happened.collect();
    assert_eq!(happened, ["2027-03-04T09:20:00Z"; 3]);
}
