//! What a server of this process asks of its SQLite file, for tests that judge how SQLite goes about it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use diesel::connection::{
    Connection, Instrumentation, InstrumentationEvent, set_default_instrumentation,
};
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;

static LISTENING: AtomicBool = AtomicBool::new(false);

/// The statements that were asked of each database, each once, without its values.
static HEARD: Mutex<BTreeMap<String, BTreeSet<String>>> = Mutex::new(BTreeMap::new());

/// A statement, and how SQLite goes about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// The statement, with `?` for each value.
    pub statement: String,
    /// What SQLite does for it, step by step.
    pub steps: Vec<String>,
}

#[derive(QueryableByName)]
struct Step {
    #[diesel(sql_type = diesel::sql_types::Text)]
    detail: String,
}

/// Listens to every connection that this process opens from now on, until somebody asks for [`plans`].
///
/// # Panics
///
/// If the library won't have it.
pub fn listen() {
    LISTENING.store(true, Ordering::Relaxed);
    set_default_instrumentation(listener).expect("nobody panicked over it");
}

/// How SQLite goes about what was asked of the database at this address since [`listen`].
///
/// # Panics
///
/// If the database can't explain a statement.
#[must_use]
pub fn plans(url: &str) -> Vec<Plan> {
    LISTENING.store(false, Ordering::Relaxed);
    let file = url.strip_prefix("sqlite://").expect("a SQLite file");
    #[expect(
        clippy::disallowed_methods,
        reason = "beside the store, which explains nothing"
    )]
    let mut connection = SqliteConnection::establish(file).expect("the database");
    let heard = heard().remove(file).unwrap_or_default();
    // The rest are settings, the schema and the bounds of transactions.
    let asked = heard.into_iter().filter(|statement| {
        let verbs = ["SELECT ", "INSERT ", "UPDATE ", "DELETE "];
        verbs.iter().any(|verb| statement.starts_with(verb))
    });
    let explain = |statement: String| {
        let steps: Vec<Step> = diesel::sql_query(format!("EXPLAIN QUERY PLAN {statement}"))
            .load(&mut connection)
            .unwrap_or_else(|error| panic!("{statement}: {error}"));
        let steps = steps.into_iter().map(|step| step.detail).collect();
        Plan { statement, steps }
    };
    asked.map(explain).collect()
}

fn listener() -> Option<Box<dyn Instrumentation>> {
    if !LISTENING.load(Ordering::Relaxed) {
        return None;
    }
    let mut database = String::new();
    Some(Box::new(
        move |event: InstrumentationEvent<'_>| match event {
            InstrumentationEvent::StartEstablishConnection { url, .. } => {
                url.clone_into(&mut database);
            }
            InstrumentationEvent::StartQuery { query, .. } if LISTENING.load(Ordering::Relaxed) => {
                let text = query.to_string();
                let statement = text.split(" -- binds:").next().unwrap_or_default();
                heard()
                    .entry(database.clone())
                    .or_default()
                    .insert(statement.trim_end().to_owned());
            }
            _ => {}
        },
    ))
}

fn heard() -> MutexGuard<'static, BTreeMap<String, BTreeSet<String>>> {
    HEARD.lock().unwrap_or_else(PoisonError::into_inner)
}
