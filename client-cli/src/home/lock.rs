//! Only one command at a time talks with the server: two that renew the same tokens would end the session.
//!
//! Recording doesn't take this lock: the database keeps writers apart, and nobody waits in an aisle for a slow sync.

use std::fs::{File, OpenOptions, TryLockError};
use std::time::Duration;

use super::Home;
use crate::failure::Failure;
use crate::world::Machine;

/// How often and how long a command waits for another one to finish.
const TRIES: u32 = 40;
const PAUSE: Duration = Duration::from_millis(250);

/// Held as long as it lives.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Home {
    /// Waits up to ten seconds for any other command that talks with the server.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if another one goes on and on.
    pub fn lock(&self, machine: Machine<'_>) -> Result<Lock, Failure> {
        let path = self.file("lock");
        let fail = |error: std::io::Error| Failure::file(path.display(), &error);
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let file = options.open(&path).map_err(fail)?;
        for attempt in 0..=TRIES {
            match file.try_lock() {
                Ok(()) => return Ok(Lock { _file: file }),
                Err(TryLockError::Error(error)) => return Err(fail(error)),
                Err(TryLockError::WouldBlock) if attempt < TRIES => (machine.sleep)(PAUSE),
                Err(TryLockError::WouldBlock) => {}
            }
        }
        Err(Failure::Device(
            "another whorl command is talking with the server; wait until it is done and try again"
                .to_owned(),
        ))
    }
}
