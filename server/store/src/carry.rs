//! Carrying a whole record from one database to another: a yard that outgrew its file, a backup, a restore.
//!
//! Each row travels as a JSON array of texts, which both databases read and write themselves; so this knows no table by
//! name but the one that comes last. Until that row is there, no server serves the copy.

use chrono::NaiveDateTime;
use diesel::connection::{DefaultLoadingMode, SimpleConnection};
use diesel::pg::PgRowByRowLoadingMode;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Text};
use uuid::Uuid;

use crate::connection::{Address, Db, on_each};
use crate::error::StoreError;
use crate::ledger;
use crate::migrations;
use crate::shape::{self, Holds, Table};
use crate::store::{PATIENCE, keep_to_oneself};

/// A statement carries rows up to about so many bytes; one row may be larger.
const BATCH_BYTES: usize = 4 << 20;
/// And up to so many rows.
const BATCH_ROWS: usize = 2_000;

/// The table whose one row makes a database a ledger; it is written last.
const LAST: &str = "ledger";

/// What becomes of the ledger in its new place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Life {
    /// It goes on: nothing happens in the old place since the copy was begun.
    GoesOn,
    /// It is put by. Whoever serves the copy as it is will find that it is none of the place that it names.
    PutBy,
    /// It is an older state come back, and must be told from what came after it.
    Anew {
        /// The new epoch.
        epoch: Uuid,
        /// When, in UTC.
        began_at: NaiveDateTime,
        /// Why, for whoever reads the list of epochs.
        reason: String,
    },
}

/// How far it is: the table, and how many of its rows are over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Progress<'a> {
    /// The table.
    pub table: &'a str,
    /// Rows carried over.
    pub done: u64,
    /// Rows in all.
    pub of: u64,
}

/// Carries everything from the database at `from` to the one at `to`, as it stands at one moment. The target must be empty,
/// or be what an interrupted run left: then it is brought to the state of the source, row by row. Answers the number of
/// rows. Blocks.
///
/// # Errors
///
/// [`StoreError::Address`] if the target holds a record already, or if the source holds none; else what failed. Whatever
/// fails, the source is as it was, and the same call may be made again.
pub fn carry(
    from: &str,
    to: &str,
    life: &Life,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<u64, StoreError> {
    let (from, to) = (Address::parse(from)?, Address::parse(to)?);
    if from == to {
        return Err(StoreError::Address(
            "source and target are the same database".into(),
        ));
    }
    if let Address::Sqlite(path) = &from
        && !std::path::Path::new(path).is_file()
    {
        return Err(StoreError::Address(format!("there is no file {path}")));
    }
    if let Address::Sqlite(path) = &to {
        keep_to_oneself(path)?;
    }
    let mut source = patient(&from)?;
    let mut target = patient(&to)?;
    if count(&mut source, LAST)? == 0 {
        return Err(StoreError::Address("the source holds no record".into()));
    }
    if count(&mut target, LAST)? != 0 {
        return Err(StoreError::Address(
            "the target holds a record already; name an empty database".into(),
        ));
    }
    // One moment of the source, however long it takes.
    let begin = match source {
        Db::Sqlite(_) => "BEGIN",
        Db::Postgres(_) => "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
    };
    source.batch_execute(begin)?;
    let tables = shape::tables()?;
    let mut rows = 0;
    for table in tables.iter().filter(|table| table.name != LAST) {
        rows += carry_table(&mut source, &mut target, table, progress)?;
    }
    // The last row and what becomes of it are there together or not at all.
    target.begin_write()?;
    for table in tables.iter().filter(|table| table.name == LAST) {
        rows += carry_table(&mut source, &mut target, table, progress)?;
    }
    match life {
        Life::GoesOn => ledger::set_place(&mut target, None)?,
        Life::PutBy => {}
        Life::Anew {
            epoch,
            began_at,
            reason,
        } => ledger::begin_anew(&mut target, *epoch, *began_at, reason, None)?,
    }
    target.commit()?;
    source.batch_execute("ROLLBACK")?;
    if let Db::Sqlite(conn) = &mut target {
        // One file, without a log beside it, so that it can be copied as it is.
        conn.batch_execute("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE")?;
    }
    Ok(rows)
}

/// A connection without limits of time, its schema up to date.
fn patient(address: &Address) -> Result<Db, StoreError> {
    let mut db = Db::open(address, PATIENCE)?;
    migrations::apply(&mut db)?;
    if let Db::Postgres(conn) = &mut db {
        conn.batch_execute(
            "SET statement_timeout = 0; SET idle_in_transaction_session_timeout = 0; SET lock_timeout = '5s'",
        )?;
    }
    Ok(db)
}

#[derive(QueryableByName)]
struct Counted {
    #[diesel(sql_type = BigInt)]
    rows: i64,
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = Text)]
    row: String,
}

fn count(db: &mut Db, table: &str) -> Result<u64, StoreError> {
    let query = sql_query(format!("SELECT count(*) AS rows FROM {table}"));
    let counted: Counted = on_each!(db, |conn| query.get_result(conn))?;
    Ok(counted.rows.unsigned_abs())
}

fn carry_table(
    source: &mut Db,
    target: &mut Db,
    table: &Table,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<u64, StoreError> {
    let of = count(source, &table.name)?;
    let insert = insert(target, table);
    let select = select(source, table);
    let mut done = 0;
    let mut batch = Batch::new(insert);
    let mut take = |row: Result<Row, diesel::result::Error>| -> Result<(), StoreError> {
        if let Some(written) = batch.add(row?.row, target)? {
            done += written;
            progress(Progress {
                table: &table.name,
                done,
                of,
            });
        }
        Ok(())
    };
    match source {
        Db::Sqlite(conn) => {
            for row in sql_query(select).load_iter::<Row, DefaultLoadingMode>(conn)? {
                take(row)?;
            }
        }
        Db::Postgres(conn) => {
            for row in sql_query(select).load_iter::<Row, PgRowByRowLoadingMode>(conn)? {
                take(row)?;
            }
        }
    }
    done += batch.write(target)?;
    progress(Progress {
        table: &table.name,
        done,
        of,
    });
    let arrived = count(target, &table.name)?;
    if done != of || arrived != of {
        return Err(StoreError::Address(format!(
            "the target holds {arrived} rows of {} where the source has {of}: begin again with an empty database",
            table.name
        )));
    }
    Ok(of)
}

/// Rows on their way: JSON arrays as the source wrote them.
struct Batch {
    insert: String,
    rows: Vec<String>,
    bytes: usize,
}

impl Batch {
    const fn new(insert: String) -> Self {
        Self {
            insert,
            rows: Vec::new(),
            bytes: 0,
        }
    }

    /// Adds a row; writes the batch, and says how many rows it held, if it is full.
    fn add(&mut self, row: String, target: &mut Db) -> Result<Option<u64>, StoreError> {
        self.bytes += row.len();
        self.rows.push(row);
        if self.bytes < BATCH_BYTES && self.rows.len() < BATCH_ROWS {
            return Ok(None);
        }
        self.write(target).map(Some)
    }

    fn write(&mut self, target: &mut Db) -> Result<u64, StoreError> {
        let rows = std::mem::take(&mut self.rows);
        self.bytes = 0;
        if rows.is_empty() {
            return Ok(0);
        }
        let text = format!("[{}]", rows.join(","));
        let query = sql_query(self.insert.clone()).bind::<Text, _>(text);
        on_each!(target, |conn| query.execute(conn))?;
        Ok(rows.len() as u64)
    }
}

/// Reads every row as a JSON array of texts.
fn select(db: &Db, table: &Table) -> String {
    let columns = table.columns.iter().map(|column| {
        let name = &column.name;
        match (db, column.holds) {
            (_, Holds::Text) => name.clone(),
            (Db::Sqlite(_), Holds::Bytes) => {
                format!("CASE WHEN {name} IS NOT NULL THEN hex({name}) END")
            }
            (Db::Postgres(_), Holds::Bytes) => format!("encode({name}, 'hex')"),
            (Db::Postgres(_), Holds::Truth) => format!("CAST(CAST({name} AS INTEGER) AS TEXT)"),
            // In the one spelling that diesel gives it on SQLite, where texts are compared: no fraction, or three
            // digits of it, or six.
            (Db::Postgres(_), Holds::Instant) => format!(
                "to_char({name}, 'YYYY-MM-DD HH24:MI:SS') || CASE \
                 WHEN CAST(to_char({name}, 'US') AS INTEGER) = 0 THEN '' \
                 WHEN CAST(to_char({name}, 'US') AS INTEGER) % 1000 = 0 THEN to_char({name}, '.MS') \
                 ELSE to_char({name}, '.US') END"
            ),
            (_, Holds::Number | Holds::Truth | Holds::Instant | Holds::Day) => {
                format!("CAST({name} AS TEXT)")
            }
        }
    });
    let columns: Vec<String> = columns.collect();
    let array = match db {
        Db::Sqlite(_) => format!("json_array({})", columns.join(", ")),
        Db::Postgres(_) => format!("CAST(json_build_array({}) AS TEXT)", columns.join(", ")),
    };
    format!("SELECT {array} AS row FROM {}", table.name)
}

/// Writes the rows of a JSON array of such arrays; a row whose key is there is brought to the state of the source.
fn insert(db: &Db, table: &Table) -> String {
    let values = table.columns.iter().enumerate().map(|(n, column)| {
        let value = match db {
            Db::Sqlite(_) => format!("json_extract(value, '$[{n}]')"),
            Db::Postgres(_) => format!("(value ->> {n})"),
        };
        match (db, column.holds) {
            (_, Holds::Text) | (Db::Sqlite(_), Holds::Instant | Holds::Day) => value,
            (Db::Sqlite(_), Holds::Bytes) => format!("unhex({value})"),
            (Db::Postgres(_), Holds::Bytes) => format!("decode({value}, 'hex')"),
            (Db::Postgres(_), Holds::Truth) => format!("({value} = '1')"),
            (Db::Postgres(_), Holds::Instant) => format!("CAST({value} AS TIMESTAMP)"),
            (Db::Postgres(_), Holds::Day) => format!("CAST({value} AS DATE)"),
            (_, Holds::Number | Holds::Truth) => format!("CAST({value} AS BIGINT)"),
        }
    });
    let values: Vec<String> = values.collect();
    let named = |in_key: bool| {
        let columns = table.columns.iter();
        columns
            .filter(move |column| column.in_key == in_key)
            .map(|column| column.name.as_str())
    };
    let all: Vec<&str> = table.columns.iter().map(|one| one.name.as_str()).collect();
    let key: Vec<&str> = named(true).collect();
    let set: Vec<String> = named(false)
        .map(|name| format!("{name} = excluded.{name}"))
        .collect();
    let otherwise = if set.is_empty() {
        "DO NOTHING".to_owned()
    } else {
        format!("DO UPDATE SET {}", set.join(", "))
    };
    let rows = match db {
        Db::Sqlite(_) => "json_each(?)",
        Db::Postgres(_) => "json_array_elements(CAST($1 AS JSON)) AS rows (value)",
    };
    // Without WHERE, SQLite takes ON for a join's.
    format!(
        "INSERT INTO {} ({}) SELECT {} FROM {rows} WHERE TRUE ON CONFLICT ({}) {otherwise}",
        table.name,
        all.join(", "),
        values.join(", "),
        key.join(", ")
    )
}
