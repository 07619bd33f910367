//! What somebody who watches the store hears, while it works.

use std::time::Duration;

/// Hears what the store does. Called in the middle of the work, so it has to be quick.
pub trait Watch: std::fmt::Debug + Send + Sync {
    /// Somebody waited so long for a connection, whether or not they got it.
    fn waited_for_connection(&self, _for: Duration) {}

    /// So many writes became durable together in this time.
    fn committed(&self, _writes: usize, _took: Duration) {}
}

/// Nobody watches.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Unwatched;

impl Watch for Unwatched {}

/// How the store is just now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Vitals {
    /// Connections that are open.
    pub connections: u32,
    /// Those of them that nobody uses.
    pub idle: u32,
    /// Writes that were handed to SQLite's writer and that it hasn't begun.
    pub writes_waiting: usize,
}
