//! Trying again, only where twice is once, and never in step with everybody else on the same bad line.

use std::time::Duration;

use super::answer::Answer;
use super::{Again, Remote, Request};
use crate::failure::Failure;
use crate::world::Machine;

/// How often in all.
const TRIES: u32 = 4;
/// The first pause is at most this long; each further one at most twice as long as the one before.
const FIRST_PAUSE: Duration = Duration::from_millis(500);
/// A server that asks for more is left alone until the next command.
const LONGEST_PAUSE: Duration = Duration::from_secs(30);

impl Remote<'_> {
    /// Sends, and where it may be repeated goes on while that can help.
    pub(super) fn exchange(&self, request: &Request<'_>) -> Result<Answer, Failure> {
        let mut attempt = 0;
        loop {
            attempt += 1;
            let last = request.again == Again::Never || attempt == TRIES;
            let asked = match self.transmit(request) {
                Ok(answer) => match answer.later().map(Duration::from_secs) {
                    Some(asked) if !last && asked <= LONGEST_PAUSE => asked,
                    _ => return Ok(answer),
                },
                Err(Failure::Offline(_)) if !last && request.again == Again::Always => {
                    Duration::ZERO
                }
                Err(failure) => return Err(failure),
            };
            (self.machine.sleep)(asked + pause(self.machine, attempt)?);
        }
    }
}

/// The pause after so many attempts. Anything between nothing and twice the pause before: clients that lost the same line
/// don't come back as one.
pub(crate) fn pause(machine: Machine<'_>, attempt: u32) -> Result<Duration, Failure> {
    let most = FIRST_PAUSE * 2_u32.saturating_pow(attempt - 1);
    let part = u32::from_le_bytes(machine.bytes()?);
    Ok(most.mul_f64(f64::from(part) / f64::from(u32::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_differ_and_grow_only_so_far() {
        let clock = || chrono::DateTime::UNIX_EPOCH.fixed_offset();
        let fill = |with: u8| {
            move |bytes: &mut [u8]| {
                bytes.fill(with);
                Ok(())
            }
        };
        let pause = |with: u8, attempt| {
            let random = fill(with);
            let machine = Machine {
                clock: &clock,
                random: &random,
                sleep: &|_| (),
            };
            super::pause(machine, attempt).expect("a pause")
        };
        assert_eq!(pause(0, 1), Duration::ZERO);
        assert_eq!(pause(0xff, 1), FIRST_PAUSE);
        assert_eq!(pause(0xff, 3), FIRST_PAUSE * 4);
        assert!(pause(0x80, 3) < pause(0xff, 3));
    }
}
