//! Who is given a connection at once, and what becomes of those to PostgreSQL that are cut while nobody uses them.

use diesel::connection::SimpleConnection;
use whorl_store::{Settings, Store, StoreError};
use whorl_tests::{Database, Own};

/// A store with one connection, which goes by a name of its own.
fn store(own: &Own, name: &str) -> Store {
    let url = format!("{}&application_name={name}", own.url());
    Store::open(&Settings::of_job(&url)).expect("a store")
}

/// Cuts the connections that go by a name, of which there must be some: PostgreSQL divides by their number.
fn cut(by: &Store, name: &str) {
    let statement = format!(
        "SELECT 1 / count(pg_terminate_backend(pid, 5000)) FROM pg_stat_activity WHERE application_name = '{name}'"
    );
    by.read(|db| Ok::<_, StoreError>(db.batch_execute(&statement)?))
        .expect("cut");
}

#[test]
fn a_connection_that_is_cut_fails_once_at_most_though_it_was_in_use_just_now() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = Own::make(Database::Postgres, folder.path());
    let name = format!("cut_{}", uuid::Uuid::now_v7().simple());
    let (ours, other) = (store(&own, &name), store(&own, "cuts"));
    let write = || ours.write(|_| Ok::<_, StoreError>(()));
    for _ in 0..3 {
        ours.ping().expect("an answer");
        cut(&other, &name);
        // It may fail; on a slow machine it was asked before it was used.
        let _ = ours.ping();
        ours.ping().expect("an answer");
        cut(&other, &name);
        let _ = write();
        write().expect("written");
    }
}

#[test]
fn a_connection_is_at_hand_while_nobody_uses_it_and_where_asking_takes_no_trip() {
    for (database, at_hand) in [(Database::Sqlite, true), (Database::Postgres, false)] {
        let folder = tempfile::tempdir().expect("a folder");
        let own = Own::make(database, folder.path());
        let store = Store::open(&Settings::of_job(own.url())).expect("a store");
        store.ping().expect("an answer");
        // The one that there is.
        let while_used = store.read(|_| Ok::<_, StoreError>(store.at_hand().is_some()));
        assert!(!while_used.expect("an answer"), "{database:?}");
        // It goes back each time.
        for _ in 0..2 {
            assert_eq!(store.at_hand().is_some(), at_hand, "{database:?}");
        }
    }
}
