//! What the server goes by: the procedure policy and the rules in force.

use actix_web::get;
use actix_web::web::{Data, Json};
use whorl_care::policy::Policy;
use whorl_care::rules::Listed;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;

use crate::caller::Caller;
use crate::state::State;

/// Shows who may record which kind, and at which grade. Defaults, not law: local law comes first.
#[utoipa::path(
    tag = "access",
    responses(
        (status = 200, description = "The policy in force, row by row", body = Policy),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/policy")]
pub(crate) async fn get_policy(state: Data<State>, _: Caller) -> Json<Policy> {
    Json(state.rules.policy.clone())
}

/// Lists every rule in force, with its source and how well it is confirmed.
#[utoipa::path(
    tag = "figures",
    responses(
        (status = 200, description = "The rules", body = Page<Listed>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/rules")]
pub(crate) async fn list_rules(state: Data<State>, _: Caller) -> Json<Page<Listed>> {
    Json(Page::whole(state.rules.listed().to_vec()))
}
