//! How much goes over the line at once: large where it is good, small where it breaks.

use chrono::TimeDelta;

use crate::failure::Failure;
use crate::remote;
use crate::world::Machine;

/// Entries of the smallest portion: with less, more goes into asking than into what comes.
const SMALLEST: u32 = 5;
/// On a line that broke before, a portion that came through makes the next one larger by so many entries only.
const STEP: u32 = 10;
/// A portion that takes longer than this is too large for the line; one that is faster by far may grow.
const SLOW: TimeDelta = TimeDelta::seconds(10);
const FAST: TimeDelta = TimeDelta::seconds(2);
/// A line that broke so often in a row is dead.
const TRIES: u32 = 5;

/// The size of the next portion. It doubles until the line breaks for the first time; each break halves it, and then
/// it grows by small steps. So what a break costs is bounded by what the line carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Portion {
    entries: u32,
    largest: u32,
    broke_before: bool,
    in_a_row: u32,
}

impl Portion {
    /// Begins with `first` entries; there will never be more than `largest`.
    #[must_use]
    pub fn new(first: u32, largest: u32) -> Self {
        Self {
            entries: first,
            largest,
            broke_before: false,
            in_a_row: 0,
        }
    }

    /// How many entries the next portion has.
    #[must_use]
    pub fn entries(&self) -> u32 {
        self.entries
    }

    /// A portion came through in this time.
    pub fn came_through(&mut self, took: TimeDelta) {
        self.in_a_row = 0;
        if took > SLOW {
            self.entries = (self.entries / 2).max(SMALLEST);
        } else if took < FAST {
            let more = if self.broke_before {
                STEP
            } else {
                self.entries
            };
            self.entries = self.entries.saturating_add(more).min(self.largest);
        }
    }

    /// The line broke. Pauses, and lets the next portion be half as large.
    ///
    /// # Errors
    ///
    /// `failure`, if going on is of no use.
    pub fn broke(&mut self, failure: Failure, machine: Machine<'_>) -> Result<(), Failure> {
        self.in_a_row += 1;
        if self.in_a_row == TRIES || !matches!(failure, Failure::Offline(_)) {
            return Err(failure);
        }
        self.broke_before = true;
        self.entries = (self.entries / 2).max(SMALLEST);
        (machine.sleep)(remote::pause(machine, self.in_a_row)?);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn breaks(portion: &mut Portion) -> bool {
        let machine = Machine {
            clock: &|| chrono::DateTime::UNIX_EPOCH.fixed_offset(),
            random: &|bytes| {
                bytes.fill(0);
                Ok(())
            },
            sleep: &|_| (),
        };
        portion
            .broke(Failure::Offline("cut".to_owned()), machine)
            .is_ok()
    }

    #[test]
    fn a_line_that_carries_so_much_settles_there() {
        // What the line carries before it is cut, in entries.
        let carries = 150;
        let (mut portion, mut cuts, mut come) = (Portion::new(100, 500), 0, 0);
        for _ in 0..100 {
            if portion.entries() > carries {
                assert!(breaks(&mut portion));
                cuts += 1;
            } else {
                come += portion.entries();
                portion.came_through(TimeDelta::zero());
            }
        }
        assert!(cuts < 15, "{cuts} cuts");
        assert!(come > 80 * 100, "{come} entries");
    }

    #[test]
    fn a_good_line_gets_the_largest_soon_and_a_slow_one_less() {
        let mut portion = Portion::new(100, 500);
        for entries in [100, 200, 400, 500, 500] {
            assert_eq!(portion.entries(), entries);
            portion.came_through(TimeDelta::milliseconds(50));
        }
        portion.came_through(TimeDelta::seconds(5));
        assert_eq!(portion.entries(), 500);
        portion.came_through(TimeDelta::seconds(11));
        assert_eq!(portion.entries(), 250);
    }

    #[test]
    fn a_dead_line_is_given_up_and_one_answer_counts() {
        let mut portion = Portion::new(100, 500);
        for _ in 1..TRIES {
            assert!(breaks(&mut portion));
        }
        assert!(portion.entries() < 10, "{portion:?}");
        portion.came_through(TimeDelta::zero());
        for _ in 1..TRIES {
            assert!(breaks(&mut portion));
        }
        assert!(!breaks(&mut portion));
    }

    proptest! {
        #[test]
        fn it_stays_between_the_smallest_and_the_largest(luck in prop::collection::vec(any::<bool>(), 0..200)) {
            let mut portion = Portion::new(50, 200);
            for lucky in luck {
                if lucky {
                    portion.came_through(TimeDelta::zero());
                } else {
                    let _ = breaks(&mut portion);
                }
                prop_assert!((SMALLEST..=200).contains(&portion.entries()));
            }
        }
    }
}
