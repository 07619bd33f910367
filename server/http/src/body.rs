//! Bodies that are taken as they come, up to a limit.

use actix_web::HttpRequest;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{Bytes, Payload};

use crate::problem::{Kind, Problem};

/// The whole body.
///
/// # Errors
///
/// [`Kind::TooLarge`] beyond `limit` bytes; [`Kind::Malformed`] if it breaks off.
pub(crate) async fn whole(body: Payload, limit: usize) -> Result<Bytes, Problem> {
    body.to_bytes_limited(limit)
        .await
        .map_err(|_| Problem::new(Kind::TooLarge, format!("at most {limit} bytes")))?
        .map_err(|error| Problem::new(Kind::Malformed, error.to_string()))
}

/// The media type that the body is said to have, in lower case and without parameters; empty if none is said.
pub(crate) fn media_type(request: &HttpRequest) -> String {
    let header = request.headers().get(CONTENT_TYPE);
    let text = header.and_then(|value| value.to_str().ok()).unwrap_or("");
    let essence = text.split(';').next().unwrap_or("");
    essence.trim().to_ascii_lowercase()
}
