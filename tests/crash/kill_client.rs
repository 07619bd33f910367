//! I11, I12: the client is killed at any moment while it records, pushes and pulls.

use whorl_cli::outbox;
use whorl_tests::process::{Place, random_below, rounds};

use crate::load::Load;
use crate::phone::Phone;
use crate::witness::Witness;

#[test]
fn a_client_that_is_killed_while_it_records_pushes_and_pulls_loses_and_doubles_nothing() {
    let place = Place::sqlite();
    let _server = place.start();
    let mut load = Load::open(&place);
    let folder = tempfile::tempdir().expect("a folder");
    let mut phone = Phone::join(folder.path(), &place, &load);
    let mut witness = Witness::default();
    let rounds = rounds("WHORL_ROUNDS", 40);
    let mut ended = 0;
    for round in 1..=rounds {
        load.stay_signed_in();
        if random_below(4) == 0 {
            // Others have been at work: there is something to pull.
            load.push_until(40, || ());
        }
        if random_below(3) == 0 {
            phone.let_the_token_end();
        }
        let horse = load.horses[usize::try_from(random_below(6)).expect("a few")];
        match random_below(10) {
            0..5 => phone.record(horse, true),
            5..7 => ended += usize::from(phone.cut_short(&["push"]).status.success()),
            _ => ended += usize::from(phone.cut_short(&["sync"]).status.success()),
        }
        witness.look(&load.caller);
        phone.check(&witness);
        if round % 100 == 0 {
            println!("{round} kills, {} recorded", phone.recorded.len());
        }
    }
    // The second run finds what the first was answered.
    for _ in 0..2 {
        let done = phone.run(&["sync"]);
        assert!(done.status.success(), "{done:?}");
    }
    witness.look(&load.caller);
    phone.check(&witness);
    assert!(outbox::all(&mut phone.open()).expect("read").is_empty());
    for id in &phone.recorded {
        assert!(
            witness.place(*id).is_some(),
            "{id} was recorded and is lost"
        );
    }
    // Killed before it said so, it may have recorded; more often than it was asked to, it may not.
    let there = witness.signed_by(phone.device);
    assert!(phone.recorded.len() <= there && there <= phone.tries);
    assert!(!phone.recorded.is_empty());
    println!(
        "client killed {rounds} times: {} events said to be recorded, {there} in the log, 0 lost, 0 doubled; {ended} \
         pushes and syncs came to their end",
        phone.recorded.len()
    );
}
