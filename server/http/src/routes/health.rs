//! Whether the server is up, and whether it can do its work.

use actix_web::get;
use actix_web::web::{Data, Json};
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::server::Health;

use crate::problem::Problem;
use crate::state::State;

/// Says that the process runs.
#[utoipa::path(
    tag = "server",
    security(()),
    responses((status = 200, description = "The process runs", body = Health)),
)]
#[get("/health/live")]
pub(crate) async fn live() -> Json<Health> {
    Json(Health {
        status: "ok".into(),
    })
}

/// Says whether the database answers.
#[utoipa::path(
    tag = "server",
    security(()),
    responses(
        (status = 200, description = "The server can do its work", body = Health),
        (status = 503, description = "The database doesn't answer", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/health/ready")]
pub(crate) async fn ready(state: Data<State>) -> Result<Json<Health>, Problem> {
    let store = state.store.clone();
    let pinged = actix_web::web::block(move || store.ping());
    state.in_time(pinged).await???;
    Ok(Json(Health {
        status: "ok".into(),
    }))
}
