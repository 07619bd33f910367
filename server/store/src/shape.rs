//! The tables as the migrations make them: what there is to copy from one database to another, and in which order.

use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Text};
use diesel::sqlite::SqliteConnection;

use crate::connection::{Db, scratch};
use crate::error::StoreError;
use crate::migrations;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Holds {
    Text,
    Number,
    Truth,
    Instant,
    Day,
    Bytes,
}

impl Holds {
    fn read(declared: &str) -> Result<Self, StoreError> {
        Ok(match declared {
            "TEXT" => Self::Text,
            "INTEGER" | "BIGINT" => Self::Number,
            "BOOLEAN" => Self::Truth,
            "TIMESTAMP" => Self::Instant,
            "DATE" => Self::Day,
            "BYTEA" => Self::Bytes,
            other => {
                return Err(StoreError::Migration(format!(
                    "a column of the type {other} can't be copied"
                )));
            }
        })
    }
}

/// A column.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    pub(crate) name: String,
    pub(crate) holds: Holds,
    pub(crate) in_key: bool,
}

/// A table.
#[derive(Clone, Debug)]
pub(crate) struct Table {
    pub(crate) name: String,
    pub(crate) columns: Vec<Column>,
}

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

#[derive(QueryableByName)]
struct Info {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    declared: String,
    #[diesel(sql_type = BigInt)]
    place_in_key: i64,
}

/// All tables, each after those that it refers to. The two databases have the same text of migrations, so what SQLite
/// makes of it is true of both.
pub(crate) fn tables() -> Result<Vec<Table>, StoreError> {
    let mut db = scratch()?;
    migrations::apply(&mut db)?;
    let Db::Sqlite(conn) = &mut db else {
        return Err(StoreError::Migration("a scratch database is SQLite".into()));
    };
    let named: Vec<Name> = sql_query(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' \
         AND name NOT LIKE '\\_\\_diesel%' ESCAPE '\\' ORDER BY name",
    )
    .load(conn)?;
    let mut left: Vec<String> = named.into_iter().map(|row| row.name).collect();
    let mut sorted: Vec<String> = Vec::new();
    while !left.is_empty() {
        let mut waiting = Vec::new();
        let before = sorted.len();
        for table in left {
            let needs = refers_to(conn, &table)?;
            if needs
                .iter()
                .all(|one| *one == table || sorted.contains(one))
            {
                sorted.push(table);
            } else {
                waiting.push(table);
            }
        }
        if sorted.len() == before {
            return Err(StoreError::Migration(format!(
                "these tables refer to each other in a circle: {}",
                waiting.join(", ")
            )));
        }
        left = waiting;
    }
    sorted
        .into_iter()
        .map(|name| {
            let columns = columns(conn, &name)?;
            Ok(Table { name, columns })
        })
        .collect()
}

fn refers_to(conn: &mut SqliteConnection, table: &str) -> Result<Vec<String>, StoreError> {
    let rows: Vec<Name> = sql_query("SELECT \"table\" AS name FROM pragma_foreign_key_list(?)")
        .bind::<Text, _>(table)
        .load(conn)?;
    Ok(rows.into_iter().map(|row| row.name).collect())
}

fn columns(conn: &mut SqliteConnection, table: &str) -> Result<Vec<Column>, StoreError> {
    let rows: Vec<Info> = sql_query(
        "SELECT name, type AS declared, CAST(pk AS BIGINT) AS place_in_key FROM pragma_table_info(?) ORDER BY cid",
    )
    .bind::<Text, _>(table)
    .load(conn)?;
    rows.into_iter()
        .map(|row| {
            Ok(Column {
                holds: Holds::read(&row.declared)?,
                in_key: row.place_in_key > 0,
                name: row.name,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_table_comes_after_those_it_refers_to() {
        let tables = tables().expect("tables");
        let at = |name: &str| {
            tables
                .iter()
                .position(|table| table.name == name)
                .expect(name)
        };
        assert!(at("account") < at("device"));
        assert!(at("horse") < at("event"));
        assert!(at("access_grant") < at("grant_exemption"));
        let event = &tables[at("event")];
        let key: Vec<&str> = event
            .columns
            .iter()
            .filter(|column| column.in_key)
            .map(|column| column.name.as_str())
            .collect();
        assert_eq!(key, ["horse_id", "seq"]);
        assert!(
            tables
                .iter()
                .all(|table| table.columns.iter().any(|one| one.in_key))
        );
    }
}
