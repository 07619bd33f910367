//! Sessions: signing in, new tokens, signing out.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use whorl_care::ids::SessionId;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::session::{Refresh, Session, SessionInfo, SignIn};
use whorl_store::sessions::{self, End, SessionRow};

use crate::body::Body;
use crate::caller::Caller;
use crate::network::{self, Network};
use crate::problem::Problem;
use crate::session::is_alive;
use crate::state::State;
use crate::{refresh, sign_in};

/// Signs in.
///
/// A device signs in with the key that it will sign events with; a browser signs in without one.
#[utoipa::path(
    tag = "accounts",
    security(()),
    request_body = SignIn,
    responses(
        (status = 201, description = "The session and its tokens", body = Session),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
        (status = 503, description = "Too many people sign in right now; see `Retry-After`", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/sessions")]
pub(crate) async fn open_session(
    state: Data<State>,
    request: HttpRequest,
    sign_in: Body<SignIn>,
) -> Result<HttpResponse, Problem> {
    let network = Network::of(network::origin(&request, &state.config.trusted_proxies));
    let session = sign_in::sign_in(&state, network, sign_in.into_inner()).await?;
    Ok(HttpResponse::Created().json(session))
}

/// Gives a session new tokens.
///
/// A refresh token is good once. If the answer is lost, a device sends the same request again, with its proof, and gets
/// the same tokens. A refresh token that comes back after its successor was used ends the session.
#[utoipa::path(
    tag = "accounts",
    security(()),
    request_body = Refresh,
    responses(
        (status = 200, description = "The session and its new tokens", body = Session),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/sessions/refresh")]
pub(crate) async fn refresh_session(
    state: Data<State>,
    request: Body<Refresh>,
) -> Result<Json<Session>, Problem> {
    let session = refresh::refresh(&state, request.into_inner()).await?;
    Ok(Json(session))
}

/// Lists where the caller is signed in.
#[utoipa::path(
    tag = "accounts",
    responses(
        (status = 200, description = "The sessions, the oldest first", body = Page<SessionInfo>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/sessions")]
pub(crate) async fn list_sessions(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<SessionInfo>>, Problem> {
    let now = state.clock.now();
    let rows = state
        .read(move |db| sessions::open_of_account(db, caller.account, now.naive_utc()))
        .await?;
    let alive = rows.iter().filter(|row| is_alive(row, now));
    Ok(Json(Page::whole(
        alive.map(|row| view(row, caller)).collect(),
    )))
}

/// Signs out: ends the session that asks, at once and on every server.
#[utoipa::path(
    tag = "accounts",
    responses(
        (status = 204, description = "The session is over"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/sessions/current")]
pub(crate) async fn end_current_session(
    state: Data<State>,
    caller: Caller,
) -> Result<HttpResponse, Problem> {
    end(&state, caller, caller.session, "signed-out").await
}

/// Ends one of the caller's sessions, at once and on every server.
#[utoipa::path(
    tag = "accounts",
    params(("id" = SessionId, Path, description = "The session")),
    responses(
        (status = 204, description = "The session is over"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/sessions/{id}")]
pub(crate) async fn end_session(
    state: Data<State>,
    caller: Caller,
    id: Path<SessionId>,
) -> Result<HttpResponse, Problem> {
    end(&state, caller, id.into_inner(), "ended-by-person").await
}

async fn end(
    state: &State,
    caller: Caller,
    id: SessionId,
    why: &'static str,
) -> Result<HttpResponse, Problem> {
    let at = state.clock.now().naive_utc();
    state
        .write(move |db| sessions::end(db, caller.account, id, End { at, why }))
        .await?;
    tracing::info!(target: "security", event = "session_ended", account = %caller.account, session = %id, why);
    Ok(HttpResponse::NoContent().finish())
}

pub(super) fn view(row: &SessionRow, caller: Caller) -> SessionInfo {
    SessionInfo {
        id: row.id,
        device_id: row.device_id.map(|key| key.0),
        current: row.id == caller.session,
        created_at: row.created_at.and_utc(),
        last_used_at: row.last_used_at.and_utc(),
    }
}
