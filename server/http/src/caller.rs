//! Who is calling: the account and session behind a request's token.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header::AUTHORIZATION;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, DeviceId, SessionId};
use whorl_store::StoreError;
use whorl_store::sessions::{self, Seat};

use crate::exchange::note_account;
use crate::problem::{Kind, Problem};
use crate::rate;
use crate::readings::By;
use crate::session;
use crate::state::State;

/// A signed-in caller. A handler that takes one refuses everybody else.
///
/// The token is checked, and then the store is asked for each request whether the session is still open, the device
/// not revoked and the account not disabled: so signing out and revoking act at once, on every replica.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caller {
    /// The account.
    pub account: AccountId,
    /// The session.
    pub session: SessionId,
    /// The device that the session is bound to.
    pub device: Option<DeviceId>,
    /// Whether the account runs the server.
    pub operator: bool,
    /// When the password was last given.
    pub authenticated_at: DateTime<Utc>,
}

impl FromRequest for Caller {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let state = request.app_data::<Data<State>>().cloned();
        let token = bearer(request).map(str::to_owned);
        Box::pin(async move {
            let state = state.ok_or_else(|| Problem::internal("the state is missing"))?;
            let token = token.ok_or_else(unauthenticated)?;
            let caller = who(&state, &token).await?;
            rate::admit(&state, By::Account(caller.account))?;
            Ok(caller)
        })
    }
}

/// The token of a request, if there is exactly one.
fn bearer(request: &HttpRequest) -> Option<&str> {
    let mut values = request.headers().get_all(AUTHORIZATION);
    let (Some(value), None) = (values.next(), values.next()) else {
        return None;
    };
    let (scheme, token) = value.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("Bearer").then_some(token)
}

async fn who(state: &State, token: &str) -> Result<Caller, Problem> {
    let now = state.clock.now();
    let bearer = state
        .tokens
        .check(token, now)
        .map_err(|_| unauthenticated())?;
    let seat = open_seat(state, bearer.session, now)
        .await?
        .filter(|seat| seat.account.id == bearer.account)
        .ok_or_else(unauthenticated)?;
    Ok(Caller::at(&seat))
}

/// A session that is open now, with its account and its device.
///
/// # Errors
///
/// A failure of ours if the store can't be asked.
pub(crate) async fn open_seat(
    state: &State,
    session: SessionId,
    now: DateTime<Utc>,
) -> Result<Option<Seat>, Problem> {
    let seat = state
        .glance(move |db| match sessions::seat(db, session) {
            Err(StoreError::NotFound) => Ok(None),
            found => found.map(Some),
        })
        .await?;
    Ok(seat.filter(|seat| session::is_open(seat, now)))
}

impl Caller {
    /// The caller behind an open session.
    pub(crate) fn at(seat: &Seat) -> Self {
        note_account(&seat.account.id);
        Self {
            account: seat.account.id,
            session: seat.session.id,
            device: seat.session.device_id.as_ref().map(|key| key.0),
            operator: seat.account.operator,
            authenticated_at: seat.session.authenticated_at.and_utc(),
        }
    }
}

/// The one answer to everybody who is not signed in, whatever is wrong.
pub(crate) fn unauthenticated() -> Problem {
    Problem::bare(Kind::Unauthenticated)
}
