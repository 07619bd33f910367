//! New tokens. The proof by the device's key lets the server give the same new tokens again if its answer was lost,
//! so a bad line never signs anybody out.

use chrono::{DateTime, Duration, Utc};
use reqwest::Method;
use whorl_contract::key::Purpose;
use whorl_contract::path;
use whorl_contract::problem::Problem;
use whorl_contract::server::ServerInfo;
use whorl_contract::session::{Refresh, Session, refresh_message};

use super::{Remote, Request};
use crate::failure::Failure;
use crate::home::Tokens;
use crate::world::Machine;

/// An access token that ends within this time is renewed before it is used.
const MARGIN: Duration = Duration::seconds(30);

impl Remote<'_> {
    pub(super) fn access_is_stale(&self) -> bool {
        let tokens = self.membership.as_ref().and_then(|one| one.tokens.as_ref());
        tokens.is_some_and(|tokens| tokens.access_until <= self.machine.utc())
    }

    pub(super) fn access_token(&self) -> Result<&str, Failure> {
        let tokens = self.membership()?.tokens.as_ref();
        tokens
            .map(|tokens| tokens.access.as_str())
            .ok_or_else(signed_out)
    }

    /// Renews the tokens and keeps them before anything is sent with them.
    pub(super) fn refresh(&mut self) -> Result<(), Failure> {
        let mut membership = self.membership()?.clone();
        let token = membership.tokens.take().ok_or_else(signed_out)?.refresh;
        let session = match self.ask_for_tokens(&token, self.machine.utc()) {
            Err(Failure::Refused(_, Some(problem))) if is_about_the_clock(&problem) => {
                // The proof must be fresh by the server's clock; ours is wrong, and that is no reason to be locked out.
                let info: ServerInfo = self.get_anonymously(path::SERVER)?;
                self.ask_for_tokens(&token, info.time)
            }
            other => other,
        };
        let session = session.map_err(|failure| match failure {
            Failure::Refused(why, problem) => Failure::Refused(
                format!("{why}: run `whorl join` to sign in again; what you recorded is kept"),
                problem,
            ),
            other => other,
        })?;
        membership.tokens = Some(tokens(&session, self.machine));
        // Were they used before they are kept, a crash would leave a used-up token behind.
        self.home.keep_membership(&membership)?;
        self.membership = Some(membership);
        Ok(())
    }

    fn ask_for_tokens(&self, token: &str, signed_at: DateTime<Utc>) -> Result<Session, Failure> {
        let key = self.key.as_ref().ok_or_else(signed_out)?;
        let message = refresh_message(token, signed_at);
        let body = Refresh {
            refresh_token: token.to_owned(),
            signed_at: Some(signed_at),
            proof: Some(key.sign(Purpose::Refresh, &message)),
        };
        let request = Request::new(Method::POST, path::REFRESH)
            .json(&body)?
            .anonymous()
            .repeatable();
        self.exchange(&request)?.success()?.read()
    }
}

fn signed_out() -> Failure {
    Failure::input("you are signed out; run `whorl join` to sign in")
}

fn is_about_the_clock(problem: &Problem) -> bool {
    problem
        .errors
        .iter()
        .any(|fault| fault.pointer == "/signed_at")
}

/// A session's tokens, with the end of the access token by this device's clock.
pub(crate) fn tokens(session: &Session, machine: Machine<'_>) -> Tokens {
    Tokens {
        access: session.access_token.clone(),
        access_until: machine.utc() + Duration::seconds(session.expires_in.into()) - MARGIN,
        refresh: session.refresh_token.clone(),
    }
}
