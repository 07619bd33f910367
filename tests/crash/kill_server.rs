//! I1, I2, I3: the server is killed at any moment under load, and starts again.

use std::time::Duration;

use whorl_tests::process::{Place, random_below, rounds};

use crate::load::Load;

/// A server is killed after it acknowledged fewer events than this since its start.
const EVENTS: u64 = 150;

#[test]
fn a_server_that_is_killed_under_load_loses_and_doubles_nothing() {
    let place = Place::sqlite();
    let mut server = place.start();
    let mut load = Load::open(&place);
    let rounds = rounds("WHORL_ROUNDS", 25);
    let mut cut_short = 0;
    for round in 1..=rounds {
        load.stay_signed_in();
        let dying = server;
        load.push_until(random_below(EVENTS), || {
            std::thread::sleep(Duration::from_micros(random_below(5_000)));
            dying.kill();
        });
        cut_short += load.waiting();
        if random_below(5) == 0 {
            // Killed while it recovers, too.
            let starting = place.launch();
            std::thread::sleep(Duration::from_millis(random_below(60)));
            starting.kill();
        }
        server = place.start();
        load.check();
        if round % 100 == 0 {
            println!("{round} kills, {} acknowledged", load.acknowledged());
        }
    }
    load.check_all(&place);
    assert!(cut_short > 0, "no push was cut short by a kill");
    println!(
        "server killed {rounds} times on SQLite: {} events acknowledged, 0 lost, 0 doubled; {cut_short} pushed events \
         were cut short and sent again",
        load.acknowledged()
    );
    assert!(server.stop());
}
