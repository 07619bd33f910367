//! Who may do what: every person that has to do with a horse, or no more, or never had, against every operation of the
//! published description and every page. What each is to be answered stands in `access_matrix.txt`, for people to read.

pub(crate) mod calls;
mod page_calls;
pub(crate) mod people;
mod plans;
mod table;
pub(crate) mod target;

use std::fmt::Write as _;

use reqwest::header::CONTENT_TYPE;
use whorl_contract::sync::{Outcome, Pushed};
use whorl_http::pages::PAGES;
use whorl_tests::{Answer, Database, TestServer, on_both, statements};

use crate::openapi::operations;
use calls::Calls;
use page_calls::PageCalls;
use people::{Stable, Who};
use table::Table;

/// What somebody was answered, and what for the same asked of something that is not there.
struct Heard {
    answer: Answer,
    absent: Option<Answer>,
}

/// An answer without what tells one request from another.
fn bare(answer: &Answer) -> (u16, Option<String>, String) {
    let text = answer.text();
    let text = match text.split_once("\"instance\":\"") {
        Some((before, rest)) => {
            let (_, after) = rest.split_once('"').expect("the end of the instance");
            format!("{before}{after}")
        }
        None => text,
    };
    let media_type = answer.header(CONTENT_TYPE.as_str()).map(str::to_owned);
    (answer.status, media_type, text)
}

/// The status that an answer comes to: a push is answered for each event, and an owner's decision with what became of it.
pub(crate) fn status(answer: &Answer) -> u16 {
    let pushed = serde_json::from_slice::<Pushed>(&answer.body)
        .ok()
        .and_then(|pushed| pushed.outcomes.into_iter().next());
    let outcome = pushed.or_else(|| serde_json::from_slice::<Outcome>(&answer.body).ok());
    match outcome {
        Some(Outcome::Accepted { .. }) => 201,
        Some(Outcome::Known { .. }) => 200,
        Some(Outcome::Held) => 202,
        Some(Outcome::Refused { problem }) => problem.status,
        None => answer.status,
    }
}

/// The cell that an answer makes; `reads` if it only reads.
fn cell(stable: &Stable, reads: bool, heard: &Heard) -> String {
    let (answer, status) = (&heard.answer, status(&heard.answer));
    if answer.status == 303 {
        let to = answer.header("location").unwrap_or_default();
        return if to.starts_with("/sign-in") {
            "sign"
        } else {
            "303"
        }
        .to_owned();
    }
    if status == 200 && answer.header(CONTENT_TYPE.as_str()) != Some("application/pdf") {
        let told = stable.told(&answer.text());
        return if reads || told != "none" { told } else { "200" }.to_owned();
    }
    let alike = heard
        .absent
        .as_ref()
        .is_some_and(|absent| bare(absent) == bare(answer));
    if status >= 402 && alike {
        return format!("{status}=");
    }
    status.to_string()
}

/// Compares what was heard in one row with the table; adds what differs.
fn compare(table: &Table, row: &str, heard: &[String], wrong: &mut String) {
    let expected = table.row(row);
    if expected == Some(heard) {
        return;
    }
    let told = match expected {
        None => "has no row in access_matrix.txt; it was answered so, which is for you to judge:"
            .to_owned(),
        Some(expected) => {
            let pairs = table.columns().iter().zip(expected.iter().zip(heard));
            let differing: Vec<String> = pairs
                .filter(|(_, (want, got))| want != got)
                .map(|(who, (want, got))| format!("{who} {want} -> {got}"))
                .collect();
            differing.join(", ")
        }
    };
    let _ = writeln!(wrong, "{row}: {told}\n{}", Table::line(row, heard));
}

/// Nobody reads words that aren't theirs, whatever the table says.
fn check_silence(row: &str, who: &Who, answer: &Answer) {
    let text = answer.text();
    for word in who.withheld_words() {
        assert!(
            !text.contains(word),
            "{row} tells {} of `{word}`: {answer:?}",
            who.name
        );
    }
}

on_both!(everybody_is_answered_as_the_table_says, |server| {
    let table = Table::read();
    let stable = Stable::of(server);
    assert_eq!(table.columns(), stable.names());
    let mut wrong = String::new();
    ask_for_every_page(server, &stable, &table, &mut wrong);
    call_every_operation(server, &stable, &table, &mut wrong);
    assert!(
        wrong.is_empty(),
        "the answers differ from access_matrix.txt:\n{wrong}"
    );
});

#[test]
fn no_statement_reads_a_table_whole() {
    statements::listen();
    let server = TestServer::start(Database::Sqlite);
    let stable = Stable::of(&server);
    let somebody = ["ownr", "host", "othr", "oper"].map(|name| stable.who(name));
    let mut calls = Calls::new(&server, &stable);
    for (method, path, operation) in operations() {
        let name = operation["operationId"].as_str().expect("a name");
        for who in somebody {
            let _ = calls.make(name, &method, &path, who);
        }
    }
    let mut calls = PageCalls::new(&server, &stable);
    for (path, methods) in PAGES {
        for (method, who) in methods
            .iter()
            .flat_map(|method| somebody.map(|who| (method, who)))
        {
            let _ = calls.make(method, path, who);
        }
    }
    plans::check(&statements::plans(server.database_url()));
}

fn call_every_operation(server: &TestServer, stable: &Stable, table: &Table, wrong: &mut String) {
    let mut calls = Calls::new(server, stable);
    for (method, path, operation) in operations() {
        let name = operation["operationId"].as_str().expect("a name");
        let reads = method == "get" || name == "pull_events";
        let mut heard_by_all = Vec::new();
        for who in &stable.people {
            let heard = calls.make(name, &method, &path, who);
            if !calls::BY_SECRET.contains(&name) {
                check_silence(name, who, &heard.answer);
            }
            heard_by_all.push(cell(stable, reads, &heard));
        }
        compare(table, name, &heard_by_all, wrong);
    }
}

fn ask_for_every_page(server: &TestServer, stable: &Stable, table: &Table, wrong: &mut String) {
    let mut calls = PageCalls::new(server, stable);
    for (path, methods) in PAGES {
        for method in *methods {
            let name = format!("{}{path}", method.to_uppercase());
            let mut heard_by_all = Vec::new();
            for who in &stable.people {
                let heard = calls.make(method, path, who);
                if !path.starts_with("/shared/") {
                    check_silence(&name, who, &heard.answer);
                }
                heard_by_all.push(cell(stable, *method == "get", &heard));
            }
            compare(table, &name, &heard_by_all, wrong);
        }
    }
}

#[test]
fn the_table_has_no_row_for_what_is_gone() {
    let mut known: Vec<String> = operations()
        .iter()
        .map(|(_, _, operation)| {
            operation["operationId"]
                .as_str()
                .expect("a name")
                .to_owned()
        })
        .collect();
    for (path, methods) in PAGES {
        known.extend(
            methods
                .iter()
                .map(|method| format!("{}{path}", method.to_uppercase())),
        );
    }
    let table = Table::read();
    for row in table.rows() {
        assert!(
            known.contains(row),
            "{row} is neither an operation nor a page"
        );
    }
    assert_eq!(table.rows().count(), known.len());
}
