//! What went wrong, what to do about it, and the exit status that says so to a script.

use std::io;

use diesel::result::{DatabaseErrorKind, Error as DatabaseError};
use whorl_care::fault::Faults;
use whorl_contract::problem::Problem;

/// Why a command did not do what it was asked. Its text is one line: what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// What was asked for can't stand.
    #[error("{0}")]
    Input(String),
    /// What was to be recorded can't stand: each fault with a pointer into the details (`/performed_at`: the moment).
    #[error("{0}")]
    Invalid(Faults),
    /// The server understood and said no.
    #[error("{0}")]
    Refused(String, Option<Box<Problem>>),
    /// The server can't be reached; what was recorded is kept.
    #[error("{0}")]
    Offline(String),
    /// The server was reached and failed; what was recorded is kept.
    #[error("{0}")]
    ServerFailed(String),
    /// The record is not what its hashes and signatures say.
    #[error("{0}")]
    NotVerified(String),
    /// This device failed: its disk is full, a file can't be read.
    #[error("{0}")]
    Device(String),
}

impl Failure {
    /// The exit status: 0 is done; 1 this device failed; 2 bad input; 3 refused by the server; 4 no connection; 5 the
    /// record doesn't verify.
    #[must_use]
    pub const fn status(&self) -> i32 {
        match self {
            Self::Device(_) => 1,
            Self::Input(_) | Self::Invalid(_) => 2,
            Self::Refused(..) => 3,
            Self::Offline(_) | Self::ServerFailed(_) => 4,
            Self::NotVerified(_) => 5,
        }
    }

    /// Bad input, in words.
    pub fn input(text: impl Into<String>) -> Self {
        Self::Input(text.into())
    }

    /// A file could not be read or written; `what` says which and what for.
    pub fn file(what: impl std::fmt::Display, error: &io::Error) -> Self {
        let advice = match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                "the disk is full: free some space and try again"
            }
            io::ErrorKind::PermissionDenied => "you may not do that with this file or folder",
            io::ErrorKind::NotFound => "it isn't there",
            _ => return Self::Device(format!("{what}: {error}")),
        };
        Self::Device(format!("{what}: {advice}"))
    }

    /// The server's problem document as a failure.
    #[must_use]
    pub fn problem(problem: Problem) -> Self {
        Self::Refused(words(&problem), Some(Box::new(problem)))
    }
}

/// A problem document in one line.
#[must_use]
pub fn words(problem: &Problem) -> String {
    let mut text = problem.title.clone();
    if let Some(detail) = &problem.detail {
        text = format!("{text}: {detail}");
    }
    for fault in &problem.errors {
        text = format!("{text}; {}: {}", fault.pointer, fault.detail);
    }
    if let Some(row) = &problem.policy_row {
        text = format!("{text} (policy row {row})");
    }
    text
}

impl From<Faults> for Failure {
    fn from(faults: Faults) -> Self {
        Self::Invalid(faults)
    }
}

impl From<DatabaseError> for Failure {
    fn from(error: DatabaseError) -> Self {
        let text = error.to_string();
        if text.contains("disk is full") || text.contains("disk I/O error") {
            return Self::Device(
                "nothing was written: the disk is full or failing; free some space and try again \
                 (what was recorded before is safe)"
                    .to_owned(),
            );
        }
        if text.contains("database is locked") {
            return Self::Device(
                "another whorl command is writing right now; try again in a moment".to_owned(),
            );
        }
        match error {
            DatabaseError::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => {
                Self::Device(format!("this is on the device already: {text}"))
            }
            _ => Self::Device(format!("the record on this device can't be used: {text}")),
        }
    }
}

impl From<std::fmt::Error> for Failure {
    fn from(error: std::fmt::Error) -> Self {
        Self::Device(error.to_string())
    }
}
