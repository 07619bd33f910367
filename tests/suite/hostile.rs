//! What nobody sends by mistake: bytes that are almost JSON, text that breaks readers, requests that two readers cut in two
//! different ways, and senders that never come to an end.

use std::io::{Read, Write};
use std::net::TcpStream;

use naughty_strings::BLNS;
use reqwest::Method;
use serde_json::{Value, json};
use unicode_normalization::UnicodeNormalization;
use whorl_contract::barn::Barn;
use whorl_contract::history::History;
use whorl_contract::path;
use whorl_contract::problem::Problem;
use whorl_contract::sync::Outcome;
use whorl_tests::ledger::push;
use whorl_tests::process::Place;
use whorl_tests::yard::Yard;
use whorl_tests::{Answer, on_both};

use crate::anonymous::filled;
use crate::every_field::percent;
use crate::framing::{ambiguous, at_once};
use crate::openapi::operations;

/// What is no JSON by RFC 8259, by the way in which it isn't; by categories that are common among test suites of JSON, made here.
fn no_json() -> Vec<(&'static str, Vec<u8>)> {
    let mut all: Vec<(&str, Vec<u8>)> = [
        ("nothing", ""),
        ("white space only", " \n\t"),
        ("a bare word", "name"),
        ("not a number", r#"{"name": NaN}"#),
        ("an infinity", r#"{"name": -Infinity}"#),
        ("a leading zero", r#"{"name": 01}"#),
        ("a leading plus", r#"{"name": +1}"#),
        ("a number that ends in its point", r#"{"name": 1.}"#),
        ("a hexadecimal number", r#"{"name": 0x1F}"#),
        ("an exponent of nothing", r#"{"name": 1e}"#),
        ("a comma too many in an object", r#"{"name": "a",}"#),
        ("a comma too many in a list", r#"["a",]"#),
        ("two commas", r#"{"name": "a",, "time_zone": "UTC"}"#),
        ("no comma", r#"{"name": "a" "time_zone": "UTC"}"#),
        ("no colon", r#"{"name" "a"}"#),
        ("a key without quotes", r#"{name: "a"}"#),
        ("single quotes", r"{'name': 'a'}"),
        ("a comment", r#"{"name": /* no */ "a"}"#),
        ("a comment at its end", "{\"name\": \"a\"} // no"),
        ("an object without an end", r#"{"name": "a""#),
        ("a text without an end", r#"{"name": "a"#),
        ("the wrong bracket", r#"{"name": "a"]"#),
        ("two documents", r#"{"name": "a"} {"name": "b"}"#),
        ("half a surrogate", r#"{"name": "\ud800"}"#),
        ("the second half of a surrogate", r#"{"name": "\udc00x"}"#),
        ("a short escape", r#"{"name": "\u00"}"#),
        ("an escape that there isn't", r#"{"name": "\x41"}"#),
        ("a line break in a text", "{\"name\": \"a\nb\"}"),
        ("a zero byte in a text", "{\"name\": \"a\u{0}b\"}"),
        ("a byte order mark", "\u{feff}{\"name\": \"a\"}"),
        ("another script's digits", "{\"name\": \u{0661}}"),
        ("white space of another kind", "{\u{a0}\"name\": \"a\"}"),
    ]
    .into_iter()
    .map(|(why, text)| (why, text.as_bytes().to_vec()))
    .collect();
    all.extend([
        ("bytes that are no UTF-8", b"{\"name\": \"a\xff\"}".to_vec()),
        ("an overlong spelling", b"{\"name\": \"\xc0\xaf\"}".to_vec()),
        (
            "a surrogate in UTF-8",
            b"{\"name\": \"\xed\xa0\x80\"}".to_vec(),
        ),
        ("UTF-16", b"{\0\"\0n\0\"\0:\x001\0}\0".to_vec()),
        ("lists without an end", b"[".repeat(100_000)),
        ("objects without an end", b"{\"a\":".repeat(50_000)),
    ]);
    all
}

/// What is JSON, and nobody's barn or event.
fn json_and_no_more() -> Vec<(&'static str, String)> {
    let nines = "9".repeat(100_000);
    vec![
        ("null", "null".to_owned()),
        ("a number", "1".to_owned()),
        ("a number beyond all", r#"{"name": 1e999999}"#.to_owned()),
        (
            "a number next to nothing",
            r#"{"name": 1e-999999}"#.to_owned(),
        ),
        ("a number of many digits", format!("{{\"name\": {nines}}}")),
        (
            "a key twice",
            r#"{"name": "a", "name": "b", "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "a key twice, once in disguise",
            r#"{"name": "a", "n\u0061me": "b", "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "a key of nothing",
            r#"{"": "a", "name": "b", "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "a key of a language",
            r#"{"__proto__": {}, "name": "b", "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "a long text",
            json!({"name": "a".repeat(1_000_000), "time_zone": "UTC"}).to_string(),
        ),
        (
            "a zero in a text",
            r#"{"name": "a\u0000b", "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "a deep list",
            format!(
                r#"{{"name": {}{}}}"#,
                "[".repeat(10_000),
                "]".repeat(10_000)
            ),
        ),
        (
            "lists within lists",
            r#"{"name": [[[[["a"]]]]], "time_zone": "UTC"}"#.to_owned(),
        ),
        (
            "an event's place taken by a text",
            r#"{"events": "all"}"#.to_owned(),
        ),
    ]
}

on_both!(what_is_no_json_is_refused_and_never_a_fault, |server| {
    let yard = Yard::open(server);
    let post = |address: &str, body: Vec<u8>| {
        let request = yard.owner.request(Method::POST, address);
        let request = request.header("content-type", "application/json");
        yard.owner.send(request.body(body))
    };
    let refused = |why: &str, address: &str, answer: &Answer, statuses: &[u16]| {
        assert!(
            statuses.contains(&answer.status),
            "{why} to {address}: {answer:?}"
        );
        let problem: Problem = answer.problem();
        assert_eq!(problem.status, answer.status, "{why} to {address}");
    };
    for address in [path::BARNS, path::EVENTS, path::PULL, path::SESSIONS] {
        for (why, body) in no_json() {
            refused(why, address, &post(address, body), &[400, 422]);
        }
        for (why, body) in json_and_no_more() {
            refused(why, address, &post(address, body.into_bytes()), &[400, 422]);
        }
    }
    let barns: Value = yard.owner.get(path::BARNS).read();
    assert_eq!(barns["items"].as_array().map(Vec::len), Some(1));
});

on_both!(no_operation_takes_a_list_for_its_body, |server| {
    let wren = server.account("Wren");
    let mut tried = 0;
    for (method, path, operation) in operations() {
        let json = operation.pointer("/requestBody/content/application~1json");
        if json.is_none() {
            continue;
        }
        let method = Method::from_bytes(method.to_uppercase().as_bytes()).expect("a method");
        let answer = wren.send(wren.request(method, &filled(&path)).json(&json!([])));
        assert_eq!(answer.status, 422, "{path}: {answer:?}");
        // Not for what the list lacks: whatever it held, it would be refused.
        let said = answer.text();
        let for_being_one = ["invalid type: sequence", "this is a list"];
        assert!(
            for_being_one.iter().any(|words| said.contains(words)),
            "{path}: {said}"
        );
        tried += 1;
    }
    assert!(tried > 20, "{tried}");
});

/// A body in which one object is written as the list of its fields, in their order.
fn listed(mut body: Value, pointer: &str, fields: &[&str]) -> Value {
    let object = body.pointer_mut(pointer).expect("an object");
    *object = fields.iter().map(|name| object[*name].take()).collect();
    body
}

on_both!(a_list_of_its_fields_is_no_object, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let barn = json!({"name": "Saltings", "time_zone": "UTC", "region": "gb"});
    let pull = json!({"wants": [{"horse_id": horse, "after": 0}], "limit": 5});
    let seal = json!({"kinds": ["weight"], "before": null, "after": null, "leaf_only": true});
    let share = json!({"days": 1, "seal": seal, "label": "for Perran"});
    let push = json!({"events": [yard.pen().weight(horse, 500.0).sign()]});
    let tries = [
        (
            path::BARNS.to_owned(),
            &barn,
            "",
            vec!["name", "time_zone", "region"],
            201,
        ),
        (
            path::PULL.to_owned(),
            &pull,
            "",
            vec!["wants", "limit"],
            200,
        ),
        (
            path::PULL.to_owned(),
            &pull,
            "/wants/0",
            vec!["horse_id", "after"],
            200,
        ),
        (
            path::shares(horse),
            &share,
            "",
            vec!["days", "seal", "label"],
            201,
        ),
        (
            path::shares(horse),
            &share,
            "/seal",
            vec!["kinds", "before", "after", "leaf_only"],
            201,
        ),
        (path::EVENTS.to_owned(), &push, "", vec!["events"], 200),
    ];
    for (address, body, pointer, fields, taken) in &tries {
        let answer = yard
            .owner
            .post(address, &listed((*body).clone(), pointer, fields));
        assert_eq!(answer.status, 422, "{address}{pointer}: {answer:?}");
        assert!(
            answer.text().contains("sequence"),
            "{address}{pointer}: {answer:?}"
        );
        // The same as an object is taken.
        let answer = yard.owner.post(address, body);
        assert_eq!(answer.status, *taken, "{address}{pointer}: {answer:?}");
    }
    // An event stands for itself, so it is refused by itself.
    let fields = ["envelope", "content", "salt", "signature"];
    let event = yard.pen().weight(horse, 501.0).sign();
    let whole = json!({"events": [event]});
    for (pushed, refused) in [
        (listed(whole.clone(), "/events/0", &fields), true),
        (whole, false),
    ] {
        let answer: Value = yard.owner.post(path::EVENTS, &pushed).read();
        let status = &answer["outcomes"][0]["status"];
        assert_eq!(*status == "refused", refused, "{answer}");
    }
});

/// A line as the server keeps it, or none if it doesn't.
fn kept(text: &str) -> Option<String> {
    let line: String = text.trim().nfc().collect();
    let breaks = |one: char| one.is_control() || matches!(one, '\u{2028}' | '\u{2029}');
    let fits = !line.is_empty() && line.chars().count() <= 200 && !line.chars().any(breaks);
    fits.then_some(line)
}

on_both!(any_text_comes_back_as_it_was_or_is_refused, |server| {
    let yard = Yard::open(server);
    let barn: Barn = yard
        .owner
        .post(
            path::BARNS,
            &json!({"name": "Saltings", "time_zone": "UTC"}),
        )
        .read();
    let mut taken = 0;
    for text in BLNS {
        let body = json!({"name": text, "time_zone": "UTC"});
        let answer = yard.owner.put(&path::barn(barn.id), &body);
        let Some(name) = kept(text) else {
            assert_eq!(answer.status, 422, "{text:?}: {answer:?}");
            continue;
        };
        assert_eq!(answer.read::<Barn>().name, name, "{text:?}");
        let read: Barn = yard.owner.get(&path::barn(barn.id)).read();
        assert_eq!(read.name, name, "{text:?}");
        taken += 1;
    }
    assert!(taken > 300, "{taken} texts make no test");
    // What was signed comes back to the letter.
    let horse = yard.horse();
    let notes: Vec<&str> = BLNS
        .iter()
        .copied()
        .filter(|text| !text.is_empty())
        .collect();
    let mut accepted = Vec::new();
    for part in notes.chunks(100) {
        let events = part
            .iter()
            .map(|note| yard.pen().weight(horse, 500.0).note(note).sign());
        let events: Vec<_> = events.collect();
        for (note, outcome) in part.iter().zip(push(&yard.owner, &events)) {
            match outcome {
                Outcome::Accepted { .. } => accepted.push(*note),
                Outcome::Refused { problem } => {
                    assert_eq!(problem.status, 422, "{note:?}: {problem:?}");
                }
                other => panic!("{note:?}: {other:?}"),
            }
        }
    }
    assert!(
        accepted.len() > 400,
        "{} notes make no test",
        accepted.len()
    );
    let mut read = Vec::new();
    let mut next = Some(format!("{}?limit=100", path::history(horse)));
    while let Some(address) = next {
        let page: History = yard.owner.get(&address).read();
        read.extend(page.items.iter().filter_map(|entry| entry.note.clone()));
        next = page
            .next_cursor
            .map(|cursor| format!("{}?limit=100&cursor={cursor}", path::history(horse)));
    }
    accepted.sort_unstable();
    read.sort_unstable();
    assert_eq!(read, accepted);
    // Nor does any search for them break anything.
    for text in BLNS {
        let lot = format!("{}?lot={}", path::RECALL, percent(text));
        let answer = yard.owner.get(&lot);
        assert!([200, 422].contains(&answer.status), "{text:?}: {answer:?}");
    }
});

#[test]
fn nobody_fills_the_log_of_errors_with_requests_that_cannot_be_read() {
    let place = Place::sqlite();
    let _server = place.start();
    let address = place.url().trim_start_matches("http://").to_owned();
    let unreadable = [
        "GET /health/live HTTP/1.1\r\nHo st: a\r\n\r\n",
        "GET /health/live HTTP/9.9\r\nHost: a\r\n\r\n",
        "GET /health /live HTTP/1.1\r\n\r\n",
        "\u{16}\u{3}\u{1}\u{0}\u{a5} not what TLS says first",
        "POST /v1/sessions HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nxyz\r\n",
    ];
    for (text, answered) in at_once(&address, unreadable.map(str::to_owned).into()) {
        assert!(!answered.contains("HTTP/1.1 2"), "{text:?}: {answered}");
    }
    let endless = format!("GET / HTTP/1.1\r\nX-Long: {}\r\n\r\n", "a".repeat(200_000));
    at_once(&address, [ambiguous(), vec![endless]].concat());
    assert_eq!(place.anonymous().get(path::LIVE).status, 200);
    let log = place.log();
    assert!(log.contains("\"level\":\"INFO\""), "{log}");
    assert!(!log.contains("\"level\":\"ERROR\""), "{log}");
}

#[test]
fn who_never_comes_to_an_end_is_cut_off_and_holds_nobody_up() {
    let place = Place::sqlite();
    let _server = place.start();
    let address = place.url().trim_start_matches("http://").to_owned();
    let slow = (0..500).map(|_| {
        let mut socket = TcpStream::connect(&address).expect("a connection");
        let head = "GET /health/live HTTP/1.1\r\nHost: a\r\nX-Slow: ";
        socket.write_all(head.as_bytes()).expect("sent");
        socket
    });
    let mut slow: Vec<_> = slow.collect();
    for _ in 0..20 {
        assert_eq!(place.anonymous().get(path::LIVE).status, 200);
    }
    for socket in &mut slow {
        let mut answer = String::new();
        // Cut off with an answer or without one; a test that isn't would never end.
        let _ = socket.read_to_string(&mut answer);
        assert!(!answer.contains("200 OK"), "{answer}");
    }
}
