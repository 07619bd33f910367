//! What went wrong, told as a page.

use actix_web::http::Method;
use actix_web::http::header::{CONTENT_TYPE, RETRY_AFTER};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use maud::html;

use super::{layout, see_other, sign_in, words};
use crate::problem::{Kind, Problem};

/// The page for a problem. Whoever isn't signed in is sent to do so, and back to where they wanted to go.
pub(crate) fn answer(problem: &Problem, request: Option<&HttpRequest>) -> HttpResponse {
    if problem.kind() == Kind::Unauthenticated {
        let wanted = request
            .filter(|request| request.method() == Method::GET)
            .and_then(|request| request.uri().path_and_query())
            .map(actix_web::http::uri::PathAndQuery::as_str);
        return see_other(&sign_in::path(wanted));
    }
    let document = problem.document();
    let title = if problem.kind() == Kind::NotFound {
        "Nothing to see here"
    } else {
        &document.title
    };
    let main = html! {
        h1 { (title) }
        @if problem.kind() == Kind::NotFound {
            p { "There is no such page, or it isn't yours to see. If somebody should have given you access, ask them." }
        }
        @if let Some(detail) = &document.detail { p { (words::told(detail)) } }
        @if !document.errors.is_empty() {
            ul { @for fault in &document.errors { li { (words::told(&fault.detail)) } } }
        }
        p { a href="/" { "To the herd" } }
        @if problem.status_code().is_server_error() {
            @if let Some(id) = &document.instance {
                p.quiet { "If you report this, name the request " code { (id) } "." }
            }
        }
    };
    let mut page = HttpResponse::build(problem.status_code());
    page.insert_header((CONTENT_TYPE, "text/html; charset=utf-8"));
    if let Some(seconds) = problem.seconds_to_wait() {
        page.insert_header((RETRY_AFTER, seconds));
    }
    page.body(layout::bare(title, &main).into_string())
}
