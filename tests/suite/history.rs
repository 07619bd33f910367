//! The history for people: what became of each entry, filters, pages, and the table for spreadsheets.

use std::collections::BTreeSet;

use reqwest::Method;
use serde_json::json;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::history::{History, HistoryEntry, Standing};
use whorl_contract::path;
use whorl_contract::problem::Kind as Problem;
use whorl_tests::ledger::{accepted, push};
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Database, Person, TestServer, on_both};

fn read(who: &Person, horse: HorseId, query: &str) -> History {
    who.get(&format!("{}?{query}", path::history(horse))).read()
}

fn only_entry(who: &Person, horse: HorseId) -> HistoryEntry {
    let [entry] = read(who, horse, "retracted=true")
        .items
        .try_into()
        .expect("one entry");
    entry
}

fn amendment(pen: &Pen, horse: HorseId, target: EventId, kg: f64) -> Draft {
    pen.draft(horse, Kind::Amendment).about(target).details(
        json!({"reason": format!("it was {kg}"), "details": {"weight_kg": kg, "method": "scale"}}),
    )
}

on_both!(
    an_entry_is_shown_as_amended_and_withdrawn_ones_if_asked_for,
    |server| {
        let yard = Yard::open(server);
        let (horse, pen) = (yard.horse(), yard.pen());
        let weight = pen.weight(horse, 500.0).note("after hay");
        let _ = accepted(&yard.owner, &weight.sign());
        let entry = only_entry(&yard.owner, horse);
        assert_eq!(entry.standing, Standing::AsRecorded);
        assert_eq!(entry.author.as_deref(), Some("Maren Oduya"));
        assert_eq!(entry.performed_at, Some(weight.envelope.performed_at));

        let (first, second) = (
            amendment(&pen, horse, weight.id(), 505.0),
            amendment(&pen, horse, weight.id(), 506.0).provenance(Provenance::Transcribed),
        );
        let _ = push(&yard.owner, &[first.sign(), second.sign()]);
        let entry = only_entry(&yard.owner, horse);
        assert_eq!(entry.standing, Standing::Amended);
        assert_eq!(entry.amended_by, [first.id(), second.id()]);
        assert_eq!(entry.reason.as_deref(), Some("it was 506"));
        assert_eq!(entry.details.expect("details")["weight_kg"], 506.0);
        assert_eq!(entry.note.as_deref(), Some("after hay"));
        // As weak as the weaker of the two.
        assert_eq!(entry.provenance, Some(Provenance::Transcribed));

        let withdrawn = pen.draft(horse, Kind::Retraction).about(weight.id());
        let _ = accepted(&yard.owner, &withdrawn.sign());
        assert!(read(&yard.owner, horse, "").items.is_empty());
        let entry = only_entry(&yard.owner, horse);
        assert_eq!(entry.standing, Standing::Retracted);
        assert_eq!(entry.retracted_by, Some(withdrawn.id()));
        assert_eq!(
            entry.reason.as_deref(),
            Some("Entered for the wrong horse.")
        );
        let late = amendment(&pen, horse, weight.id(), 507.0).sign();
        let _ = accepted(&yard.owner, &late);
        assert_eq!(only_entry(&yard.owner, horse).standing, Standing::Retracted);
    }
);

on_both!(what_was_vouched_for_is_the_entry_as_it_read, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let weight = yard
        .pen()
        .weight(horse, 500.0)
        .provenance(Provenance::Transcribed);
    let _ = accepted(&yard.owner, &weight.sign());
    let word = Pen::of(&vet, Role::Vet)
        .draft(horse, Kind::Countersign)
        .about(weight.id());
    let _ = accepted(&vet, &word.sign());

    let entry = only_entry(&yard.owner, horse);
    assert_eq!(entry.standing, Standing::AsRecorded);
    let [vouched] = entry.countersignatures.try_into().expect("one");
    assert_eq!(vouched.event_id, word.id());
    assert_eq!(
        (vouched.by.as_str(), vouched.role),
        ("Senna Quill", Role::Vet)
    );
    assert!(vouched.statement.expect("words").contains("day book"));

    let _ = accepted(
        &yard.owner,
        &amendment(&yard.pen(), horse, weight.id(), 520.0)
            .provenance(Provenance::Transcribed)
            .sign(),
    );
    assert!(only_entry(&yard.owner, horse).countersignatures.is_empty());
});

/// An operator's own row, by which a vet may amend what others recorded.
const VETS_AMEND: &str = r#"
[pack]
subject = "policy"
edition = "of this yard"

[[source]]
id = "yard"
citation = "The yard's own rule"

[[rule]]
id = "correction"
kinds = ["amendment", "retraction"]
owner = { grades = ["recorded"] }
vet = { grades = ["attested"] }
source = "yard"
edition = "of this yard"
mark = "proposal"
"#;

/// Two people amend the same entry differently.
fn contest(database: Database) {
    let folder = tempfile::TempDir::new().expect("a folder");
    std::fs::write(folder.path().join("policy.toml"), VETS_AMEND).expect("a file");
    let server = TestServer::start_with(database, |config| {
        config.rules = Some(folder.path().to_owned());
    });
    let yard = Yard::open(&server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let (owner, doctor) = (yard.pen(), Pen::of(&vet, Role::Vet));
    let weight = owner.weight(horse, 500.0);
    let _ = accepted(&yard.owner, &weight.sign());
    let amend = |who: &Person, pen: &Pen, kg| {
        let _ = accepted(who, &amendment(pen, horse, weight.id(), kg).sign());
        let entry = only_entry(&yard.owner, horse);
        assert_eq!(entry.details.expect("details")["weight_kg"], kg);
        entry.standing
    };

    assert_eq!(amend(&yard.owner, &owner, 510.0), Standing::Amended);
    assert_eq!(amend(&vet, &doctor, 520.0), Standing::Contested);
    assert_eq!(amend(&yard.owner, &owner, 515.0), Standing::Amended);
    assert_eq!(amend(&vet, &doctor, 517.0), Standing::Contested);
    assert_eq!(amend(&vet, &doctor, 516.0), Standing::Amended);
}

#[test]
fn two_peoples_amendments_contest_each_other_on_sqlite() {
    contest(Database::Sqlite);
}

#[test]
fn two_peoples_amendments_contest_each_other_on_postgres() {
    contest(Database::Postgres);
}

on_both!(a_history_is_filtered_by_kind_and_day, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let at = |kind, instant: &str| pen.draft(horse, kind).performed_at(instant).sign();
    let batch = [
        at(Kind::Movement, "2026-05-01T23:30:00-05:00"),
        at(Kind::Weight, "2026-05-02T00:00:00Z"),
        at(Kind::Observation, "2026-05-02T23:59:59.999999Z"),
        at(Kind::Weight, "2026-05-03T00:00:00Z"),
    ];
    let _ = push(&yard.owner, &batch);
    let places = |query: &str| -> Vec<i64> {
        let items = read(&yard.owner, horse, query).items;
        items.iter().map(|entry| entry.seq).collect()
    };

    // The latest first, by when it happened; the movement was on 2 May, 04:30 UTC, and on 1 May where it was.
    assert_eq!(places(""), [4, 3, 1, 2]);
    assert_eq!(places("kind=weight"), [4, 2]);
    assert_eq!(places("kind=weight,%20movement"), [4, 1, 2]);
    assert_eq!(places("from=2026-05-03"), [4]);
    assert_eq!(places("from=2026-05-02"), [4, 3, 2]);
    assert_eq!(places("until=2026-05-01"), [1]);
    assert_eq!(places("from=2026-05-01&until=2026-05-01&limit=1"), [1]);
    assert_eq!(places("until=2026-05-02"), [3, 1, 2]);
    assert_eq!(places("from=2026-05-02&until=2026-05-02&kind=weight"), [2]);
    assert_eq!(places("from=2026-05-02T04:30:00Z"), [4, 3, 1]);
    assert_eq!(places("until=2026-05-02T04:30:00Z"), [2]);
    assert!(places("from=2027-01-01").is_empty());
});

on_both!(pages_show_every_entry_once, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    // Entries of one instant, of instants closer than a database keeps, and withdrawn ones between.
    let instants = [
        "2026-05-02T10:00:00Z",
        "2026-05-02T10:00:00.000000100Z",
        "2026-05-02T10:00:00.000000900Z",
        "2026-05-02T10:00:00.000001Z",
        "2026-05-03T08:00:00+02:00",
    ];
    let drafts: Vec<Draft> = (0..25_u8)
        .map(|n| {
            pen.weight(horse, 400.0 + f64::from(n))
                .performed_at(instants[usize::from(n) % 5])
        })
        .collect();
    let events: Vec<_> = drafts.iter().map(Draft::sign).collect();
    let _ = push(&yard.owner, &events);
    let withdrawn: Vec<_> = drafts
        .iter()
        .step_by(4)
        .map(|draft| pen.draft(horse, Kind::Retraction).about(draft.id()).sign())
        .collect();
    let _ = push(&yard.owner, &withdrawn);
    let whole: Vec<i64> = read(&yard.owner, horse, "limit=500")
        .items
        .iter()
        .map(|entry| entry.seq)
        .collect();
    assert_eq!(whole.len(), 25 - withdrawn.len());

    for limit in [1, 2, 3, 7, 17, 18, 19] {
        let (mut seen, mut cursor) = (Vec::new(), String::new());
        loop {
            let page = read(&yard.owner, horse, &format!("limit={limit}{cursor}"));
            assert!(page.items.len() <= limit);
            seen.extend(page.items.iter().map(|entry| entry.seq));
            let Some(next) = page.next_cursor else { break };
            assert_eq!(page.items.len(), limit, "only the last page is short");
            cursor = format!("&cursor={next}");
        }
        assert_eq!(seen, whole, "pages of {limit}");
        assert_eq!(seen.iter().collect::<BTreeSet<_>>().len(), seen.len());
    }
    let all = read(&yard.owner, horse, "limit=500&retracted=true");
    assert_eq!(all.items.len(), 25);
});

on_both!(a_history_has_an_etag_in_both_forms, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let _ = accepted(&yard.owner, &yard.pen().weight(horse, 500.0).sign());
    let mut tags = BTreeSet::new();
    for format in ["json", "csv"] {
        let address = format!("{}?format={format}", path::history(horse));
        let first = yard.owner.get(&address);
        let tag = first.header("etag").expect("an ETag").to_owned();
        let again = || {
            let request = yard.owner.request(Method::GET, &address);
            yard.owner.send(request.header("If-None-Match", &tag))
        };
        assert_eq!(again().status, 304);
        assert!(again().body.is_empty());
        let _ = accepted(&yard.owner, &yard.pen().weight(horse, 501.0).sign());
        assert_eq!(again().status, 200);
        tags.insert(tag);
    }
    assert_eq!(tags.len(), 2);
});

/// Reads a table by RFC 4180: quoted cells may hold commas, line breaks and doubled quotes.
fn cells(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let mut rest = text.chars().peekable();
    let mut quoted = false;
    while let Some(one) = rest.next() {
        match one {
            '"' if quoted && rest.peek() == Some(&'"') => {
                cell.push('"');
                rest.next();
            }
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut cell)),
            '\r' if !quoted => {
                assert_eq!(rest.next(), Some('\n'), "a line ends with CRLF");
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            '\n' if !quoted => panic!("a bare line feed"),
            other => cell.push(other),
        }
    }
    assert!(!quoted && row.is_empty() && cell.is_empty());
    rows
}

on_both!(
    a_table_is_read_back_cell_by_cell_and_holds_no_formula,
    |server| {
        let yard = Yard::of(server.device_account("=Maren, \"the tide\""));
        let (horse, pen) = (yard.horse(), yard.pen());
        let notes = [
            "plain",
            "a comma, a \"quote\"\r\nand a line",
            "=HYPERLINK(\"http://elsewhere.example\")",
            "+1",
            "-1",
            "@now",
            "\t=1",
        ];
        let events: Vec<_> = notes
            .iter()
            .map(|note| pen.weight(horse, 500.0).note(note).sign())
            .collect();
        let _ = push(&yard.owner, &events);

        let answer = yard
            .owner
            .get(&format!("{}?format=csv", path::history(horse)));

        let media_type = answer.header("content-type");
        assert_eq!(media_type, Some("text/csv; charset=utf-8"));
        let disposition = answer.header("content-disposition").expect("a file's name");
        assert!(disposition.contains(&format!("history-{horse}.csv")));
        let rows = cells(&answer.text());
        assert_eq!(rows.len(), 1 + notes.len());
        let column = |name: &str| {
            let found = rows[0].iter().position(|heading| heading == name);
            found.expect("the column")
        };
        for row in &rows {
            assert_eq!(row.len(), rows[0].len());
            for cell in row {
                assert!(
                    !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
                    "{cell}"
                );
            }
        }
        // The latest first: the reverse of the log.
        for (row, note) in rows[1..].iter().rev().zip(notes) {
            assert_eq!(row[column("note")].trim_start_matches('\''), note);
            assert_eq!(row[column("kind")], "weight");
            assert_eq!(row[column("author")], "'=Maren, \"the tide\"");
            let details: serde_json::Value =
                serde_json::from_str(&row[column("details")]).expect("JSON");
            assert_eq!(details["weight_kg"], 500.0);
        }
    }
);

on_both!(a_filter_that_makes_no_sense_is_a_clear_refusal, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let _ = accepted(&yard.owner, &yard.pen().weight(horse, 500.0).sign());
    for (query, pointer) in [
        ("kind=farrying", "/kind"),
        ("kind=", "/kind"),
        ("from=yesterday", "/from"),
        ("from=%2B262000-01-01", "/from"),
        ("from=-9999-01-01", "/from"),
        ("until=%2B262142-12-31", "/until"),
        ("cursor=nonsense", "/cursor"),
        ("cursor=9223372036854775807.1", "/cursor"),
        ("cursor=8210266876799999999.1", "/cursor"),
        ("format=xml", "/format"),
    ] {
        let answer = yard.owner.get(&format!("{}?{query}", path::history(horse)));
        assert_eq!(answer.status, 422, "{query}: {answer:?}");
        let problem = answer.problem();
        assert_eq!(problem.kind, Problem::Invalid);
        assert_eq!(problem.errors[0].pointer, pointer, "{query}");
    }
    for query in ["colour=bay", "limit=many", "retracted=perhaps"] {
        let answer = yard.owner.get(&format!("{}?{query}", path::history(horse)));
        assert_eq!(answer.status, 400, "{query}: {answer:?}");
    }
    assert_eq!(read(&yard.owner, horse, "until=9999-12-31").items.len(), 1);
    assert_eq!(read(&yard.owner, horse, "limit=0").items.len(), 1);
    assert_eq!(read(&yard.owner, horse, "limit=9999").items.len(), 1);
});
