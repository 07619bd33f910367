//! Bodies: JSON as the types of the contract, and what is taken as it comes, up to a limit.

use std::future::Future;
use std::ops::Deref;
use std::pin::Pin;

use actix_web::dev;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{Bytes, Json, Payload};
use actix_web::{Error, FromRequest, HttpRequest};
use serde::de::DeserializeOwned;
use whorl_care::objects::Objects;

use crate::problem::{Kind, Problem};

/// A JSON body; what is meant as an object is written as one, however deep in it.
#[derive(Clone, Debug)]
pub(crate) struct Body<T>(pub(crate) T);

impl<T> Body<T> {
    /// What it says.
    pub(crate) fn into_inner(self) -> T {
        self.0
    }
}

impl<T> Deref for Body<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Error>>>>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let body = Json::<Objects<T>>::from_request(request, payload);
        Box::pin(async move { Ok(Self(body.await?.into_inner().0)) })
    }
}

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
