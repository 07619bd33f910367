//! Moving a record to another database, backing it up, and bringing it back.

use diesel::connection::{Connection, SimpleConnection};
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::event::SignedEvent;
use whorl_contract::path;
use whorl_contract::server::ServerInfo;
use whorl_contract::sync::Outcome;
use whorl_http::audit::{Audit, Broken};
use whorl_http::clock::Clock;
use whorl_http::upkeep::{self, NotKept};

use whorl_tests::ledger::{accepted, heads, pull_all, push_one};
use whorl_tests::pen::Pen;
use whorl_tests::person::Person;
use whorl_tests::{Database, TestServer, on_both};

use whorl_tests::yard::Yard;

const OTHERS: [Database; 2] = [Database::Sqlite, Database::Postgres];

/// A yard with a horse, six entries of three people, a photo, and a grant that was revoked.
struct Kept {
    yard: Yard,
    horse: HorseId,
    farrier: Person,
    entries: Vec<SignedEvent>,
}

impl Kept {
    fn open(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let (farrier, hand) = (
            server.device_account("Idris Fenn"),
            server.device_account("Tam Brisling"),
        );
        let _ = yard.admit(&farrier, horse, Role::Farrier);
        let grant = yard.admit(&hand, horse, Role::BarnStaff);
        let mut entries = Vec::new();
        for kg in [480.5, 482.0, 483.25] {
            entries.push(Pen::of(&hand, Role::BarnStaff).weight(horse, kg).sign());
        }
        for event in &entries {
            let _ = accepted(&hand, event);
        }
        server
            .clock
            .advance(chrono::TimeDelta::microseconds(1_250_001));
        yard.revoke(&grant);
        for note in ["Žluť, ½ × “quoted”\u{7}", "[1, \"two\", null]", ""] {
            let event = yard.pen().draft(horse, Kind::Observation).note(note).sign();
            let _ = accepted(&yard.owner, &event);
            entries.push(event);
        }
        let photo = yard
            .owner
            .request(reqwest::Method::POST, &path::attachments(horse));
        let photo = photo
            .header("content-type", "image/jpeg")
            .body(b"\xff\xd8\xff\xe0 a hoof".to_vec());
        assert_eq!(yard.owner.send(photo).status, 201);
        Self {
            yard,
            horse,
            farrier,
            entries,
        }
    }

    /// Holds what a server has now to what it had.
    fn is_all_there(&self, before: &Copy) {
        assert_eq!(&self.copy(), before);
        // Who was let in is, and who was shown out isn't.
        assert_eq!(heads(&self.farrier).len(), 1);
        let known = push_one(&self.yard.owner, &self.entries[4]);
        assert_eq!(known, Outcome::Known { seq: 5 });
    }

    fn copy(&self) -> Copy {
        let all = pull_all(&self.yard.owner, self.horse, 100);
        Copy {
            heads: heads(&self.yard.owner).into_iter().collect(),
            events: all
                .events
                .iter()
                .map(|event| serde_json::to_string(event).expect("JSON"))
                .collect(),
            grants: self.yard.owner.get(path::GRANTS).text(),
        }
    }
}

/// What somebody sees of a record.
#[derive(Debug, PartialEq)]
struct Copy {
    heads: Vec<(HorseId, (i64, whorl_contract::key::Hash))>,
    events: Vec<String>,
    grants: String,
}

fn epoch(person: &Person) -> uuid::Uuid {
    person.get(path::SERVER).read::<ServerInfo>().epoch
}

fn one_horse(events: u64) -> Audit {
    Audit {
        horses: 1,
        events,
        erased: 0,
        files: 1,
    }
}

on_both!(a_record_moves_to_another_database_and_goes_on, |server| {
    let kept = Kept::open(server);
    let before = kept.copy();
    let epoch_before = epoch(&kept.yard.owner);
    for other in OTHERS {
        let moved = server.go_on_with(other, |to| {
            let done = upkeep::move_record(server.database_url(), to, &mut |_| {});
            assert_eq!(done.expect("a move"), one_horse(6));
        });
        kept.is_all_there(&before);
        assert_eq!(epoch(&kept.yard.owner), epoch_before);
        let next = kept.yard.pen().weight(kept.horse, 485.0).sign();
        assert_eq!(accepted(&kept.yard.owner, &next), 7);
        moved.stop();
    }
});

on_both!(
    a_backup_comes_back_and_devices_send_what_came_after_it,
    |server| {
        let kept = Kept::open(server);
        let before = kept.copy();
        let epoch_before = epoch(&kept.yard.owner);
        let file = server.folder().join("backup.db");
        // The server goes on meanwhile.
        let done = upkeep::back_up(server.database_url(), &file, &mut |_| {}).expect("a backup");
        assert_eq!(done, one_horse(6));
        let again = upkeep::back_up(server.database_url(), &file, &mut |_| {});
        assert!(matches!(again, Err(NotKept::InTheWay(_))));
        let after = kept.yard.pen().weight(kept.horse, 485.0).sign();
        assert_eq!(accepted(&kept.yard.owner, &after), 7);
        let whole = kept.copy();
        for other in OTHERS {
            let back = server.go_on_with(other, |to| {
                let done = upkeep::restore(&file, to, &Clock::system(), &mut |_| {});
                assert_eq!(done.expect("a restore"), one_horse(6));
            });
            kept.is_all_there(&before);
            assert_ne!(epoch(&kept.yard.owner), epoch_before);
            // The device pushes once more what the server lost, and all is as it was.
            assert_eq!(accepted(&kept.yard.owner, &after), 7);
            let now = kept.copy();
            assert_eq!(
                (now.heads, now.grants),
                (whole.heads.clone(), whole.grants.clone())
            );
            back.stop();
        }
        assert_eq!(
            std::fs::read_dir(server.folder())
                .expect("a folder")
                .filter(|one| one
                    .as_ref()
                    .is_ok_and(|one| one.file_name().to_string_lossy().starts_with("backup")))
                .count(),
            1
        );
    }
);

/// Changes a backup behind everybody's back.
fn tamper(file: &std::path::Path, statement: &str) {
    #[expect(
        clippy::disallowed_methods,
        reason = "beside the store, as a thief or a failing disk would"
    )]
    let mut db = SqliteConnection::establish(file.to_str().expect("UTF-8")).expect("a file");
    db.batch_execute(statement).expect("a statement");
}

on_both!(what_was_changed_in_the_database_is_found, |server| {
    let kept = Kept::open(server);
    let file = server.folder().join("backup.db");
    upkeep::back_up(server.database_url(), &file, &mut |_| {}).expect("a backup");
    for (statement, at) in [
        (
            "UPDATE event SET content = replace(content, '482', '483') WHERE seq = 2",
            2,
        ),
        (
            "UPDATE event SET envelope = replace(envelope, 'weight', 'dental') WHERE seq = 1",
            1,
        ),
        ("UPDATE event SET kind = 'dental' WHERE seq = 1", 1),
        ("UPDATE event SET signature = zeroblob(64) WHERE seq = 3", 3),
        ("UPDATE event SET head = zeroblob(32) WHERE seq = 4", 4),
        ("DELETE FROM event WHERE seq = 5", 5),
        ("DELETE FROM event WHERE seq = 6", 6),
        ("UPDATE horse SET head_seq = 5", 5),
        (
            "UPDATE device SET public_key = zeroblob(32) WHERE id = (SELECT device_id FROM event WHERE seq = 4)",
            4,
        ),
    ] {
        let copy = server.folder().join("tampered.db");
        std::fs::copy(&file, &copy).expect("a copy");
        tamper(&copy, statement);
        let found = upkeep::verify(&format!("sqlite://{}", copy.display()), &mut |_| {});
        let Err(NotKept::Broken(Broken::Event { horse, seq, .. })) = found else {
            panic!("{statement}: {found:?}");
        };
        assert_eq!((horse, seq), (kept.horse, at), "{statement}");
    }
    let copy = server.folder().join("tampered.db");
    std::fs::copy(&file, &copy).expect("a copy");
    tamper(&copy, "UPDATE attachment SET body = x'ffd8ffe1'");
    let found = upkeep::verify(&format!("sqlite://{}", copy.display()), &mut |_| {});
    assert!(
        matches!(found, Err(NotKept::Broken(Broken::File { .. }))),
        "{found:?}"
    );
});

on_both!(
    a_move_that_was_cut_short_is_finished_and_not_served_before,
    |server| {
        let kept = Kept::open(server);
        let before = kept.copy();
        let cut = server.folder().join("cut.db");
        let to = format!("sqlite://{}", cut.display());
        let steps = std::cell::Cell::new(0);
        upkeep::move_record(server.database_url(), &to, &mut |_| {
            steps.set(steps.get() + 1);
        })
        .expect("a move");
        assert!(steps.get() > 10, "nobody was told how far it is");
        let twice = upkeep::move_record(server.database_url(), &to, &mut |_| {});
        assert!(
            twice
                .expect_err("a record is there")
                .to_string()
                .contains("already")
        );
        // As a power cut leaves it: the last row is missing, others are from before a revocation.
        tamper(
            &cut,
            "DELETE FROM ledger; DELETE FROM event WHERE seq > 3; UPDATE access_grant SET revoked_at = NULL",
        );
        let opened =
            whorl_store::Store::open(&whorl_store::Settings::of_job(&to)).expect("a store");
        let begun = opened.write(|db| {
            let new = whorl_store::ledger::NewLedger {
                server_id: uuid::Uuid::nil(),
                epoch: uuid::Uuid::nil(),
                origin: "saltmarsh.example".to_owned(),
                began_at: chrono::NaiveDateTime::default(),
            };
            whorl_store::ledger::begin(db, &new)
        });
        assert!(
            begun
                .expect_err("half a record")
                .to_string()
                .contains("not finished")
        );
        opened.close();
        drop(opened);

        let moved = server.go_on_with(Database::Sqlite, |own| {
            upkeep::move_record(server.database_url(), &to, &mut |_| {}).expect("a move");
            upkeep::move_record(&to, own, &mut |_| {}).expect("a move");
        });
        kept.is_all_there(&before);
        moved.stop();
    }
);
