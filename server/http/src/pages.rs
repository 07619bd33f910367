//! The pages that people see in a browser: made here whole, with no script and nothing from elsewhere.
//!
//! They ask what the interface asks, through `access`: a page shows nobody more than the interface would.

mod cookie;
mod due;
mod entry;
mod failure;
mod fields;
mod fitness;
mod form;
mod grants;
mod herd;
mod history;
mod horse;
mod layout;
mod notices;
mod pass;
mod readings;
mod recall;
mod reset;
mod shared;
mod shares;
mod sign_in;
mod stranger;
mod style;
mod verdict;
mod visitor;
mod visits;
mod words;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::{Next, from_fn};
use actix_web::web::{Data, ServiceConfig, get, post, resource};
use actix_web::{Error, HttpRequest, HttpResponse};
use maud::Markup;

use crate::problem::{Kind, Problem};
use crate::public_url::PublicUrl;
use crate::state::State;

/// Scripts, frames and anything from elsewhere are refused by the browser itself.
const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; \
                              frame-ancestors 'none'; base-uri 'none'";

macro_rules! pages {
    ($($path:literal: $($method:ident $handler:path),+;)+) => {
        /// Every page: its address, and by which methods it is asked for.
        pub const PAGES: &[(&str, &[&str])] = &[$(($path, &[$(stringify!($method)),+])),+];

        /// Adds every page.
        pub(crate) fn all(config: &mut ServiceConfig) {
            config.route(style::PATH, get().to(style::sheet));
            $(config.service(resource($path)$(.route($method().to($handler)))+.wrap(from_fn(as_page)));)+
        }
    };
}

pages! {
    "/": get herd::show;
    "/sign-in": get sign_in::show, post sign_in::enter;
    "/sign-out": post sign_in::leave;
    "/reset": get reset::show, post reset::set;
    "/visits": get visits::show;
    "/horses/{horse}": get horse::show;
    "/horses/{horse}/history": get history::show;
    "/horses/{horse}/entry": get fitness::of_horse;
    "/barns/{barn}/entry": get fitness::of_barn;
    "/barns/{barn}/recall": get recall::show;
    "/horses/{horse}/grants": get grants::show, post grants::end;
    "/horses/{horse}/shares": get shares::show, post shares::change;
    "/horses/{horse}/readings": get readings::show;
    "/notices": get notices::show, post notices::change;
    "/shared/{token}": get shared::show;
}

/// A page as it leaves.
fn html(page: Markup) -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/html; charset=utf-8")
        .body(page.into_string())
}

/// To another page, after something was done: going back or loading it again does nothing twice.
fn see_other(path: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((header::LOCATION, path))
        .finish()
}

/// What holds for every page: what went wrong is told as a page too, and the headers that browsers go by.
async fn as_page(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let encrypted = is_encrypted(request.request());
    let answer = next.call(request).await?.map_into_boxed_body();
    let mut answer = told(answer);
    protect(answer.headers_mut(), encrypted);
    Ok(answer)
}

/// The page for an address that nothing is at.
pub(crate) fn nothing_here(request: &HttpRequest) -> HttpResponse {
    let mut answer = failure::answer(&Problem::not_found(), None);
    protect(answer.headers_mut(), is_encrypted(request));
    answer
}

/// Whether people reach the server over TLS.
fn is_encrypted(request: &HttpRequest) -> bool {
    let state = request.app_data::<Data<State>>();
    let url = state.and_then(|state| state.config.public_url.as_ref());
    url.is_some_and(PublicUrl::is_encrypted)
}

/// The answer, or the page that says what went wrong.
fn told(answer: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let page = match answer.response().error() {
        Some(error) => match error.as_error::<Problem>() {
            Some(problem) => failure::answer(problem, Some(answer.request())),
            None => failure::answer(&Problem::internal(error), None),
        },
        None if answer.status() == actix_web::http::StatusCode::METHOD_NOT_ALLOWED => {
            failure::answer(&Problem::bare(Kind::MethodNotAllowed), None)
        }
        None => return answer,
    };
    let (request, _) = answer.into_parts();
    ServiceResponse::new(request, page)
}

/// The headers of every page; a page that has its own keeps it.
fn protect(headers: &mut HeaderMap, encrypted: bool) {
    let mut unless_set = |name: HeaderName, value: &'static str| {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    };
    unless_set(header::CONTENT_SECURITY_POLICY, CONTENT_POLICY);
    // Not `no-referrer`: with that, a browser hides the origin of our own forms from us too.
    unless_set(header::REFERRER_POLICY, "same-origin");
    unless_set(header::CACHE_CONTROL, "no-store");
    unless_set(
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    );
    if encrypted {
        unless_set(header::STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    }
}
