//! Many made-up stories of several devices, a server and a bad line, each grown from a seed: the real client, its
//! database, and a server that `agreement` holds to the real one. What must stay true is looked at after every step.
//!
//! `WHORL_SEEDS=100000` makes a long run of it, from `WHORL_FIRST_SEED` on; a story that fails is told whole, with its seed, and
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
const SEEDS: u64 = 200;
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

/// Plays stories with a broken server or client until one goes wrong that goes well with a sound one.
fn is_noticed(fault: Fault) {
    let noticed = (1..=ENOUGH).find_map(|seed| {
        let why = tell(seed, Some(fault)).err()?;
        // It is the fault that was noticed, and nothing else.
        tell(seed, None).ok().map(|_| (seed, why))
    });
    let (seeds, why) = noticed.unwrap_or_else(|| panic!("{fault:?} goes unnoticed"));
    println!("{fault:?}: noticed in story {seeds}: {why}");
}

/// A test for each way to get it wrong.
macro_rules! noticed {
    ($($test:ident: $fault:ident,)*) => {
        mod is_noticed_if {
            $(#[test]
            fn $test() {
                super::is_noticed(crate::fault::Fault::$fault);
            })*
        }
    };
}

noticed! {
    answers_before_it_commits: AnswersBeforeItCommits,
    knows_no_repetition: KnowsNoRepetition,
    counts_before_it_looks: CountsBeforeItLooks,
    takes_any_body_for_a_known_id: TakesAnyBodyForAKnownId,
    looks_at_grants_outside_the_lock: LooksAtGrantsOutsideTheLock,
    acknowledges_what_it_holds: AcknowledgesWhatItHolds,
    hides_that_it_was_restored: HidesThatItWasRestored,
    orders_by_time: OrdersByTime,
    skips_at_the_page_break: SkipsAtThePageBreak,
    shows_what_is_not_theirs: ShowsWhatIsNotTheirs,
    drops_unknown_fields: DropsUnknownFields,
    reads_from_a_lagging_copy: ReadsFromALaggingCopy,
    drops_what_is_refused: DropsWhatIsRefused,
    drops_what_was_sent: DropsWhatWasSent,
    overlooks_the_epoch: OverlooksTheEpoch,
    drops_what_waits_with_the_horse: DropsWhatWaitsWithTheHorse,
    believes_what_it_is_sent: BelievesWhatItIsSent,
    keeps_what_went_out_of_sight: KeepsWhatWentOutOfSight,
}
