//! What the server says of itself.

use actix_web::get;
use actix_web::web::{Data, Json};
use whorl_contract::attachment::LARGEST;
use whorl_contract::event::VOCABULARY;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::server::{Limits, ServerInfo};
use whorl_contract::sync::{EVENTS_PER_PULL, EVENTS_PER_PUSH};
use whorl_store::ledger;

use crate::app::LARGEST_BODY;
use crate::problem::Problem;
use crate::state::State;

/// Gives the server's name, key, clock and limits.
#[utoipa::path(
    tag = "server",
    security(()),
    responses(
        (status = 200, description = "The server", body = ServerInfo),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
        (status = 503, description = "The database doesn't answer", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/server")]
pub(crate) async fn get_server(state: Data<State>) -> Result<Json<ServerInfo>, Problem> {
    let epoch = state.read(ledger::epoch).await?;
    Ok(Json(ServerInfo {
        name: state.config.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        vocabulary: VOCABULARY,
        epoch,
        key: state.keys.heads.public(),
        handovers: state.keys.handovers.clone(),
        time: state.clock.now(),
        limits: Limits {
            events_per_push: count(EVENTS_PER_PUSH),
            events_per_pull: count(EVENTS_PER_PULL),
            body_bytes: u64::from(count(LARGEST_BODY)),
            attachment_bytes: u64::from(count(LARGEST)),
        },
    }))
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
