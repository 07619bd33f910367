//! Errors on their way out: the only place that knows HTTP statuses.

use std::fmt;

use actix_web::error::{
    BlockingError, InternalError, JsonPayloadError, PathError, PayloadError, QueryPayloadError,
};
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use whorl_care::fault::Faults;
pub use whorl_contract::problem::Kind;
use whorl_contract::problem::{Fault, MEDIA_TYPE, Problem as Document};
use whorl_store::StoreError;

/// A refusal or failure, ready to leave as a problem document (RFC 9457).
#[derive(Debug)]
pub struct Problem {
    kind: Kind,
    detail: Option<String>,
    policy_row: Option<String>,
    errors: Vec<Fault>,
    retry_after: Option<u64>,
    /// For the log only; never sent.
    cause: Option<String>,
}

impl Problem {
    /// A problem of `kind`, with this case in words.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Self {
            detail: Some(detail.into()),
            ..Self::bare(kind)
        }
    }

    /// A problem of `kind` whose title says enough.
    #[must_use]
    pub fn bare(kind: Kind) -> Self {
        Self {
            kind,
            detail: None,
            policy_row: None,
            errors: Vec::new(),
            retry_after: None,
            cause: None,
        }
    }

    /// Nothing here, or nothing that the caller may know of: the two look the same on purpose.
    #[must_use]
    pub fn not_found() -> Self {
        Self::bare(Kind::NotFound)
    }

    /// A value that can't stand.
    pub fn invalid(pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        Faults::one(pointer, detail).into()
    }

    /// Names the row of the procedure policy that refused.
    #[must_use]
    pub fn with_policy_row(mut self, row: impl Into<String>) -> Self {
        self.policy_row = Some(row.into());
        self
    }

    /// Says after how many seconds to try again.
    #[must_use]
    pub fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after = Some(seconds);
        self
    }

    /// A failure of ours; `cause` goes to the log, never to the client.
    pub fn internal(cause: impl fmt::Display) -> Self {
        Self {
            cause: Some(cause.to_string()),
            ..Self::bare(Kind::Internal)
        }
    }

    /// The database takes too long; what was asked may yet be done, and asking again shows it.
    pub(crate) fn too_slow(patience: std::time::Duration) -> Self {
        Self {
            cause: Some(format!("the database took longer than {patience:?}")),
            ..Self::bare(Kind::Unavailable).retry_after(5)
        }
    }

    /// Its kind.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// After how many seconds to try again, where that is known.
    pub(crate) fn seconds_to_wait(&self) -> Option<u64> {
        self.retry_after
    }

    /// The document that leaves.
    #[must_use]
    pub fn document(&self) -> Document {
        Document {
            kind: self.kind,
            title: self.kind.title().to_owned(),
            status: self.status_code().as_u16(),
            detail: self.detail.clone(),
            instance: crate::exchange::request_id(),
            policy_row: self.policy_row.clone(),
            errors: self.errors.clone(),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind.code())?;
        for text in [&self.detail, &self.cause].into_iter().flatten() {
            write!(f, ": {text}")?;
        }
        Ok(())
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        match self.kind {
            Kind::Malformed => StatusCode::BAD_REQUEST,
            Kind::Invalid | Kind::NotGenuine => StatusCode::UNPROCESSABLE_ENTITY,
            Kind::Unauthenticated | Kind::WrongCredentials | Kind::Reauthenticate => {
                StatusCode::UNAUTHORIZED
            }
            Kind::Forbidden | Kind::PolicyRefuses | Kind::DeviceRefused | Kind::NoGrant => {
                StatusCode::FORBIDDEN
            }
            Kind::NotFound => StatusCode::NOT_FOUND,
            Kind::MethodNotAllowed => StatusCode::METHOD_NOT_ALLOWED,
            Kind::Conflict | Kind::SameIdOtherBody => StatusCode::CONFLICT,
            Kind::Gone => StatusCode::GONE,
            Kind::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Kind::UnsupportedMediaType => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Kind::TooManyRequests => StatusCode::TOO_MANY_REQUESTS,
            Kind::Unavailable => StatusCode::SERVICE_UNAVAILABLE,
            Kind::Internal | Kind::Unknown => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    fn error_response(&self) -> HttpResponse {
        match &self.cause {
            // A flood of sign-ins is told to come back by this, too: nobody may fill the log of errors by asking often.
            None if self.kind == Kind::Unavailable => {
                tracing::debug!(problem = %self, "a request was put off");
            }
            _ if self.status_code().is_server_error() => {
                tracing::error!(problem = %self, "a request failed");
            }
            _ => {}
        }
        let mut answer = HttpResponse::build(self.status_code());
        if let Some(seconds) = self.retry_after {
            answer.insert_header((header::RETRY_AFTER, seconds));
        }
        if self.status_code() == StatusCode::UNAUTHORIZED {
            answer.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
        }
        let body = serde_json::to_vec(&self.document()).unwrap_or_default();
        answer.content_type(MEDIA_TYPE).body(body)
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NotFound => Self::not_found(),
            StoreError::Conflict => Self::bare(Kind::Conflict),
            StoreError::Closing | StoreError::Connection(_) => Self {
                cause: Some(error.to_string()),
                ..Self::bare(Kind::Unavailable).retry_after(2)
            },
            StoreError::Busy(_) => Self {
                cause: Some(error.to_string()),
                ..Self::bare(Kind::Unavailable).retry_after(1)
            },
            StoreError::Disk(_) => Self {
                cause: Some(error.to_string()),
                ..Self::new(
                    Kind::Unavailable,
                    "the server's disk is full or failing; nothing of this was kept, and its operator must see to it",
                )
                .retry_after(60)
            },
            StoreError::Database(ref why) => Self::internal(format!("{error}: {why}")),
            other => Self::internal(other),
        }
    }
}

impl From<Faults> for Problem {
    fn from(faults: Faults) -> Self {
        Self {
            errors: faults.0,
            ..Self::bare(Kind::Invalid)
        }
    }
}

impl From<BlockingError> for Problem {
    fn from(error: BlockingError) -> Self {
        Self::internal(error)
    }
}

/// A JSON body that can't be taken: not JSON, too large, a field that is missing, unknown or of the wrong type.
#[expect(clippy::needless_pass_by_value, reason = "actix hands it over")]
pub(crate) fn of_json(error: JsonPayloadError, _: &HttpRequest) -> actix_web::Error {
    match &error {
        JsonPayloadError::OverflowKnownLength { .. } | JsonPayloadError::Overflow { .. } => {
            Problem::bare(Kind::TooLarge)
        }
        JsonPayloadError::ContentType => {
            Problem::new(Kind::UnsupportedMediaType, "send application/json")
        }
        JsonPayloadError::Deserialize(why) if why.is_data() => {
            Problem::invalid("", why.to_string())
        }
        JsonPayloadError::Payload(PayloadError::Overflow) => Problem::bare(Kind::TooLarge),
        other => Problem::new(Kind::Malformed, other.to_string()),
    }
    .into()
}

/// A path segment that is no id: there can be nothing behind it, unless it is a word that another method takes.
pub(crate) fn of_path(_: PathError, request: &HttpRequest) -> actix_web::Error {
    match crate::methods::wrong_method(request) {
        Some(answer) => InternalError::from_response("no such method", answer).into(),
        None => Problem::not_found().into(),
    }
}

/// A query that can't be read.
#[expect(clippy::needless_pass_by_value, reason = "actix hands it over")]
pub(crate) fn of_query(error: QueryPayloadError, _: &HttpRequest) -> actix_web::Error {
    Problem::new(Kind::Malformed, error.to_string()).into()
}
