//! A barn as a whole: whether dewormers still work there, and who is watched for an illness.

use actix_web::get;
use actix_web::web::{Data, Json, Path};
use whorl_care::ids::BarnId;
use whorl_care::reading::Way;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::yard::{BarnEfficacy, BarnHealth};

use crate::caller::Caller;
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;
use crate::yard;

/// Puts the egg counts of a barn's horses together into reduction tests, as far as the caller may see them.
#[utoipa::path(
    tag = "barns",
    params(("barn" = BarnId, Path, description = "The barn")),
    responses(
        (status = 200, description = "The tests, the latest treatment first", body = BarnEfficacy),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns/{barn}/efficacy")]
pub(crate) async fn get_efficacy(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
) -> Result<Json<BarnEfficacy>, Problem> {
    let now = state.clock.now();
    let answer = state
        .ask(move |db, rules| yard::of_worms(db, caller.account, *barn, (now, rules)))
        .await?;
    state.note(By::Account(caller.account), Way::Health, &answer);
    Ok(Json(answer))
}

/// Tells of fevers and contagious diseases in a barn, who was in contact, and who is watched until when; as far as the
/// caller may see. The vet and local law decide what follows.
#[utoipa::path(
    tag = "barns",
    params(("barn" = BarnId, Path, description = "The barn")),
    responses(
        (status = 200, description = "Cases, contacts and the watch list", body = BarnHealth),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns/{barn}/health-watch")]
pub(crate) async fn get_health_watch(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
) -> Result<Json<BarnHealth>, Problem> {
    let now = state.clock.now();
    let answer = state
        .ask(move |db, rules| yard::of_health(db, caller.account, *barn, (now, rules)))
        .await?;
    state.note(By::Account(caller.account), Way::Health, &answer);
    Ok(Json(answer))
}
