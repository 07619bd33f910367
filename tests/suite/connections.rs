//! What becomes of connections to PostgreSQL that are cut while nobody uses them.

use diesel::connection::SimpleConnection;
use whorl_store::{Settings, Store, StoreError};
use whorl_tests::{Database, Own};

/// A store with one connection, which goes by a name of its own.
fn store(own: &Own, name: &str) -> Store {
    let url = format!("{}&application_name={name}", own.url());
    Store::open(&Settings::of_job(&url)).expect("a store")
}

fn cut(by: &Store, name: &str) {
    let statement = format!(
        "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE application_name = '{name}'"
    );
    by.read(|db| Ok::<_, StoreError>(db.batch_execute(&statement)?))
        .expect("cut");
}

#[test]
fn a_connection_that_is_cut_fails_once_at_most_though_it_was_in_use_just_now() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = Own::make(Database::Postgres, folder.path());
    // As long as an identifier may be, and of this test alone.
    let name = format!("cut_{}", uuid::Uuid::now_v7().simple());
    let (ours, other) = (store(&own, &name), store(&own, "cuts"));
    for _ in 0..3 {
        ours.ping().expect("an answer");
        cut(&other, &name);
        assert!(ours.ping().is_err(), "it was not cut");
        ours.ping().expect("an answer");
    }
    // Nor does a write that failed leave one that nobody asks.
    ours.write(|_| Ok::<_, StoreError>(())).expect("written");
    cut(&other, &name);
    assert!(ours.write(|_| Ok::<_, StoreError>(())).is_err());
    ours.write(|_| Ok::<_, StoreError>(())).expect("written");
}
