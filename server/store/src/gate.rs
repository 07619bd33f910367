//! Keeps connections free for reading while writes wait: for each other, or for a standby that is gone.

use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

use crate::error::StoreError;

/// Lets so many through at once.
pub(crate) struct Gate {
    free: Mutex<u32>,
    freed: Condvar,
}

/// Whoever holds it is through; the place is free again when it goes.
pub(crate) struct Pass<'a>(&'a Gate);

impl Gate {
    /// A gate for the writes of a store with so many connections: a quarter of them stays free, if there are two at all.
    pub(crate) fn before(connections: u32) -> Self {
        Self {
            free: Mutex::new((connections - connections.div_ceil(4)).max(1)),
            freed: Condvar::new(),
        }
    }

    /// Waits for a place, not longer than `patience`.
    pub(crate) fn enter(&self, patience: Duration) -> Result<Pass<'_>, StoreError> {
        let free = self.free.lock().unwrap_or_else(PoisonError::into_inner);
        let (mut free, _) = self
            .freed
            .wait_timeout_while(free, patience, |free| *free == 0)
            .unwrap_or_else(PoisonError::into_inner);
        if *free == 0 {
            return Err(StoreError::Busy(
                "too many writes wait for the database".to_owned(),
            ));
        }
        *free -= 1;
        Ok(Pass(self))
    }
}

impl Drop for Pass<'_> {
    fn drop(&mut self) {
        *self.0.free.lock().unwrap_or_else(PoisonError::into_inner) += 1;
        self.0.freed.notify_one();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_stays_free_and_a_place_is_given_back() {
        for (connections, places) in [(1, 1), (2, 1), (4, 3), (16, 12)] {
            let gate = Gate::before(connections);
            let mut through: Vec<Pass<'_>> = (0..places)
                .map(|_| gate.enter(Duration::ZERO).expect("a place"))
                .collect();
            let full = gate.enter(Duration::ZERO);
            assert!(matches!(full, Err(StoreError::Busy(_))), "{connections}");
            through.pop();
            assert!(gate.enter(Duration::ZERO).is_ok());
        }
    }
}
