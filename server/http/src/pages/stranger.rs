//! Forms of people who aren't signed in, each tied to the browser that asked for it.

use actix_web::http::StatusCode;
use actix_web::http::header::{RETRY_AFTER, SET_COOKIE};
use actix_web::web::Payload;
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use whorl_care::sentence::counted;

use super::cookie::Cookie;
use super::fields::Fields;
use super::form::{self, TOKEN};
use super::pass::{FormCode, unguessable};
use super::{html as page, layout, words};
use crate::problem::{Kind, Problem};
use crate::state::State;

/// What somebody filled in.
pub(super) struct Sent {
    /// Field by field.
    pub(super) fields: Fields,
    /// Whether this browser was given the form; if not, nothing may be done.
    pub(super) ours: bool,
}

/// Takes a form.
///
/// # Errors
///
/// [`Kind::Forbidden`] if another site sent it, [`Kind::Malformed`] if it can't be read.
pub(super) async fn sent(
    state: &State,
    request: &HttpRequest,
    payload: Payload,
) -> Result<Sent, Problem> {
    form::check_origin(request)?;
    let fields = Fields::of_form(request, &mut payload.into_inner()).await?;
    let before = Cookie::Before.read(request, &state.config);
    let code = before.and_then(|before| FormCode::before(&before, &state.keys.refresh));
    let ours = code.is_some_and(|code| fields.get(TOKEN).is_some_and(|token| code.is(token)));
    Ok(Sent { fields, ours })
}

/// What is told to whoever sent a form that this browser wasn't given.
pub(super) const NOT_OURS: &str =
    "The page was open for too long, or this browser keeps no cookies. Please try again.";

/// Why a form is shown once more.
#[derive(Debug, Default)]
pub(super) struct Refusal {
    said: String,
    wait: Option<u64>,
}

impl Refusal {
    /// In these words.
    pub(super) fn new(said: &str) -> Self {
        let said = said.to_owned();
        Self { said, wait: None }
    }

    /// For what was wrong: that somebody must wait is told in one way, all else by `said`.
    pub(super) fn of(problem: &Problem, said: impl FnOnce() -> String) -> Self {
        match (problem.kind(), problem.seconds_to_wait()) {
            (Kind::TooManyRequests, Some(seconds)) => Self {
                said: format!(
                    "Too many tries failed. Please wait {} and try again.",
                    if seconds < 60 {
                        counted(seconds, "second", "seconds")
                    } else {
                        counted(seconds.div_ceil(60), "minute", "minutes")
                    }
                ),
                wait: Some(seconds),
            },
            _ => Self {
                said: said(),
                wait: None,
            },
        }
    }

    /// The words above the form; its fields are described by them.
    pub(super) fn alert(&self) -> Markup {
        html! { p.refused id="refused" role="alert" { (words::told(&self.said)) } }
    }
}

/// Gives this browser a form, which `form` writes around the code that it must bring back.
///
/// # Errors
///
/// A failure of ours if the machine gives no randomness.
pub(super) fn give(
    state: &State,
    request: &HttpRequest,
    title: &str,
    refusal: Option<&Refusal>,
    form: impl FnOnce(&str) -> Markup,
) -> Result<HttpResponse, Problem> {
    let kept = Cookie::Before.read(request, &state.config);
    let (before, is_new) = match kept.filter(|kept| kept.len() == 43) {
        Some(kept) => (kept, false),
        None => (unguessable()?, true),
    };
    let code = FormCode::before(&before, &state.keys.refresh)
        .ok_or_else(|| Problem::internal("no form's code can be made"))?
        .masked()?;
    let mut answer = page(layout::bare(title, &form(&code)));
    if let Some(refusal) = refusal {
        *answer.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
        if let Some(seconds) = refusal.wait {
            *answer.status_mut() = StatusCode::TOO_MANY_REQUESTS;
            answer.headers_mut().insert(RETRY_AFTER, seconds.into());
        }
    }
    if is_new {
        let set = Cookie::Before.set(&before, None, &state.config)?;
        answer.headers_mut().append(SET_COOKIE, set);
    }
    Ok(answer)
}
