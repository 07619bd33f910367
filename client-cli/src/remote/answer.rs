//! Whether an answer is one, and what it says.

use std::io::Read;

use reqwest::StatusCode;
use reqwest::blocking::Response;
use reqwest::header::{CONTENT_TYPE, ETAG, HeaderMap, LOCATION, RETRY_AFTER};
use serde::de::DeserializeOwned;
use whorl_contract::attachment::MEDIA_TYPES;
use whorl_contract::problem::{Kind, MEDIA_TYPE, Problem};

use crate::failure::Failure;

/// No answer is longer.
const LONGEST: u64 = 64 * 1024 * 1024;

/// What a good answer is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Expected {
    /// A JSON document.
    Json,
    /// A photo or document.
    File,
}

/// An answer that came from a Whorl server, as far as that can be told.
pub(super) struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    bytes: Vec<u8>,
    server: String,
    problem: Option<Box<Problem>>,
}

fn offline(text: &str) -> Failure {
    Failure::Offline(format!("{text}; what you recorded is kept"))
}

impl Answer {
    /// Reads a response to its end and tells a server's word from everything else that answers on a network.
    pub(super) fn take(
        response: reqwest::Result<Response>,
        server: &str,
        expected: Expected,
    ) -> Result<Self, Failure> {
        let unreachable = |error: &dyn std::error::Error| {
            offline(&format!("no connection to {server} ({})", cause(error)))
        };
        let response = response.map_err(|error| unreachable(&error))?;
        let (status, headers) = (response.status(), response.headers().clone());
        let mut bytes = Vec::new();
        response
            .take(LONGEST + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| unreachable(&error))?;
        let mut answer = Self {
            status,
            headers,
            bytes,
            server: server.to_owned(),
            problem: None,
        };
        answer.recognise(expected)?;
        Ok(answer)
    }

    fn recognise(&mut self, expected: Expected) -> Result<(), Failure> {
        let stranger = |what: &str| {
            offline(&format!(
                "{what} answered in place of {}: is there a sign-in page on this network?",
                self.server
            ))
        };
        if self.bytes.len() as u64 > LONGEST {
            return Err(stranger("something endless"));
        }
        if self.status == StatusCode::NOT_MODIFIED {
            return Ok(());
        }
        if self.status.is_redirection() {
            let place = self.header(LOCATION.as_str()).unwrap_or("somewhere else");
            return Err(stranger(&format!("a redirect to {place}")));
        }
        if self.status.is_success() {
            let as_asked = match expected {
                Expected::Json => self.is_of("application/json"),
                Expected::File => MEDIA_TYPES.iter().any(|one| self.is_of(one)),
            };
            return if as_asked || self.status == StatusCode::NO_CONTENT {
                Ok(())
            } else {
                Err(stranger("a web page"))
            };
        }
        let problem = self
            .is_of(MEDIA_TYPE)
            .then(|| serde_json::from_slice::<Problem>(&self.bytes).ok())
            .flatten();
        match problem {
            Some(problem) => {
                self.problem = Some(Box::new(problem));
                Ok(())
            }
            None => Err(stranger(&format!(
                "something else (status {})",
                self.status.as_u16()
            ))),
        }
    }

    fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    fn is_of(&self, media_type: &str) -> bool {
        self.header(CONTENT_TYPE.as_str())
            .and_then(|value| value.split(';').next())
            .is_some_and(|value| value.trim().eq_ignore_ascii_case(media_type))
    }

    pub(super) fn is_unchanged(&self) -> bool {
        self.status == StatusCode::NOT_MODIFIED
    }

    pub(super) fn tag(&self) -> Option<String> {
        self.header(ETAG.as_str()).map(str::to_owned)
    }

    /// Whether the access token isn't taken (any more).
    pub(super) fn wants_sign_in(&self) -> bool {
        self.problem
            .as_ref()
            .is_some_and(|problem| problem.kind == Kind::Unauthenticated)
    }

    /// Whether trying again later may help, and after how many seconds at the earliest.
    pub(super) fn later(&self) -> Option<u64> {
        let busy = self.status == StatusCode::TOO_MANY_REQUESTS || self.status.is_server_error();
        busy.then(|| {
            self.header(RETRY_AFTER.as_str())
                .and_then(|value| value.trim().parse().ok())
                .unwrap_or(0)
        })
    }

    /// The answer, if it is no refusal.
    pub(super) fn success(self) -> Result<Self, Failure> {
        match self.problem {
            None => Ok(self),
            Some(problem) if self.status == StatusCode::INTERNAL_SERVER_ERROR => {
                Err(Failure::ServerFailed(format!(
                    "{} failed ({}): what you recorded is kept, try again later",
                    self.server,
                    crate::failure::words(&problem)
                )))
            }
            Some(problem) if self.status.is_server_error() => Err(offline(&format!(
                "{} can't right now ({})",
                self.server,
                crate::failure::words(&problem)
            ))),
            Some(problem) => Err(Failure::problem(*problem)),
        }
    }

    /// Reads the body.
    pub(super) fn read<T: DeserializeOwned>(self) -> Result<T, Failure> {
        serde_json::from_slice(&self.bytes).map_err(|error| {
            offline(&format!(
                "what {} answered can't be read ({error}): is the address right, and is whorl as new as the server?",
                self.server
            ))
        })
    }

    pub(super) fn bytes(self) -> Vec<u8> {
        self.bytes
    }
}

/// The innermost reason: "connection refused" says more than "error sending request".
fn cause(error: &dyn std::error::Error) -> String {
    let mut inner = error;
    while let Some(next) = inner.source() {
        inner = next;
    }
    inner.to_string()
}
