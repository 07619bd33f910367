//! Bundles: a horse's history as one signed file.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{Data, Path};
use actix_web::{HttpResponse, get, post};
use whorl_care::ids::HorseId;
use whorl_care::reading::Way;
use whorl_contract::bundle::{Bundle, NewBundle};
use whorl_contract::problem::Problem as ProblemDocument;

use super::shares::check_is_owner;
use crate::access;
use crate::body::Body;
use crate::bundling::{Unsigned, check_seal};
use crate::caller::Caller;
use crate::exchange::HeadOnly;
use crate::problem::Problem;
use crate::readings::By;
use crate::shared_history;
use crate::state::State;

/// The file as it leaves.
fn file(horse: HorseId, bytes: Vec<u8>) -> HttpResponse {
    let name = format!("attachment; filename=\"history-{horse}.whorl.json\"");
    HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((CONTENT_DISPOSITION, name))
        .body(bytes)
}

/// Makes a bundle of a horse's history, whole or with some of it kept back; its owners may.
///
/// The answer is the file, byte for byte: in the form of RFC 8785 and signed by this server. `whorl verify` checks it.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body = NewBundle,
    responses(
        (status = 200, description = "The bundle", body = Bundle),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses/{horse}/bundle")]
pub(crate) async fn make_bundle(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    new: Body<NewBundle>,
) -> Result<HttpResponse, Problem> {
    let (now, horse) = (state.clock.now(), *horse);
    let seal = new.into_inner().seal;
    check_seal(&seal)?;
    let unsigned = state
        .read(move |db| {
            let (row, access) = access::horse(db, caller.account, horse, now)?;
            check_is_owner(&access)?;
            Ok::<_, Problem>(Unsigned::read(db, row, caller.account, &seal)?)
        })
        .await?;
    let bytes = unsigned.sign(&state, now)?;
    state.note(By::Account(caller.account), Way::Bundle, &horse);
    tracing::info!(target: "security", event = "bundle_made", account = %caller.account, horse = %horse);
    Ok(file(horse, bytes))
}

/// Gives the bundle of a shared history to whoever has the link.
#[utoipa::path(
    tag = "horses",
    params(("token" = String, Path, description = "The secret of the link", example = "kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi")),
    responses(
        (status = 200, description = "The bundle", body = Bundle),
        (status = "4XX", description = "The link is unknown or has ended", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
    security(()),
)]
#[get("/v1/shared/{token}/bundle")]
pub(crate) async fn get_shared_bundle(
    state: Data<State>,
    token: Path<String>,
    head: HeadOnly,
) -> Result<HttpResponse, Problem> {
    let (horse, bytes) = shared_history::bundle(&state, &token, head).await?;
    Ok(file(horse, bytes))
}
