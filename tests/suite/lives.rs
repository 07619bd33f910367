//! A SQLite file that is put back by hand is another life of the ledger; one that goes on isn't.

use std::fs;
use std::path::{Path, PathBuf};

use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_contract::sync::Heads;
use whorl_http::upkeep;
use whorl_tests::ledger::{accepted, push_one};
use whorl_tests::yard::Yard;
use whorl_tests::{Database, TestServer};

fn epoch(server: &TestServer) -> uuid::Uuid {
    let info: ServerInfo = server.anonymous().get(path::SERVER).read();
    info.epoch
}

fn file(server: &TestServer) -> PathBuf {
    server.database_url().trim_start_matches("sqlite://").into()
}

/// As an operator does who knows of no better way.
fn put_back(server: &TestServer, copy: &Path) {
    server.stop();
    for ending in ["-wal", "-shm"] {
        let mut beside = file(server).into_os_string();
        beside.push(ending);
        let _ = fs::remove_file(beside);
    }
    fs::copy(copy, file(server)).expect("a copy");
    server.restart();
}

#[test]
fn a_file_that_goes_on_is_the_same_life_however_it_was_stopped() {
    let server = TestServer::start(Database::Sqlite);
    let yard = Yard::open(&server);
    let horse = yard.horse();
    let began = epoch(&server);
    for kg in [480.0, 481.0] {
        let _ = accepted(&yard.owner, &yard.pen().weight(horse, kg).sign());
        server.restart();
        assert_eq!(epoch(&server), began);
    }
    // As after a crash or a power cut: the witness knows less than the file.
    let witness = server.folder().join("whorl.witness");
    let before = fs::read(&witness).expect("a witness");
    for horse in [horse, yard.horse()] {
        let _ = accepted(&yard.owner, &yard.pen().weight(horse, 482.0).sign());
    }
    let heads: Heads = yard.owner.get(path::HEADS).read();
    let entries: i64 = heads.heads.iter().map(|head| head.seq).sum();
    server.stop();
    // In good order it knows all.
    let told = fs::read_to_string(&witness).expect("a witness");
    assert_eq!(
        told.split_whitespace().nth(1),
        Some(&*entries.to_string()),
        "{told}"
    );
    fs::write(&witness, before).expect("a witness");
    server.restart();
    assert_eq!(epoch(&server), began);
    // A second server on the same file is no other life either.
    let beside = server.replica();
    assert_eq!(epoch(&beside), began);
    beside.stop();
    server.restart();
    assert_eq!(epoch(&server), began);
}

#[test]
fn an_older_copy_that_is_put_back_is_a_new_life() {
    let server = TestServer::start(Database::Sqlite);
    let yard = Yard::open(&server);
    let horse = yard.horse();
    let _ = accepted(&yard.owner, &yard.pen().weight(horse, 480.0).sign());
    let began = epoch(&server);
    let (stopped, backup) = (
        server.folder().join("stopped.db"),
        server.folder().join("backup.db"),
    );
    server.stop();
    fs::copy(file(&server), &stopped).expect("a copy");
    server.restart();
    assert_eq!(epoch(&server), began);
    upkeep::back_up(server.database_url(), &backup, &mut |_| {}).expect("a backup");
    let lost = yard.pen().weight(horse, 481.0).sign();
    assert_eq!(accepted(&yard.owner, &lost), 2);

    let mut seen = vec![began];
    for copy in [&stopped, &backup] {
        put_back(&server, copy);
        let now = epoch(&server);
        assert!(!seen.contains(&now));
        seen.push(now);
        // Said once, not at every start; and what was lost comes back to its place.
        assert_eq!(accepted(&yard.owner, &lost), 2);
        server.restart();
        assert_eq!(epoch(&server), now);
    }
    // As far in entries as before, and yet older.
    server.stop();
    fs::copy(file(&server), &stopped).expect("a copy");
    server.restart();
    put_back(&server, &stopped);
    assert!(!seen.contains(&epoch(&server)));
    assert!(matches!(
        push_one(&yard.owner, &lost),
        whorl_contract::sync::Outcome::Known { seq: 2 }
    ));

    // On a machine that knows nothing of it, nobody can say how old it is.
    let now = epoch(&server);
    server.stop();
    fs::remove_file(server.folder().join("whorl.witness")).expect("a witness");
    server.restart();
    assert_ne!(epoch(&server), now);
}
