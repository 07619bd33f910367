//! Cookies: reading them, and writing them so that no script and no other site gets at them.

use actix_web::HttpRequest;
use actix_web::http::header::{COOKIE, HeaderValue};

use crate::config::Config;
use crate::problem::Problem;

/// One of our cookies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cookie {
    /// Carries the pass of somebody who is signed in.
    Session,
    /// Ties the form for signing in to the browser that asked for it.
    Before,
}

impl Cookie {
    /// Over TLS the name itself binds it to this very host (RFC 6265bis, the `__Host-` prefix).
    fn name(self, encrypted: bool) -> &'static str {
        match (self, encrypted) {
            (Self::Session, true) => "__Host-whorl",
            (Self::Session, false) => "whorl",
            (Self::Before, true) => "__Host-whorl-before",
            (Self::Before, false) => "whorl-before",
        }
    }

    /// Its value, if the request carries it exactly once.
    pub(super) fn read(self, request: &HttpRequest, config: &Config) -> Option<String> {
        let name = self.name(encrypted(config));
        let headers = request.headers().get_all(COOKIE);
        let mut values = headers
            .filter_map(|header| header.to_str().ok())
            .flat_map(|header| header.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .filter(|(key, _)| *key == name)
            .map(|(_, value)| value.to_owned());
        match (values.next(), values.next()) {
            (Some(value), None) => Some(value),
            _ => None,
        }
    }

    /// The header that sets it, for so many seconds or until the browser is closed. `value` is one of ours: letters,
    /// digits, dots, dashes and low lines.
    ///
    /// # Errors
    ///
    /// A failure of ours if the value can't stand in a header.
    pub(super) fn set(
        self,
        value: &str,
        seconds: Option<i64>,
        config: &Config,
    ) -> Result<HeaderValue, Problem> {
        let encrypted = encrypted(config);
        let name = self.name(encrypted);
        let mut text = format!("{name}={value}; Path=/; HttpOnly; SameSite=Lax");
        if let Some(seconds) = seconds {
            text = format!("{text}; Max-Age={seconds}");
        }
        if encrypted {
            text.push_str("; Secure");
        }
        HeaderValue::from_str(&text).map_err(Problem::internal)
    }

    /// The header that takes it away.
    ///
    /// # Errors
    ///
    /// As [`Cookie::set`].
    pub(super) fn clear(self, config: &Config) -> Result<HeaderValue, Problem> {
        self.set("", Some(0), config)
    }
}

/// Whether people reach the server over TLS.
fn encrypted(config: &Config) -> bool {
    config
        .public_url
        .as_ref()
        .is_some_and(crate::public_url::PublicUrl::is_encrypted)
}
