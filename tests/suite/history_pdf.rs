//! The history as a document: what programs of other makers find in it, and who may have it.

use std::path::Path;
use std::process::Command;

use serde_json::json;
use tempfile::TempDir;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::path;
use whorl_contract::problem::Kind as Problem;
use whorl_tests::ledger::accepted;
use whorl_tests::yard::Yard;
use whorl_tests::{Browser, Person, on_both};

fn address(horse: HorseId) -> String {
    format!("{}.pdf", path::history(horse))
}

/// What a program says of a file; a program that is missing or unhappy fails the test.
fn says(program: &str, options: &[&str], file: &Path, more: &[&str]) -> String {
    let output = Command::new(program)
        .args(options)
        .arg(file)
        .args(more)
        .output()
        .unwrap_or_else(|error| panic!("{program} (from poppler-utils or qpdf): {error}"));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    // This poppler takes a document that is not suspect, and says so, for a faulty one.
    let complaints = String::from_utf8_lossy(&output.stderr)
        .replace("Syntax Error: Suspects object is wrong type (boolean)", "");
    assert!(
        output.status.success() && complaints.trim().is_empty(),
        "{program}: {text} {complaints}"
    );
    text
}

/// The text of the document that somebody gets, and how many pages it has.
fn document(who: &Person, horse: HorseId) -> (String, usize) {
    let answer = who.get(&address(horse));
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert_eq!(answer.header("content-type"), Some("application/pdf"));
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("history.pdf");
    std::fs::write(&file, &answer.body).expect("a file");
    let checked = says("qpdf", &["--check"], &file, &[]);
    assert!(
        checked.contains("No syntax or stream encoding errors found"),
        "{checked}"
    );
    let info = says("pdfinfo", &[], &file, &[]);
    let fact = |name: &str| {
        let line = info.lines().find_map(|line| line.strip_prefix(name));
        line.unwrap_or_else(|| panic!("{name} in {info}"))
            .trim()
            .to_owned()
    };
    assert_eq!(fact("Tagged:"), "yes");
    assert!(fact("Page size:").contains("A4"), "{info}");
    let pages = fact("Pages:").parse().expect("a number");
    // Columns are read one after the other: blanks and ends of lines say nothing.
    let text = says("pdftotext", &["-raw"], &file, &["-"]);
    (text.split_whitespace().collect::<Vec<_>>().join(" "), pages)
}

on_both!(every_entry_is_in_the_document, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let identity = pen.draft(horse, Kind::Identity).details(
        json!({"name": "Žluť Łoś", "registered_name": "Größe på Ø", "microchip": "826098500000017", "sex": "mare"}),
    );
    let _ = accepted(&yard.owner, &identity.sign());
    for n in 0..60 {
        let weight = pen
            .weight(horse, 400.0 + f64::from(n))
            .note(&format!("ñandú-{n} ß"));
        let _ = accepted(&yard.owner, &weight.sign());
    }
    let wrong = pen.weight(horse, 390.0);
    let _ = accepted(&yard.owner, &wrong.sign());
    let withdrawn = pen
        .draft(horse, Kind::Retraction)
        .about(wrong.id())
        .details(json!({"reason": "another horse stood on it"}));
    let _ = accepted(&yard.owner, &withdrawn.sign());
    let (text, pages) = document(&yard.owner, horse);
    for n in 0..60 {
        assert!(text.contains(&format!("ñandú-{n} ß")), "{n} in {text}");
        assert!(text.contains(&format!("{} kg", 400 + n)), "{n} in {text}");
    }
    for wanted in [
        "History of Žluť Łoś",
        "Größe på Ø",
        "826098500000017",
        "WITHDRAWN: Weight",
        "another horse stood on it",
        "Signed by Maren Oduya",
        "whorl verify FILE",
        "Place in the log: 63.",
        "Nothing. Every entry",
    ] {
        assert!(text.contains(wanted), "{wanted} in {text}");
    }
    assert!(pages >= 4, "{pages}");
    assert!(text.contains(&format!("Page {pages} of {pages}")), "{text}");
    let again = |who: &Person| who.get(&address(horse)).body.clone();
    assert!(
        again(&yard.owner) == again(&yard.owner),
        "the same record makes other bytes"
    );
});

on_both!(a_day_is_that_of_the_wall_clock_there, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let late = pen
        .weight(horse, 487.0)
        .performed_at("2026-05-01T21:00:00-05:00");
    let _ = accepted(&yard.owner, &late.sign());

    let (text, _) = document(&yard.owner, horse);
    assert!(text.contains("1 May 2026 21:00 UTC–5"), "{text}");
    let csv = format!(
        "{}?format=csv&from=2026-05-01&until=2026-05-01",
        path::history(horse)
    );
    let csv = yard.owner.get(&csv).text();
    assert!(csv.contains("2026-05-01T21:00:00-05:00"), "{csv}");
    let page = Browser::of(server, &yard.owner);
    let history = format!("/horses/{horse}/history");
    let on = |day: &str| {
        page.get(&format!("{history}?from={day}&until={day}"))
            .text()
    };
    assert!(on("2026-05-01").contains("1 May 2026, 21:00 UTC−5"));
    assert!(!on("2026-05-02").contains("487 kg"));
});

on_both!(
    what_the_font_lacks_is_told_and_what_is_long_is_whole,
    |server| {
        let yard = Yard::open(server);
        let (horse, pen) = (yard.horse(), yard.pen());
        let long = "Wolkenkuckucksheim".repeat(9);
        let identity = pen
            .draft(horse, Kind::Identity)
            .details(json!({"name": long, "markings": "小马 🐴 µ ½ ° ≥ → ñ"}));
        let _ = accepted(&yard.owner, &identity.sign());
        let note = "Straw and hay, and hay and straw. ".repeat(100);
        let _ = accepted(&yard.owner, &pen.weight(horse, 487.0).note(&note).sign());

        let (text, pages) = document(&yard.owner, horse);
        assert!(pages >= 2, "{pages}");
        assert_eq!(text.matches("Straw").count(), 100, "{text}");
        let unbroken: String = text.split_whitespace().collect();
        assert!(unbroken.contains(&long), "{text}");
        assert!(
            text.contains("[U+5C0F][U+9A6C] [U+1F434] µ ½ ° >= to ñ"),
            "{text}"
        );
        let foot = format!("as of 4 March 2027 Page {pages} of {pages}");
        assert!(text.contains("… ") && text.contains(&foot), "{text}");
        // The head of the table stands on each page that it runs over.
        assert!(
            text.matches("When What Who stands for it").count() >= 2,
            "{text}"
        );
    }
);

on_both!(the_document_shows_no_more_than_the_history, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let _ = accepted(&yard.owner, &pen.weight(horse, 487.0).sign());
    let _ = accepted(
        &yard.owner,
        &pen.draft(horse, Kind::Observation)
            .details(json!({"text": "colic in the night"}))
            .sign(),
    );

    let stranger = server.account("Ansel Ferriby");
    assert_eq!(
        stranger.get(&address(horse)).problem().kind,
        Problem::NotFound
    );
    assert_eq!(server.anonymous().get(&address(horse)).status, 401);

    let grant = yard.admit_to(&stranger, horse, Role::BarnStaff, Some(vec![Kind::Weight]));
    let (text, _) = document(&stranger, horse);
    assert!(text.contains("487 kg"), "{text}");
    assert!(!text.contains("colic"), "a sealed kind leaks: {text}");
    assert!(
        text.contains("Not all of the record") && text.contains("observation"),
        "{text}"
    );

    yard.revoke(&grant);
    let answer = stranger.get(&address(horse));
    assert!(
        answer.status == 404 || answer.status == 403,
        "{}",
        answer.status
    );
});
