//! Waiting for what happens elsewhere.

use std::time::{Duration, Instant};

use whorl_contract::path;

use crate::caller::Caller;

/// Nothing takes longer, on the slowest machine.
const LONGEST: Duration = Duration::from_mins(2);

/// Looks again and again until something is done.
///
/// # Panics
///
/// If it never is.
pub fn wait_for(what: &str, mut done: impl FnMut() -> bool) {
    let began = Instant::now();
    while !done() {
        assert!(began.elapsed() < LONGEST, "{what}: not by now");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Whether a server is there and says that it can do its work.
#[must_use]
pub fn ready(anonymous: &Caller) -> bool {
    let asked = anonymous.try_send(anonymous.request(reqwest::Method::GET, path::READY));
    asked.is_ok_and(|answer| answer.status == 200)
}
