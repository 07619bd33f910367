//! Forms that change something: taken only from a page of ours, in the browser that it was made for.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header::{HOST, ORIGIN};
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use maud::{Markup, html};

use super::fields::Fields;
use super::visitor::Visitor;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// The hidden field that shows where a form comes from.
pub(super) const TOKEN: &str = "form_token";

/// A form that somebody sent who is signed in.
#[derive(Debug)]
pub(super) struct Sent {
    /// Who.
    pub(super) visitor: Visitor,
    /// What they filled in.
    pub(super) fields: Fields,
}

impl FromRequest for Sent {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, mut payload) = (request.clone(), payload.take());
        Box::pin(async move {
            check_origin(&request)?;
            let visitor = Visitor::extract(&request).await?;
            let fields = Fields::of_form(&request, &mut payload).await?;
            if !fields.get(TOKEN).is_some_and(|token| visitor.gave(token)) {
                tracing::warn!(target: "security", event = "form_refused", account = %visitor.caller.account);
                return Err(stale());
            }
            Ok(Self { visitor, fields })
        })
    }
}

/// The hidden field of a form.
pub(super) fn token_field(token: &str) -> Markup {
    html! { input type="hidden" name=(TOKEN) value=(token); }
}

/// Refuses a form that another site sent. Browsers say where a form comes from, and pages can't make them lie.
///
/// # Errors
///
/// [`Kind::Forbidden`].
pub(super) fn check_origin(request: &HttpRequest) -> Result<(), Problem> {
    let text = |name: &str| {
        request
            .headers()
            .get(name)
            .map(|value| value.to_str().unwrap_or_default())
    };
    let ours = text("sec-fetch-site").is_none_or(|site| site == "same-origin")
        && text(ORIGIN.as_str()).is_none_or(|origin| is_ours(request, origin, text(HOST.as_str())));
    if ours {
        return Ok(());
    }
    tracing::warn!(target: "security", event = "foreign_form_refused");
    Err(stale())
}

fn is_ours(request: &HttpRequest, origin: &str, host: Option<&str>) -> bool {
    let public = request
        .app_data::<Data<State>>()
        .and_then(|state| state.config.public_url.as_ref());
    if let Some(url) = public {
        return origin == url.as_str();
    }
    let authority = origin.split_once("://").map(|(_, authority)| authority);
    authority.is_some() && authority == host
}

/// The one answer to every form that can't be shown to be ours.
pub(super) fn stale() -> Problem {
    Problem::new(
        Kind::Forbidden,
        "this form is out of date, or it didn't come from a page of this server. Nothing was changed; please go back, \
         load the page again, and repeat what you did",
    )
}
