//! Whether the record can be spread over machines by horse, as `deploy/postgres/sharding.md` says: read from PostgreSQL's own catalogue.

use std::collections::{BTreeMap, BTreeSet};

use diesel::connection::{Connection, SimpleConnection};
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{Bool, Nullable, Text};
use whorl_store::{Settings, Store};
use whorl_tests::{Database, Own};

const GUIDE: &str = include_str!("../../deploy/postgres/sharding.md");

/// What grows with every entry.
const GROWING: [&str; 6] = [
    "event",
    "lot",
    "attachment",
    "tenure",
    "share",
    "grant_exemption",
];

/// Unique constraints of what is spread that lack the horse on one PostgreSQL; the guide says what becomes of each.
const WITHOUT_HORSE: [&str; 3] = [
    "event_by_id (id)",
    "held_event_pkey (id)",
    "share_token_hash_key (token_hash)",
];

/// Stands in for a distributed engine: notes what is to be spread how.
const MODEL: &str = "
    CREATE TABLE spread (tab TEXT PRIMARY KEY, col TEXT, beside TEXT);
    CREATE FUNCTION create_reference_table(TEXT) RETURNS VOID LANGUAGE sql AS
        'INSERT INTO spread VALUES ($1, NULL, NULL)';
    CREATE FUNCTION create_distributed_table(tab TEXT, col TEXT, colocate_with TEXT) RETURNS VOID LANGUAGE sql AS
        'INSERT INTO spread VALUES ($1, $2, $3)';
";

#[derive(QueryableByName)]
struct Unique {
    #[diesel(sql_type = Text)]
    tab: String,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Bool)]
    main: bool,
    #[diesel(sql_type = Text)]
    columns: String,
}

#[derive(QueryableByName)]
struct Reference {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    from_tab: String,
    #[diesel(sql_type = Text)]
    from_columns: String,
    #[diesel(sql_type = Text)]
    to_tab: String,
    #[diesel(sql_type = Text)]
    to_columns: String,
}

#[derive(QueryableByName)]
struct Spread {
    #[diesel(sql_type = Text)]
    tab: String,
    #[diesel(sql_type = Nullable<Text>)]
    col: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    beside: Option<String>,
}

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

/// The tables as a server makes them, and a connection that sees them alone.
fn tables() -> (PgConnection, Own) {
    let folder = tempfile::tempdir().expect("a folder");
    let own = Own::make(Database::Postgres, folder.path());
    drop(Store::open(&Settings::of_job(own.url())).expect("a store"));
    #[expect(
        clippy::disallowed_methods,
        reason = "beside the store, which knows nothing of catalogues"
    )]
    let conn = PgConnection::establish(own.url()).expect("a connection");
    (conn, own)
}

fn uniques(conn: &mut PgConnection) -> Vec<Unique> {
    sql_query(
        "SELECT t.relname AS tab, i.relname AS name, x.indisprimary AS main, \
           (SELECT string_agg(a.attname, ',' ORDER BY k.n) FROM unnest(x.indkey) WITH ORDINALITY AS k (attnum, n) \
             JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = k.attnum) AS columns \
         FROM pg_index x JOIN pg_class t ON t.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid \
         WHERE x.indisunique AND t.relnamespace = current_schema()::regnamespace ORDER BY 2",
    )
    .load(conn)
    .expect("the catalogue")
}

fn references(conn: &mut PgConnection) -> Vec<Reference> {
    let columns = |table: &str, key: &str| {
        format!(
            "(SELECT string_agg(a.attname, ',' ORDER BY k.n) FROM unnest(c.{key}) WITH ORDINALITY AS k (attnum, n) \
             JOIN pg_attribute a ON a.attrelid = c.{table} AND a.attnum = k.attnum)"
        )
    };
    sql_query(format!(
        "SELECT c.conname AS name, f.relname AS from_tab, t.relname AS to_tab, {} AS from_columns, {} AS to_columns \
         FROM pg_constraint c JOIN pg_class f ON f.oid = c.conrelid JOIN pg_class t ON t.oid = c.confrelid \
         WHERE c.contype = 'f' AND c.connamespace = current_schema()::regnamespace ORDER BY 1",
        columns("conrelid", "conkey"),
        columns("confrelid", "confkey"),
    ))
    .load(conn)
    .expect("the catalogue")
}

fn has(columns: &str, column: &str) -> bool {
    columns.split(',').any(|one| one == column)
}

/// The statements of the guide, one by one, without comments.
fn statements() -> Vec<String> {
    let block = GUIDE.split("```sql\n").nth(1).expect("statements");
    let block = block.split("```").next().expect("their end");
    let lines: Vec<&str> = block
        .lines()
        .filter(|line| !line.starts_with("--"))
        .collect();
    let text = lines.join("\n");
    let each = text.split(';').map(str::trim).filter(|one| !one.is_empty());
    each.map(str::to_owned).collect()
}

/// What an engine that spreads tables so would refuse.
fn refused(conn: &mut PgConnection) -> BTreeSet<String> {
    let spread: Vec<Spread> = sql_query("SELECT tab, col, beside FROM spread")
        .load(conn)
        .expect("what was noted");
    let spread: BTreeMap<&str, &Spread> =
        spread.iter().map(|one| (one.tab.as_str(), one)).collect();
    let tables: Vec<Name> = sql_query(
        "SELECT relname AS name FROM pg_class WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace \
         AND relname NOT IN ('spread', '__diesel_schema_migrations')",
    )
    .load(conn)
    .expect("the catalogue");
    let tables: BTreeSet<&str> = tables.iter().map(|one| one.name.as_str()).collect();
    let placed: BTreeSet<&str> = spread.keys().copied().collect();
    assert_eq!(tables, placed, "the guide places every table, and no other");

    let mut refused = BTreeSet::new();
    for unique in uniques(conn) {
        let col = spread
            .get(unique.tab.as_str())
            .and_then(|one| one.col.as_deref());
        if col.is_some_and(|col| !has(&unique.columns, col)) {
            refused.insert(format!("{} ({})", unique.name, unique.columns));
        }
    }
    // Tables that lie together are those of one group.
    let group = |one: &Spread| match one.beside.as_deref() {
        Some("none") | None => one.tab.clone(),
        Some(other) => other.to_owned(),
    };
    for reference in references(conn) {
        let from = spread[reference.from_tab.as_str()];
        let to = spread[reference.to_tab.as_str()];
        let fits = match (&from.col, &to.col) {
            (_, None) => true,
            (None, Some(_)) => false,
            (Some(a), Some(b)) => {
                group(from) == group(to)
                    && has(&reference.from_columns, a)
                    && has(&reference.to_columns, b)
            }
        };
        if !fits {
            refused.insert(reference.name);
        }
    }
    refused
}

#[test]
fn what_grows_has_the_horse_first_in_its_key() {
    let (mut conn, _own) = tables();
    let all = uniques(&mut conn);
    let mut seen = 0;
    for unique in all
        .iter()
        .filter(|one| one.main && GROWING.contains(&one.tab.as_str()))
    {
        assert!(
            unique.columns.starts_with("horse_id,"),
            "{} {}",
            unique.name,
            unique.columns
        );
        seen += 1;
    }
    assert_eq!(seen, GROWING.len());
}

#[test]
fn the_guides_statements_leave_nothing_that_an_engine_would_refuse() {
    let (mut conn, _own) = tables();
    conn.batch_execute(MODEL).expect("a model");
    for statement in statements() {
        conn.batch_execute(&statement)
            .unwrap_or_else(|why| panic!("{statement}: {why}"));
    }
    assert_eq!(refused(&mut conn), BTreeSet::new());
}

#[test]
fn without_them_it_would_refuse_what_the_guide_names() {
    let (mut conn, _own) = tables();
    conn.batch_execute(MODEL).expect("a model");
    for statement in statements().iter().filter(|one| one.starts_with("SELECT")) {
        conn.batch_execute(statement)
            .unwrap_or_else(|why| panic!("{statement}: {why}"));
    }
    let references = ["access_grant", "invitation", "transfer"];
    let mut expected: BTreeSet<String> = WITHOUT_HORSE.map(str::to_owned).into();
    expected.extend(references.map(|table| format!("{table}_horse_id_fkey")));
    assert_eq!(refused(&mut conn), expected);
    for name in &expected {
        let name = name.split(' ').next().expect("a name");
        assert!(GUIDE.contains(name), "{name}");
    }
}
