//! The one stylesheet, under an address that changes with it, so that browsers keep it and never keep an old one.

use std::sync::LazyLock;

use actix_web::http::header::{CACHE_CONTROL, HeaderValue};
use actix_web::{HttpRequest, HttpResponse};
use whorl_contract::key::Hash;

use crate::routes::sync::bytes_with_etag;

/// Where it is served.
pub(super) const PATH: &str = "/style.css";

/// The look of pages, and of the pictures on them.
const SHEET: &str = concat!(include_str!("style.css"), include_str!("chart.css"));

static ADDRESS: LazyLock<String> = LazyLock::new(|| {
    let hash = Hash::of(&[SHEET.as_bytes()]).to_string();
    let short: String = hash.chars().take(12).collect();
    format!("{PATH}?{short}")
});

/// The address that pages name.
pub(super) fn address() -> &'static str {
    &ADDRESS
}

/// Serves it.
pub(super) async fn sheet(request: HttpRequest) -> HttpResponse {
    let mut answer = bytes_with_etag(&request, "text/css; charset=utf-8", SHEET.into());
    let current = request.uri().to_string() == *ADDRESS;
    let keep = if current {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    answer
        .headers_mut()
        .insert(CACHE_CONTROL, HeaderValue::from_static(keep));
    answer
}
