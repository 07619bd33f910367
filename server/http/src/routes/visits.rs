//! Visits: the fewest days on which a farrier or a vet must come.

use actix_web::post;
use actix_web::web::{Data, Json};
use whorl_care::reading::Way;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::visits::{VisitPlan, VisitQuestion};

use crate::body::Body;
use crate::caller::Caller;
use crate::due_board::{self, Asker};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

/// Plans visits on the fewest days, so that every horse is seen while it is right for it.
///
/// From what is due as far as the caller may see it; nothing is recorded or booked. What is late comes first, and what has
/// no day is named with the reason.
#[utoipa::path(
    tag = "due",
    request_body = VisitQuestion,
    responses(
        (status = 200, description = "The plan", body = VisitPlan),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/visits/plan")]
pub(crate) async fn plan_visits(
    state: Data<State>,
    caller: Caller,
    question: Body<VisitQuestion>,
) -> Result<Json<VisitPlan>, Problem> {
    let question = question.into_inner();
    let asker = Asker {
        account: caller.account,
        now: state.clock.now(),
        on: Some(question.from),
    };
    let plan = state
        .ask(move |db, rules| due_board::visits(db, asker, question, rules))
        .await?;
    state.note(By::Account(caller.account), Way::Due, &plan);
    Ok(Json(plan))
}
