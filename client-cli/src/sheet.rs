//! A visit sheet: one CSV or TOML file with a day's horses, read line by line before anything is queued.
//!
//! Reading finds every fault that the file alone shows; [`check`] and [`queue`] then checks each line as an entry and
//! queue all of them or none.

mod csv_sheet;
mod header;
mod take;
pub mod template;
mod toml_sheet;

use std::path::{Path, PathBuf};

use serde::Serialize;
use serde_json::{Map, Value};
use whorl_care::kind::Kind;

use crate::failure::Failure;
use crate::jotting::Beside;

pub use take::{Hand, Taken, check, queue};

/// The most lines that a sheet may have.
pub const MOST_LINES: usize = 10_000;

/// What holds for every line that doesn't say otherwise.
#[derive(Clone, Debug, Default)]
pub struct Defaults {
    /// The kind.
    pub kind: Option<Kind>,
    /// The day, as it was typed.
    pub day: Option<String>,
    /// The folder that names of photos are relative to.
    pub folder: PathBuf,
}

/// One line that could be read.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its number in the file.
    pub number: usize,
    /// The kind.
    pub kind: Kind,
    /// The horse, as it was written.
    pub horse: String,
    /// The details.
    pub details: Map<String, Value>,
    /// What stands beside them.
    pub beside: Beside,
    /// Where each part of it stands: the pointer into the details, the line, and the column's name.
    pub places: Vec<Place>,
}

/// Where a part of a line stands in the file.
#[derive(Clone, Debug)]
pub struct Place {
    /// The pointer into the details, or the name of what stands beside them.
    pub pointer: String,
    /// The line in the file.
    pub line: usize,
    /// The column's name.
    pub column: String,
}

/// One fault of a sheet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Wrong {
    /// The line in the file, from 1.
    pub line: usize,
    /// The column; empty if it is about the whole line.
    pub column: String,
    /// What is wrong.
    pub detail: String,
}

impl Wrong {
    fn new(line: usize, column: impl Into<String>, detail: impl Into<String>) -> Self {
        Self {
            line,
            column: column.into(),
            detail: detail.into(),
        }
    }
}

/// What could be read of a sheet, and every fault that was found.
#[derive(Clone, Debug, Default)]
pub struct Read {
    /// The lines without a fault.
    pub lines: Vec<Line>,
    /// The faults.
    pub wrong: Vec<Wrong>,
}

/// Reads a sheet; what it is, its name's end says: `.toml`, else a table with separators.
///
/// # Errors
///
/// [`Failure::Input`] if the file can't be read at all.
pub fn read(path: &Path, bytes: &[u8], defaults: &Defaults) -> Result<Read, Failure> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes
            .iter()
            .take(error.valid_up_to())
            .filter(|byte| **byte == b'\n')
            .count();
        Failure::input(format!(
            "{}, line {}: this is not UTF-8; save the file as CSV UTF-8",
            path.display(),
            line + 1
        ))
    })?;
    let text = text.trim_start_matches('\u{feff}');
    let is_toml = path
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    let mut read = if is_toml {
        toml_sheet::read(text, defaults)
    } else {
        csv_sheet::read(text, defaults)
    };
    if read.lines.is_empty() && read.wrong.is_empty() {
        read.wrong
            .push(Wrong::new(1, "", "there is nothing on this sheet"));
    }
    repeated(&mut read);
    read.wrong.sort();
    Ok(read)
}

/// A line that says the same as an earlier one was copied and not changed.
fn repeated(read: &mut Read) {
    let same = |one: &Line, other: &Line| {
        one.kind == other.kind
            && one.horse.eq_ignore_ascii_case(&other.horse)
            && one.beside.at == other.beside.at
            && one.details == other.details
    };
    for (n, line) in read.lines.iter().enumerate() {
        if let Some(first) = read.lines.iter().take(n).find(|first| same(first, line)) {
            read.wrong.push(Wrong::new(
                line.number,
                "horse",
                format!(
                    "it says the same as line {}; take one of them out",
                    first.number
                ),
            ));
        }
    }
}

#[cfg(test)]
mod tests;
