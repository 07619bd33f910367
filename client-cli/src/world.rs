//! Everything outside the program that a command touches, handed in so that a test can stand in for it.

use std::io::{self, BufRead, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, FixedOffset, Timelike, Utc};
use uuid::Uuid;

use crate::failure::Failure;

/// The clock, the random source, and sleep.
#[derive(Clone, Copy)]
pub struct Machine<'a> {
    /// The wall clock here, with its offset from UTC.
    pub clock: &'a dyn Fn() -> DateTime<FixedOffset>,
    /// Fills a buffer with random bytes fit for keys.
    pub random: &'a dyn Fn(&mut [u8]) -> io::Result<()>,
    /// Waits.
    pub sleep: &'a dyn Fn(Duration),
}

impl Machine<'_> {
    /// The wall clock here, to the second: finer than that nobody writes down what they did.
    #[must_use]
    pub fn now(&self) -> DateTime<FixedOffset> {
        let now = (self.clock)();
        now.with_nanosecond(0).unwrap_or(now)
    }

    /// The same instant in UTC.
    #[must_use]
    pub fn utc(&self) -> DateTime<Utc> {
        self.now().to_utc()
    }

    /// `N` random bytes.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the machine has none.
    pub fn bytes<const N: usize>(&self) -> Result<[u8; N], Failure> {
        let mut bytes = [0; N];
        (self.random)(&mut bytes)
            .map_err(|error| Failure::Device(format!("no random bytes to be had: {error}")))?;
        Ok(bytes)
    }

    /// A new id (UUIDv7).
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if there are no random bytes.
    pub fn id<T: From<Uuid>>(&self) -> Result<T, Failure> {
        let milliseconds = u64::try_from((self.clock)().timestamp_millis()).unwrap_or(0);
        let id = uuid::Builder::from_unix_timestamp_millis(milliseconds, &self.bytes()?);
        Ok(id.into_uuid().into())
    }
}

/// The world of one run.
pub struct World<'a> {
    /// Where answers go.
    pub out: &'a mut dyn Write,
    /// Where errors, warnings and progress go.
    pub err: &'a mut dyn Write,
    /// Where answers to prompts and figures' inputs come from.
    pub input: &'a mut dyn BufRead,
    /// Asks for a secret without showing it.
    pub secret: &'a dyn Fn(&str) -> io::Result<String>,
    /// Clock, randomness, sleep.
    pub machine: Machine<'a>,
    /// The client's folder; none if the machine doesn't say where such folders go.
    pub home: Option<PathBuf>,
    /// The folder with the operator's rules, if there is one.
    pub rules: Option<PathBuf>,
    /// The password, if the environment holds it.
    pub password: Option<String>,
    /// What this device is called unless its user says otherwise.
    pub device_name: String,
    /// Whether a person answers on the input.
    pub asks: bool,
    /// Whether errors, warnings and progress go to a terminal.
    pub watched: bool,
    /// Columns of the terminal that shows the output; none if it goes to a file or a program.
    pub width: Option<u16>,
}
