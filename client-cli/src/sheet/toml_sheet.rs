//! A sheet as TOML: `[[entry]]` tables with nested details.

use std::ops::Range;

use serde_json::{Map, Value, json};
use toml::de::{DeTable, DeValue};
use whorl_care::fault::step;
use whorl_care::kind::Kind;

use super::{Defaults, Line, MOST_LINES, Place, Read, Wrong, header, take};
use crate::form::Form;
use crate::jotting::Beside;

/// The keys that stand at the top of the file.
const TOP: &[&str] = &["kind", "day", "entry"];

/// Reads the file.
pub(super) fn read(text: &str, defaults: &Defaults) -> Read {
    let mut read = Read::default();
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        read.wrong.extend(errors.iter().map(|error| {
            let line = error.span().map_or(1, |span| line_of(text, &span));
            Wrong::new(line, "", error.message())
        }));
        return read;
    }
    let table = table.get_ref();
    let mut defaults = defaults.clone();
    for (key, value) in table {
        let line = line_of(text, &key.span());
        let name = key.get_ref().as_ref();
        if !TOP.contains(&name) {
            let detail = format!(
                "there is no such key at the top; there are {}",
                TOP.join(", ")
            );
            read.wrong.push(Wrong::new(line, name, detail));
        }
        match (name, scalar(value.get_ref())) {
            ("kind", Some(text)) => match header::kind(&text) {
                Ok(kind) => defaults.kind = defaults.kind.or(Some(kind)),
                Err(why) => read.wrong.push(Wrong::new(line, "kind", why)),
            },
            ("day", Some(text)) => defaults.day = defaults.day.or(Some(text)),
            ("entry", None) if value.get_ref().is_array() => {}
            ("kind" | "day", None) => {
                let wrong = Wrong::new(line, name, "this must be a text");
                read.wrong.push(wrong);
            }
            ("entry", _) => read.wrong.push(Wrong::new(
                line,
                name,
                "write [[entry]], in double brackets",
            )),
            _ => {}
        }
    }
    let entries = table
        .get("entry")
        .and_then(|value| value.get_ref().as_array());
    for (n, entry) in entries.into_iter().flatten().enumerate() {
        if n == MOST_LINES {
            let line = line_of(text, &entry.span());
            let detail = format!("a sheet has at most {MOST_LINES} entries; split it");
            read.wrong.push(Wrong::new(line, "", detail));
            break;
        }
        match entry.get_ref().as_table() {
            Some(table) => one(
                text,
                table,
                line_of(text, &entry.span()),
                &defaults,
                &mut read,
            ),
            None => read.wrong.push(Wrong::new(
                line_of(text, &entry.span()),
                "entry",
                "write [[entry]], in double brackets",
            )),
        }
    }
    read
}

fn one(text: &str, table: &DeTable<'_>, number: usize, defaults: &Defaults, read: &mut Read) {
    let named = table.get("kind").and_then(|kind| scalar(kind.get_ref()));
    let kind = match named.map(|text| header::kind(&text)) {
        Some(Ok(kind)) => kind,
        Some(Err(why)) => return read.wrong.push(Wrong::new(number, "kind", why)),
        None => match defaults.kind {
            Some(kind) => kind,
            None => return read.wrong.push(header::no_kind(number)),
        },
    };
    let mut line = Line {
        number,
        kind,
        horse: String::new(),
        details: Map::new(),
        beside: Beside {
            at: defaults.day.clone(),
            ..Beside::default()
        },
        places: Vec::new(),
    };
    let before = read.wrong.len();
    let mut document = Map::new();
    let mut places = Vec::new();
    for (key, value) in table {
        let name = key.get_ref().as_ref();
        if !header::is_beside(name) {
            let at = step(name);
            places.push(place(text, &at, name, &key.span()));
            let value = value_of(text, value.get_ref(), &at, name, &mut places);
            document.insert(name.to_owned(), value);
            continue;
        }
        let at = line_of(text, &key.span());
        let set = match scalar(value.get_ref()) {
            Some(cell) => header::beside(&mut line, name, &cell, &defaults.folder),
            None => Err("this must be a text".to_owned()),
        };
        if let Err(why) = set {
            read.wrong.push(Wrong::new(at, name, why));
        }
    }
    match Form::of(kind).read(&Value::Object(document)) {
        Ok(details) => line.details = details,
        Err(faults) => read.wrong.extend(faults.0.into_iter().map(|fault| {
            let place = nearest(&places, &fault.pointer);
            place.map_or_else(
                || Wrong::new(number, "", fault.detail.clone()),
                |place| Wrong::new(place.line, &place.column, fault.detail.clone()),
            )
        })),
    }
    line.beside.at = take::when(line.beside.at.as_deref(), defaults);
    line.places = recorded(kind, &places);
    if line.horse.is_empty() {
        read.wrong
            .push(Wrong::new(number, "horse", "it is missing"));
    }
    if read.wrong.len() == before {
        read.lines.push(line);
    }
}

/// The places by the record's own names, so that what is wrong with a value is told where it was written.
fn recorded(kind: Kind, places: &[Place]) -> Vec<Place> {
    let renamed = places.iter().map(|place| {
        let path = place.pointer.trim_start_matches('/').replace('/', ".");
        let pointer = Form::of(kind).pointer(&path);
        Place {
            pointer: pointer.unwrap_or_else(|| place.pointer.clone()),
            ..place.clone()
        }
    });
    renamed.collect()
}

/// The place of a pointer, or of the nearest thing around it.
pub(super) fn nearest<'p>(places: &'p [Place], pointer: &str) -> Option<&'p Place> {
    let holds = |place: &&Place| {
        pointer
            .strip_prefix(&place.pointer)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    places
        .iter()
        .filter(holds)
        .max_by_key(|place| place.pointer.len())
}

fn place(text: &str, pointer: &str, column: &str, span: &Range<usize>) -> Place {
    Place {
        pointer: pointer.to_owned(),
        line: line_of(text, span),
        column: column.to_owned(),
    }
}

fn value_of(
    text: &str,
    value: &DeValue<'_>,
    at: &str,
    column: &str,
    places: &mut Vec<Place>,
) -> Value {
    match value {
        DeValue::Table(table) => {
            let fields = table.iter().map(|(key, value)| {
                let name = key.get_ref().as_ref();
                let (at, column) = (at.to_owned() + &step(name), format!("{column}.{name}"));
                places.push(place(text, &at, &column, &key.span()));
                let value = value_of(text, value.get_ref(), &at, &column, places);
                (name.to_owned(), value)
            });
            Value::Object(fields.collect())
        }
        DeValue::Array(items) => {
            let items = items.iter().enumerate().map(|(n, item)| {
                let at = format!("{at}/{n}");
                places.push(place(text, &at, column, &item.span()));
                value_of(text, item.get_ref(), &at, column, places)
            });
            Value::Array(items.collect())
        }
        DeValue::Integer(number) => match number.as_str().parse::<i64>() {
            Ok(whole) if number.radix() == 10 => json!(whole),
            _ => json!(number.to_string()),
        },
        DeValue::Float(number) => match number.as_str().parse::<f64>() {
            Ok(float) if float.is_finite() => json!(float),
            _ => json!(number.as_str()),
        },
        DeValue::Boolean(yes) => json!(yes),
        other => scalar(other).map_or(Value::Null, Value::String),
    }
}

/// A text, a number, a date or a yes or no as it would stand in a cell.
fn scalar(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::String(text) => Some(text.trim().to_owned()),
        DeValue::Datetime(at) => Some(at.to_string()),
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Boolean(yes) => Some(yes.to_string()),
        _ => None,
    }
}

fn line_of(text: &str, span: &Range<usize>) -> usize {
    let before = text.as_bytes().iter().take(span.start);
    before.filter(|byte| **byte == b'\n').count() + 1
}
