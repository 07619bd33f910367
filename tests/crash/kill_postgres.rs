//! I1 on PostgreSQL: all of its processes are killed at once under load, and it starts again.

use whorl_tests::cluster::Cluster;
use whorl_tests::process::{Place, random_below, rounds};

use crate::load::Load;

/// It flushes what it commits.
const DURABLE: [&str; 2] = ["fsync=on", "synchronous_commit=on"];

#[test]
fn postgresql_killed_under_load_loses_nothing_and_the_server_goes_on() {
    let cluster = Cluster::start(&DURABLE);
    let place = Place::on(cluster.url());
    let mut server = place.start();
    let mut load = Load::open(&place);
    let rounds = rounds("WHORL_ROUNDS", 3);
    let mut cut_short = 0;
    for round in 1..=rounds {
        load.stay_signed_in();
        load.push_until(20 + random_below(300), || cluster.kill());
        cut_short += load.waiting();
        for (status, title) in load.turned_away() {
            assert_eq!(status, 503, "{title}");
        }
        cluster.go_on(&DURABLE);
        // The server was there all the time.
        assert!(server.runs(), "{}", place.log());
        load.settle();
        load.check();
        if round % 10 == 0 {
            println!("{round} kills, {} acknowledged", load.acknowledged());
        }
    }
    load.check_all(&place);
    assert!(cut_short > 0, "no push was cut short by a kill");
    println!(
        "PostgreSQL killed {rounds} times: {} events acknowledged, 0 lost, 0 doubled; {cut_short} pushed events were \
         cut short and sent again",
        load.acknowledged()
    );
    assert!(server.stop());
}
