//! I1: the power goes under load, and of what was not flushed to the disk any part is gone.

use whorl_tests::process::{Place, random_below, rounds};

use crate::disk::Disk;
use crate::load::Load;

/// The power goes after fewer acknowledged events than this.
const EVENTS: u64 = 150;

#[test]
fn a_power_cut_under_load_loses_nothing_that_was_acknowledged() {
    let mut place = Place::sqlite();
    let mut disk = Disk::under(&mut place);
    let mut server = place.start();
    let mut load = Load::open(&place);
    let rounds = rounds("WHORL_ROUNDS", 8);
    for round in 1..=rounds {
        load.stay_signed_in();
        let dying = server;
        load.push_until(random_below(EVENTS), || dying.kill());
        disk.lose_power(true);
        server = place.start();
        load.check();
        if round % 100 == 0 {
            println!("{round} power cuts, {} acknowledged", load.acknowledged());
        }
    }
    load.check_all(&place);
    println!(
        "power cut {rounds} times on SQLite: {} events acknowledged, 0 lost",
        load.acknowledged()
    );
    assert!(server.stop());
}

/// The same where the disk lies about its flushes: then events must get lost, or the test above shows nothing.
#[test]
fn a_disk_that_lies_is_noticed() {
    let mut place = Place::sqlite();
    let mut disk = Disk::under(&mut place);
    let server = place.start();
    let mut load = Load::open(&place);
    load.push_until(20, || ());
    load.settle();
    assert!(server.stop());
    disk.settle();
    let before = load.acknowledged();

    place.set("LOSSY_SWALLOW", "1");
    let server = place.start();
    load.push_until(60, || server.kill());
    disk.lose_power(false);
    let since = load.acknowledged() - before;

    let _server = place.start();
    let lost = load.lost();
    assert!(lost > 0 && lost <= since, "{lost} of {since}");
    println!("a disk that swallows flushes: {lost} of {since} acknowledged events lost");
}
