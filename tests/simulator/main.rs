//! Many made-up stories of several devices, a server and a bad line, each grown from a seed: the real client, its
//! database, and a server that `agreement` holds to the real one. What must stay true is looked at after every step.
//!
//! `WHORL_SEEDS=100000` makes a long run of it, from `WHORL_FIRST_SEED` on; a story that fails is told with its seed, and
//! `WHORL_FIRST_SEED=… WHORL_SEEDS=1` plays that one again.

mod agreement;
mod cast;
mod client;
mod fault;
mod line;
mod random;
mod server;
mod world;

use std::panic::{AssertUnwindSafe, catch_unwind};

use fault::Fault;
use world::{Tally, play};

use whorl_tests::process::rounds;

/// Stories of the suite.
const SEEDS: u64 = 400;
/// A broken variant must be noticed within so many stories.
const ENOUGH: u64 = 400;

/// A story; what goes wrong in the client itself is wrong, too.
fn tell(seed: u64, fault: Option<Fault>) -> Result<Tally, String> {
    catch_unwind(AssertUnwindSafe(|| play(seed, fault))).unwrap_or_else(|why| {
        let text = why.downcast_ref::<String>().cloned();
        let text = text.or_else(|| why.downcast_ref::<&str>().map(ToString::to_string));
        Err(format!("it panicked: {}", text.unwrap_or_default()))
    })
}

#[test]
fn every_story_keeps_every_promise() {
    let first = rounds("WHORL_FIRST_SEED", 1);
    let seeds = rounds("WHORL_SEEDS", SEEDS);
    let mut all = Tally::default();
    for seed in first..first + seeds {
        match tell(seed, None) {
            Ok(tally) => all.add(tally),
            Err(why) => panic!("seed {seed}: {why}"),
        }
        if (seed - first + 1).is_multiple_of(1000) {
            println!("{} stories: {all:?}", seed - first + 1);
        }
    }
    println!("{seeds} stories from seed {first}, none broken: {all:?}");
    // They are about something.
    if seeds >= SEEDS {
        assert!(all.recorded > 1000 && all.syncs > 1000, "{all:?}");
        assert!(
            all.kills > 100 && all.broken_lines > 100 && all.restores > 100,
            "{all:?}"
        );
    }
}

#[test]
fn every_broken_variant_is_noticed() {
    for fault in Fault::ALL {
        let noticed = (1..=ENOUGH).find_map(|seed| {
            let why = tell(seed, Some(fault)).err()?;
            // It is the fault that was noticed, and nothing else.
            tell(seed, None).ok().map(|_| (seed, why))
        });
        let (seeds, why) = noticed.unwrap_or_else(|| panic!("{fault:?} goes unnoticed"));
        println!("{fault:?}: seed {seeds}: {why}");
    }
}
