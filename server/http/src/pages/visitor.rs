//! Who looks at a page: the account behind the pass in the cookie.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, TimeDelta, Utc};
use whorl_store::sessions;

use super::cookie::Cookie;
use super::pass::{FormCode, Pass};
use crate::caller::{Caller, open_seat, unauthenticated};
use crate::notice::view;
use crate::problem::Problem;
use crate::rate;
use crate::readings::By;
use crate::state::State;

/// A session of a browser that isn't used for so long ends, though its end may be further off.
const IDLE: TimeDelta = TimeDelta::days(7);

/// That a session was used is noted no more often.
const NOTED_EVERY: TimeDelta = TimeDelta::minutes(30);

/// Somebody who is signed in, in a browser. A page that takes one sends everybody else to sign in.
#[derive(Clone, Debug)]
pub(super) struct Visitor {
    /// Who, as the interface knows them.
    pub(super) caller: Caller,
    /// What they are called.
    pub(super) name: String,
    /// How many notices they haven't read.
    pub(super) unread: usize,
    /// When they ask.
    pub(super) at: DateTime<Utc>,
    /// The server's name, as its record knows it.
    pub(super) server: String,
    form: FormCode,
}

impl Visitor {
    /// The token for one form on a page for them.
    ///
    /// # Errors
    ///
    /// A failure of ours if the machine gives no randomness.
    pub(super) fn token(&self) -> Result<String, Problem> {
        self.form.masked()
    }

    /// Whether a form came from a page for them.
    pub(super) fn gave(&self, token: &str) -> bool {
        self.form.is(token)
    }
}

impl FromRequest for Visitor {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let visitor = of(&request).await?.ok_or_else(unauthenticated)?;
            rate::admit(state(&request)?, By::Account(visitor.caller.account))?;
            Ok(visitor)
        })
    }
}

fn state(request: &HttpRequest) -> Result<&Data<State>, Problem> {
    request
        .app_data::<Data<State>>()
        .ok_or_else(|| Problem::internal("the state is missing"))
}

/// Who asks, if they are signed in.
///
/// # Errors
///
/// A failure of ours if the store can't be asked.
pub(super) async fn of(request: &HttpRequest) -> Result<Option<Visitor>, Problem> {
    let state = state(request)?;
    let pass = Cookie::Session.read(request, &state.config);
    let Some(pass) = pass.and_then(|text| text.parse::<Pass>().ok()) else {
        return Ok(None);
    };
    let now = state.clock.now();
    let secret = &state.keys.refresh;
    let seat = open_seat(state, pass.session, now).await?.filter(|seat| {
        pass.is_of(&seat.session, secret)
            && seat.session.device_id.is_none()
            && now.naive_utc() < seat.session.last_used_at + IDLE
    });
    let Some(seat) = seat else {
        return Ok(None);
    };
    if seat.session.last_used_at + NOTED_EVERY <= now.naive_utc() {
        let id = seat.session.id;
        state
            .write(move |db| sessions::touch(db, id, now.naive_utc()))
            .await?;
    }
    let form = FormCode::of(&seat.session, secret)
        .ok_or_else(|| Problem::internal("no form's code can be made"))?;
    let account = seat.account.id;
    let unread = state.read(move |db| view::unread(db, account, now)).await?;
    Ok(Some(Visitor {
        unread,
        caller: Caller::at(&seat),
        name: seat.account.name,
        at: now,
        server: state.config.name.clone(),
        form,
    }))
}
