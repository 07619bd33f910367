//! A disk that fills up, and one that fails to flush: nothing is acknowledged that isn't kept, the answer says what is
//! wrong, and the server goes on when the disk does.

use std::fs::{self, File};

use whorl_tests::process::Place;

use crate::disk::Disk;
use crate::load::Load;

/// So often the disk fails in each way.
const ROUNDS: usize = 3;

fn fails_and_goes_on(what: &str) {
    let mut place = Place::sqlite();
    let mut disk = Disk::under(&mut place);
    let mut server = place.start();
    let mut load = Load::open(&place);
    let switch = place.folder().join(format!("fail-{what}"));
    for _ in 0..ROUNDS {
        load.push_until(40, || ());
        File::create(&switch).expect("a file");
        load.push_until_turned_away(10);
        let answers = load.turned_away();
        assert!(!answers.is_empty(), "nothing failed");
        for (status, words) in answers {
            assert_eq!(status, 503, "{words}");
        }
        // Reading needs nothing of the disk.
        load.check();
        assert!(server.runs(), "{}", place.log());
        fs::remove_file(&switch).expect("removed");
        let before = load.acknowledged();
        load.push_until(40, || ());
        assert!(
            load.acknowledged() > before,
            "it didn't go on: {}",
            place.log()
        );
        load.check();
        // What the failed flush left unflushed is gone with the power.
        server.kill();
        disk.lose_power(true);
        server = place.start();
        load.check();
    }
    load.check_all(&place);
    assert!(server.stop());
}

#[test]
fn a_full_disk_takes_nothing_loses_nothing_and_goes_on_when_there_is_room() {
    fails_and_goes_on("write");
}

#[test]
fn a_flush_that_fails_is_no_acknowledgement() {
    fails_and_goes_on("sync");
}
