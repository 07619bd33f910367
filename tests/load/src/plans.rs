//! How the database goes about the statements that every request waits for.

use std::fmt::Write as _;
use std::path::Path;

use rusqlite::Connection;

use crate::Outcome;
use crate::limits::psql;

/// The statements, with literals in place of their parameters: `HORSE`, `EVENT`, `BARN`, `OWNER`.
const HOT: &[(&str, &str)] = &[
    ("push: the lock of a horse's log", "SELECT * FROM horse WHERE id IN (HORSE) ORDER BY id"),
    ("push: is it known", "SELECT * FROM event WHERE id IN (EVENT)"),
    ("push: what shapes the judgement", "SELECT * FROM event WHERE horse_id = HORSE AND shapes ORDER BY seq"),
    (
        "push: the grants",
        "SELECT * FROM access_grant WHERE account_id = OWNER AND (horse_id = HORSE OR barn_id = BARN)",
    ),
    ("pull: a run of a log", "SELECT * FROM event WHERE horse_id = HORSE AND seq > 0 AND seq <= 500 ORDER BY seq LIMIT 500"),
    (
        "history: a page",
        "SELECT * FROM event WHERE horse_id = HORSE AND seq + 0 <= 500 AND kind IN ('weight', 'hoof_care', 'vaccination')
         ORDER BY performed_at DESC, seq DESC LIMIT 51",
    ),
    (
        "history: what was said about its entries",
        "SELECT * FROM event WHERE horse_id = HORSE AND shapes AND target_id IS NOT NULL AND seq <= 500 ORDER BY seq",
    ),
    ("due: the horses", "SELECT * FROM horse WHERE owner_id = OWNER OR id IN (HORSE) OR barn_id IN (BARN) ORDER BY id"),
    (
        "due: their events",
        "SELECT * FROM event WHERE horse_id IN (HORSE) AND kind IN ('weight', 'hoof_care', 'vaccination') ORDER BY horse_id, seq",
    ),
    ("recall: who had a lot", "SELECT DISTINCT horse_id FROM lot WHERE lot_key = 'TV1' ORDER BY horse_id"),
];

/// Ids that are in the database, as SQL literals.
#[derive(Clone, Debug)]
pub(crate) struct Ids {
    pub(crate) horse: String,
    pub(crate) event: String,
    pub(crate) barn: String,
    pub(crate) owner: String,
}

impl Ids {
    fn fill(&self, statement: &str) -> String {
        let names = [
            ("HORSE", &self.horse),
            ("EVENT", &self.event),
            ("BARN", &self.barn),
            ("OWNER", &self.owner),
        ];
        names.iter().fold(statement.to_owned(), |text, (name, id)| {
            text.replace(name, &format!("'{id}'"))
        })
    }
}

/// The plans on SQLite.
pub(crate) fn of_sqlite(database: &Path, ids: &Ids) -> Outcome<String> {
    let connection = Connection::open(database)?;
    explain(ids, |statement| {
        let mut explain = connection.prepare(&format!("EXPLAIN QUERY PLAN {statement}"))?;
        let lines = explain.query_map([], |row| row.get::<_, String>(3))?;
        Ok(lines.collect::<Result<Vec<_>, _>>()?.join("\n"))
    })
}

/// The plans on PostgreSQL.
pub(crate) fn of_postgres(url: &str, ids: &Ids) -> Outcome<String> {
    explain(ids, |statement| {
        psql(url, &format!("EXPLAIN (COSTS OFF) {statement}"))
    })
}

fn explain(ids: &Ids, ask: impl Fn(&str) -> Outcome<String>) -> Outcome<String> {
    let mut text = String::new();
    for (name, statement) in HOT {
        let plan = ask(&ids.fill(statement))?;
        writeln!(text, "{name}")?;
        for line in plan.lines() {
            writeln!(text, "    {}", shortened(line, ids))?;
        }
    }
    Ok(text)
}

/// Without the ids, which say nothing.
fn shortened(line: &str, ids: &Ids) -> String {
    let all = [&ids.horse, &ids.event, &ids.barn, &ids.owner];
    all.iter()
        .fold(line.to_owned(), |line, id| line.replace(id.as_str(), "…"))
}
