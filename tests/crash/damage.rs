//! A page of the database that was changed on the disk: it is found and named, no device takes it over, and the record
//! comes back from a backup and from the devices.

use std::fs;

use whorl_http::upkeep::{self, NotKept};
use whorl_tests::process::{Place, random_below};

use crate::load::Load;
use crate::phone::Phone;
use crate::witness::Witness;

/// Bytes that are changed anywhere, each in a copy of its own.
const CHANGES: usize = 40;

/// What was recorded before the backup, and after it.
const EACH: usize = 3;

fn verified(place: &Place) -> Result<u64, NotKept> {
    upkeep::verify(place.database(), &mut |_| {}).map(|done| done.events)
}

#[test]
fn a_changed_byte_is_found_named_and_mended_from_a_backup() {
    let mut place = Place::sqlite();
    let server = place.start();
    let mut load = Load::open(&place);
    load.push_until(100, || ());
    load.settle();
    let folder = tempfile::tempdir().expect("a folder");
    let mut phone = Phone::join(folder.path(), &place, &load);
    let horse = load.horses[0];
    (0..EACH).for_each(|_| phone.record(horse, false));
    assert!(phone.run(&["sync"]).status.success());
    let backup = place.folder().join("backup.db");
    let kept = place.command("backup").arg("--to").arg(&backup).output();
    assert!(kept.expect("a process").status.success());
    (0..EACH).for_each(|_| phone.record(horse, false));
    assert!(phone.run(&["sync"]).status.success());
    let mut witness = Witness::default();
    witness.look(&load.caller);
    let last = phone.recorded.iter().filter_map(|id| witness.place(*id));
    let (_, last) = last.max_by_key(|(_, seq)| *seq).expect("an entry");
    assert!(server.stop());
    let good = fs::read(place.file()).expect("a file");

    // Anywhere: what is changed is found, unless nothing uses that byte; then all that counts is as it was.
    let whole = verified(&place).expect("a sound record");
    let mut found = 0;
    for _ in 0..CHANGES {
        let mut bad = good.clone();
        let at = usize::try_from(random_below(bad.len() as u64)).expect("a place");
        bad[at] ^= 1 << random_below(8);
        fs::write(place.file(), &bad).expect("written");
        match verified(&place) {
            Ok(events) => assert_eq!(events, whole),
            Err(_) => found += 1,
        }
        for ending in ["-wal", "-shm"] {
            let _ = fs::remove_file(format!("{}{ending}", place.file().display()));
        }
    }
    assert!(found > 0, "{CHANGES} changes, and none was found");
    println!("{found} of {CHANGES} changed bytes were in use, and found");

    // In what somebody recorded: the words say where.
    let mut bad = good.clone();
    let weight = b"{\"method\":\"scale\",\"weight_kg\":500}";
    let places: Vec<usize> = (0..bad.len() - weight.len())
        .filter(|at| bad[*at..].starts_with(weight))
        .collect();
    assert!(!places.is_empty(), "no weight of the phone's");
    for at in places {
        bad[at + weight.len() - 4] = b'9';
    }
    fs::write(place.file(), &bad).expect("written");
    let said = place.verify().expect_err("a changed entry");
    assert!(said.contains(&format!("of horse {horse}")), "{said}");
    assert!(said.contains("entry "), "{said}");

    // A device that asks for it doesn't take it over.
    let server = place.start();
    let other = tempfile::tempdir().expect("a folder");
    let home = other.path().join("home");
    let joined = crate::phone::whorl(&home)
        .env("WHORL_PASSWORD", &load.yard.owner.password)
        .args(["join", &place.url(), "--email", &load.yard.owner.email])
        .output()
        .expect("a process");
    assert_eq!(joined.status.code(), Some(5), "{joined:?}");
    assert!(server.stop());

    // Back from the backup, and what came after it from the device that recorded it.
    let new = format!("sqlite://{}/restored.db", place.folder().display());
    place.serve_another(new);
    let back = place.command("restore").arg("--from").arg(&backup).output();
    let back = back.expect("a process");
    assert!(back.status.success(), "{back:?}");
    let server = place.start();
    assert!(phone.run(&["sync"]).status.success());
    assert!(phone.run(&["sync"]).status.success());
    let mut anew = Witness::default();
    anew.look(&load.caller);
    for id in &phone.recorded {
        let at = anew.place(*id).expect("given back");
        assert_eq!(Some(at), witness.place(*id));
    }
    assert_eq!(anew.head(horse, last), witness.head(horse, last));
    assert!(server.stop());
    assert!(place.verify().is_ok());
}
