//! What holds for every request and its answer: an id, a line in the log, a limit on time, and the headers that keep
//! browsers and caches from harm.

use std::cell::Cell;
use std::convert::Infallible;
use std::future::{Future, Ready, ready};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::task::Poll;
use std::time::{Duration, Instant};

use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, FromRequest, HttpMessage, HttpRequest};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use tracing::Instrument;

use crate::problem::{Kind, Problem};
use crate::state::State;
use crate::traces;

/// Carries the id of a request, there and back.
const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// A request that isn't answered in this time is given up: slow enough for a photo over a poor line.
const LONGEST: Duration = Duration::from_mins(5);

tokio::task_local! {
    static ID: String;
    static ACCOUNT: Cell<Option<String>>;
}

/// The id of the request that is being answered, if one is.
pub(crate) fn request_id() -> Option<String> {
    ID.try_with(Clone::clone).ok()
}

/// Notes for the log whose request this is.
pub(crate) fn note_account(account: &impl ToString) {
    // Outside of a request there is no line in the log to note it for.
    let _ = ACCOUNT.try_with(|noted| noted.set(Some(account.to_string())));
}

/// Whether a request asks for the head of an answer only: nobody reads then what is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct HeadOnly(pub(crate) bool);

impl FromRequest for HeadOnly {
    type Error = Infallible;
    type Future = Ready<Result<Self, Infallible>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let asked = request.extensions().get::<Self>().copied();
        ready(Ok(asked.unwrap_or(Self(false))))
    }
}

/// Answers one request.
pub(crate) async fn exchange(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let began = Instant::now();
    let id = id_of(request.headers());
    let method = request.method().clone();
    let place = Place::of(request.path());
    let shared = is_shared(request.path());
    let state = request.app_data::<Data<State>>().cloned();
    if method == Method::HEAD {
        // Routes know GET only; the connection itself leaves the body of an answer to HEAD away.
        request.head_mut().method = Method::GET;
        request.extensions_mut().insert(HeadOnly(true));
    }
    let span = tracing::info_span!("request", request_id = %id);
    let trusted = state
        .as_ref()
        .map(|state| state.config.trusted_proxies.as_slice());
    let trace = traces::of_request(&request, &id, trusted.unwrap_or_default());
    let traced = trace.clone();
    let inner = async {
        let answered = answered(next.call(request)).await;
        // The route's pattern, not the address itself: ids and queries don't belong in the log.
        let route = answered
            .as_ref()
            .ok()
            .and_then(|answer| answer.request().match_pattern());
        let status = answered.as_ref().map_or_else(
            |error| error.as_response_error().status_code(),
            ServiceResponse::status,
        );
        if let Some(state) = &state {
            state
                .metrics
                .answered(&method, route.clone(), status.as_u16(), began.elapsed());
        }
        traces::answered(&traced, method.as_str(), route.as_deref(), status);
        let account = ACCOUNT.with(Cell::take);
        let milliseconds = u64::try_from(began.elapsed().as_millis()).unwrap_or(u64::MAX);
        tracing::info!(target: "whorl_http::access", method = %method, route, status = status.as_u16(), account,
            milliseconds, "request");
        answered
    };
    let scoped = ACCOUNT.scope(Cell::new(None), inner.instrument(span).instrument(trace));
    match ID.scope(id.clone(), scoped).await {
        Ok(mut answer) => {
            finish(answer.headers_mut(), &id, place);
            if shared {
                keep_private(answer.headers_mut());
            }
            Ok(answer)
        }
        Err(error) => {
            let mut answer = error.as_response_error().error_response();
            finish(answer.headers_mut(), &id, place);
            if shared {
                keep_private(answer.headers_mut());
            }
            Err(InternalError::from_response(error, answer).into())
        }
    }
}

/// The answer, or a problem if it takes too long or the handler panics: the server lives on either way.
async fn answered<T>(work: impl Future<Output = Result<T, Error>>) -> Result<T, Error> {
    let mut work = pin!(work);
    let guarded = std::future::poll_fn(move |context| {
        match catch_unwind(AssertUnwindSafe(|| work.as_mut().poll(context))) {
            Ok(poll) => poll,
            Err(_) => Poll::Ready(Err(Problem::internal("a handler panicked").into())),
        }
    });
    match tokio::time::timeout(LONGEST, guarded).await {
        Ok(answered) => answered,
        Err(_) => Err(Problem::new(Kind::Unavailable, "the request took too long").into()),
    }
}

/// The caller's id for the request, if it is harmless in a log; else one of ours.
fn id_of(headers: &HeaderMap) -> String {
    let harmless = |id: &&str| {
        (1..=64).contains(&id.len())
            && id
                .bytes()
                .all(|one| one.is_ascii_alphanumeric() || matches!(one, b'-' | b'_' | b'.'))
    };
    let theirs = headers.get(REQUEST_ID).and_then(|id| id.to_str().ok());
    match theirs.filter(harmless) {
        Some(id) => id.to_owned(),
        None => crate::keys::random::<12>()
            .map_or_else(|_| "none".to_owned(), |bytes| URL_SAFE_NO_PAD.encode(bytes)),
    }
}

/// What kind of answer an address gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    /// Somebody's data.
    Data,
    /// The page on which the description is read: its own scripts and styles, nothing from elsewhere.
    Page,
    /// Anything else.
    Other,
}

impl Place {
    fn of(path: &str) -> Self {
        if path.starts_with("/v1/") {
            Self::Data
        } else if path.starts_with("/docs") {
            Self::Page
        } else {
            Self::Other
        }
    }

    fn content_policy(self) -> &'static str {
        match self {
            Self::Page => {
                "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
                 connect-src 'self'; frame-ancestors 'none'"
            }
            Self::Data | Self::Other => "default-src 'none'; frame-ancestors 'none'",
        }
    }
}

fn finish(headers: &mut HeaderMap, id: &str, place: Place) {
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
    headers.insert(
        header::X_CONTENT_TYPE_OPTIONS,
        HeaderValue::from_static("nosniff"),
    );
    let mut unless_set = |name: HeaderName, value: &'static str| {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    };
    unless_set(header::REFERRER_POLICY, "no-referrer");
    unless_set(header::CONTENT_SECURITY_POLICY, place.content_policy());
    if place == Place::Data {
        unless_set(header::CACHE_CONTROL, "no-store");
    }
}

/// Whether an address holds the secret of a link.
fn is_shared(path: &str) -> bool {
    path.starts_with("/v1/shared/") || path.starts_with("/shared/")
}

/// What is behind a link stays with whoever has it, whatever a handler says: no search engine, no cache, and no site
/// that is visited from there learns of it.
fn keep_private(headers: &mut HeaderMap) {
    for (name, value) in [
        (HeaderName::from_static("x-robots-tag"), "noindex, nofollow"),
        (header::CACHE_CONTROL, "no-store"),
        (header::REFERRER_POLICY, "no-referrer"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_that_could_harm_the_log_is_replaced() {
        let with = |id: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(REQUEST_ID, HeaderValue::from_str(id).expect("a value"));
            id_of(&headers)
        };
        assert_eq!(with("aisle-7.b_3"), "aisle-7.b_3");
        for wrong in ["", "a b", "{\"level\":\"x\"}", &"a".repeat(65)] {
            assert_eq!(with(wrong).len(), 16, "{wrong}");
        }
        assert_ne!(id_of(&HeaderMap::new()), id_of(&HeaderMap::new()));
    }

    /// What was logged, as text.
    #[derive(Clone, Default)]
    struct Lines(std::sync::Arc<std::sync::Mutex<Vec<u8>>>);

    impl std::io::Write for Lines {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.lock().expect("the lines").extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    #[actix_web::test]
    async fn the_log_names_the_route_and_never_the_secret_in_an_address() {
        use actix_web::test::{TestRequest, call_service, init_service};
        let lines = Lines::default();
        let writer = lines.clone();
        let subscriber = tracing_subscriber::fmt()
            .json()
            .with_max_level(tracing::Level::TRACE)
            .with_writer(move || writer.clone())
            .finish();
        let _logging = tracing::subscriber::set_default(subscriber);
        let broken = || async { Err::<actix_web::HttpResponse, _>(Problem::internal("it broke")) };
        let app = actix_web::App::new()
            .route("/calendar/{token}.ics", actix_web::web::get().to(broken))
            .wrap(actix_web::middleware::from_fn(exchange));
        let app = init_service(app).await;
        let request = TestRequest::get().uri("/calendar/hS3vJ8yq0XbT.ics?key=hS3vJ8yq0XbT");
        assert_eq!(call_service(&app, request.to_request()).await.status(), 500);
        let text = String::from_utf8(lines.0.lock().expect("the lines").clone()).expect("text");
        assert!(text.contains("/calendar/{token}.ics"), "{text}");
        assert!(!text.contains("hS3vJ8yq0XbT"), "{text}");
    }
}
