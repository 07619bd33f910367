//! A sheet as a table: a heading, and a line for each entry.

use serde_json::Map;
use whorl_care::kind::Kind;

use super::{Defaults, Line, MOST_LINES, Read, Wrong, header};
use crate::jotting::Beside;

/// One line as it is written.
struct Row {
    number: usize,
    cells: Vec<String>,
}

/// Reads the table. Commas, semicolons and tabs separate cells, whichever the heading uses.
pub(super) fn read(text: &str, defaults: &Defaults) -> Read {
    let mut read = Read::default();
    let mut rows = rows(text, &mut read);
    if rows.is_empty() {
        return read;
    }
    let heading = rows.remove(0);
    let columns: Vec<String> = heading
        .cells
        .iter()
        .map(|cell| cell.trim().to_owned())
        .collect();
    let kinds: Vec<Option<Result<Kind, String>>> = rows
        .iter()
        .map(|row| kind_of(&columns, row, defaults))
        .collect();
    check_heading(&heading, &columns, &mut read);
    for (row, kind) in rows.iter().zip(kinds) {
        match kind {
            None => read.wrong.push(header::no_kind(row.number)),
            Some(Err(why)) => read.wrong.push(Wrong::new(row.number, "kind", why)),
            Some(Ok(kind)) => line(row, kind, &columns, defaults, &mut read),
        }
    }
    read
}

fn rows(text: &str, read: &mut Read) -> Vec<Row> {
    let heading = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default();
    let separators = [b',', b';', b'\t'];
    let count = |separator: &u8| heading.bytes().filter(|byte| byte == separator).count();
    // The first of those that tie: a comma.
    let separator = separators
        .iter()
        .rev()
        .max_by_key(|one| count(one))
        .copied();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator.unwrap_or(b','))
        .from_reader(text.as_bytes());
    let mut lines = Lines::of_text(text);
    let mut rows = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let number = record.position().map_or(1, |at| lines.of(at.byte()));
                let cells: Vec<String> = record.iter().map(|cell| cell.trim().to_owned()).collect();
                if cells.iter().any(|cell| !cell.is_empty()) {
                    rows.push(Row { number, cells });
                }
            }
            Err(error) => {
                let number = error.position().map_or(1, |at| lines.of(at.byte()));
                read.wrong.push(Wrong::new(number, "", error.to_string()));
            }
        }
        if rows.len() > MOST_LINES {
            read.wrong.push(Wrong::new(
                MOST_LINES,
                "",
                format!("a sheet has at most {MOST_LINES} lines; split it"),
            ));
            break;
        }
    }
    rows
}

/// Counts lines as an editor does. The reader's own count is behind by the empty lines and half line ends that it steps
/// over before a record.
struct Lines<'t> {
    text: &'t [u8],
    seen: usize,
    line: usize,
}

impl<'t> Lines<'t> {
    fn of_text(text: &'t str) -> Self {
        Self {
            text: text.as_bytes(),
            seen: 0,
            line: 1,
        }
    }

    /// The line of the first cell at or after an offset; offsets come in rising order.
    fn of(&mut self, offset: u64) -> usize {
        let offset = usize::try_from(offset).unwrap_or(usize::MAX).max(self.seen);
        let rest = self.text.get(offset..).unwrap_or_default();
        let gap = rest
            .iter()
            .take_while(|byte| matches!(byte, b'\r' | b'\n'))
            .count();
        let start = (offset + gap).min(self.text.len());
        let passed = self.text.get(self.seen..start).unwrap_or_default();
        self.line += passed.split(|byte| *byte == b'\n').skip(1).count();
        self.seen = start;
        self.line
    }
}

/// The kind of a line; none if nothing says it.
fn kind_of(columns: &[String], row: &Row, defaults: &Defaults) -> Option<Result<Kind, String>> {
    let column = columns
        .iter()
        .position(|name| header::plain(name).eq_ignore_ascii_case("kind"));
    let text = column
        .and_then(|n| row.cells.get(n))
        .filter(|text| !text.is_empty());
    match text {
        Some(text) => Some(header::kind(text)),
        None => defaults.kind.map(Ok),
    }
}

fn check_heading(heading: &Row, columns: &[String], read: &mut Read) {
    for (n, name) in columns.iter().enumerate() {
        let first =
            |other: &String| header::plain(other).eq_ignore_ascii_case(&header::plain(name));
        if name.is_empty() {
            read.wrong.push(Wrong::new(
                heading.number,
                format!("column {}", n + 1),
                "it has no name",
            ));
        } else if columns.iter().take(n).any(first) {
            read.wrong.push(Wrong::new(
                heading.number,
                name,
                "there are two columns of this name",
            ));
        } else if !Kind::ALL.iter().any(|kind| header::knows(*kind, name)) {
            // A column of a kind that isn't on today's sheet may stay, as long as it is empty.
            let detail =
                "there is no such column; `whorl sheet template KIND` shows those that are";
            read.wrong.push(Wrong::new(heading.number, name, detail));
        }
    }
    if !columns
        .iter()
        .any(|name| header::plain(name).eq_ignore_ascii_case("horse"))
    {
        read.wrong.push(Wrong::new(
            heading.number,
            "horse",
            "this column is missing: the first line names the columns",
        ));
    }
}

fn line(row: &Row, kind: Kind, columns: &[String], defaults: &Defaults, read: &mut Read) {
    let mut line = Line {
        number: row.number,
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
    for (n, cell) in row
        .cells
        .iter()
        .enumerate()
        .filter(|(_, cell)| !cell.is_empty())
    {
        let Some(column) = columns.get(n) else {
            read.wrong.push(Wrong::new(
                row.number,
                format!("column {}", n + 1),
                format!("`{cell}` stands under no heading"),
            ));
            continue;
        };
        let set = if header::is_beside(column) {
            header::beside(&mut line, column, cell, &defaults.folder)
        } else if header::knows(kind, column) {
            header::detail(&mut line, column, cell)
        } else {
            Err(format!("{kind} has no such field"))
        };
        if let Err(why) = set {
            read.wrong.push(Wrong::new(row.number, column, why));
        }
    }
    line.beside.at = super::take::when(line.beside.at.as_deref(), defaults);
    if line.horse.is_empty() {
        read.wrong
            .push(Wrong::new(row.number, "horse", "it is missing"));
    }
    if read.wrong.len() == before {
        read.lines.push(line);
    }
}
