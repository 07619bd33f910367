//! Checking every line of a sheet as an entry, and queuing all of them or none.

use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use whorl_care::fault::Fault;

use super::toml_sheet::nearest;
use super::{Defaults, Line, Read, Wrong};
use crate::author::Author;
use crate::failure::Failure;
use crate::form::Form;
use crate::herd::{self, Known};
use crate::home::Home;
use crate::jotting::Jotting;
use crate::recording::{self, Ready, Recorded};
use crate::world::Machine;

/// One line that is or could be queued.
#[derive(Debug, Serialize)]
pub struct Taken {
    /// Its number in the file.
    pub line: usize,
    /// The entry.
    #[serde(flatten)]
    pub recorded: Recorded,
}

/// Why a sheet's transaction was taken back.
enum Undone {
    Wrong(Vec<Wrong>),
    OnlyChecked(Vec<Taken>),
    Failed(Failure),
}

impl From<diesel::result::Error> for Undone {
    fn from(error: diesel::result::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl From<Failure> for Undone {
    fn from(failure: Failure) -> Self {
        Self::Failed(failure)
    }
}

/// Who takes a sheet.
pub struct Hand<'a> {
    /// The client's folder.
    pub home: &'a Home,
    /// Who signs.
    pub author: &'a Author<'a>,
    /// Clock and randomness.
    pub machine: Machine<'a>,
}

/// Checks every line as it would be queued, and queues nothing.
///
/// # Errors
///
/// [`Failure`] if the database can't be used. The inner error lists the faults.
pub fn check(
    conn: &mut SqliteConnection,
    hand: &Hand<'_>,
    read: &Read,
) -> Result<Result<Vec<Taken>, Vec<Wrong>>, Failure> {
    run(conn, hand, read, None)
}

/// Queues every line, or nothing if one of them is wrong; `mark` is done in the same transaction.
///
/// # Errors
///
/// [`Failure`] if the database can't be used. The inner error lists the faults.
pub fn queue(
    conn: &mut SqliteConnection,
    hand: &Hand<'_>,
    read: &Read,
    mark: &dyn Fn(&mut SqliteConnection) -> Result<(), Failure>,
) -> Result<Result<Vec<Taken>, Vec<Wrong>>, Failure> {
    run(conn, hand, read, Some(mark))
}

type Mark<'m> = &'m dyn Fn(&mut SqliteConnection) -> Result<(), Failure>;

/// Goes through all lines in one transaction, so that each is checked against what the lines before it say, and takes
/// everything back unless all of them are right and they are meant to be queued.
fn run(
    conn: &mut SqliteConnection,
    hand: &Hand<'_>,
    read: &Read,
    mark: Option<Mark<'_>>,
) -> Result<Result<Vec<Taken>, Vec<Wrong>>, Failure> {
    let horses = herd::horses(conn)?;
    let done = conn.immediate_transaction(|conn| {
        let mut wrong = read.wrong.clone();
        let mut taken = Vec::new();
        for line in &read.lines {
            let number = line.number;
            match one(conn, hand, &horses, line)? {
                Ok(ready) => {
                    hand.author
                        .queue_within(conn, std::slice::from_ref(&ready.signed))?;
                    taken.push(Taken {
                        line: number,
                        recorded: ready.recorded,
                    });
                }
                Err(found) => wrong.extend(found),
            }
        }
        if !wrong.is_empty() {
            wrong.sort();
            return Err(Undone::Wrong(wrong));
        }
        match mark {
            Some(mark) => mark(conn)?,
            None => return Err(Undone::OnlyChecked(taken)),
        }
        Ok(taken)
    });
    match done {
        Ok(taken) | Err(Undone::OnlyChecked(taken)) => Ok(Ok(taken)),
        Err(Undone::Wrong(wrong)) => Ok(Err(wrong)),
        Err(Undone::Failed(failure)) => Err(failure),
    }
}

fn one(
    conn: &mut SqliteConnection,
    hand: &Hand<'_>,
    horses: &[Known],
    line: &Line,
) -> Result<Result<Ready, Vec<Wrong>>, Failure> {
    let number = line.number;
    let wrong = |column: &str, detail: String| Ok(Err(vec![Wrong::new(number, column, detail)]));
    let horse = match herd::exactly(horses, &line.horse) {
        Ok(horse) => horse,
        Err(Failure::Input(why)) => return wrong("horse", why),
        Err(other) => return Err(other),
    };
    if line.beside.at.is_none() {
        return wrong(
            "at",
            "when was it? Give it in this column, or the day of the whole sheet with --day"
                .to_owned(),
        );
    }
    let mut jotting = Jotting {
        kind: line.kind,
        horse,
        details: line.details.clone(),
        beside: line.beside.clone(),
    };
    // One sheet is one trip to each barn.
    jotting.beside.visit = Some(String::new());
    match recording::prepare(conn, hand.home, hand.author, hand.machine, &mut jotting) {
        Ok(ready) => Ok(Ok(ready)),
        Err(Failure::Invalid(faults)) => {
            let found = faults.0.iter().map(|fault| placed(line, fault));
            Ok(Err(found.collect()))
        }
        Err(Failure::Input(why)) => wrong("", why),
        Err(other) => Err(other),
    }
}

/// Where in the file a fault of the details is.
fn placed(line: &Line, fault: &Fault) -> Wrong {
    if fault.pointer == "/performed_at" {
        return Wrong::new(line.number, "at", &fault.detail);
    }
    if let Some(place) = nearest(&line.places, &fault.pointer) {
        return Wrong::new(place.line, &place.column, &fault.detail);
    }
    let field = Form::of(line.kind).at(&fault.pointer);
    let top = fault.pointer.matches('/').count() == 1;
    let column = field.filter(|_| top).map_or_else(
        || fault.pointer.trim_start_matches('/').replace('/', "."),
        |field| field.short.clone(),
    );
    Wrong::new(line.number, column, &fault.detail)
}

/// When a line's entry happened: an hour alone is on the sheet's day.
pub(super) fn when(at: Option<&str>, defaults: &Defaults) -> Option<String> {
    let hour_alone = |text: &str| text.len() <= 8 && text.contains(':');
    match (at, defaults.day.as_deref()) {
        (Some(at), Some(day)) if hour_alone(at) => Some(format!("{day} {at}")),
        (Some(at), _) => Some(at.to_owned()),
        (None, day) => day.map(str::to_owned),
    }
}
