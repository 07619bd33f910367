//! Recall by lot number.

use actix_web::get;
use actix_web::web::{Data, Json, Query};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::reading::Way;
use whorl_care::recall::{LotKey, Wanted};
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::recall::Recall;

use crate::caller::Caller;
use crate::problem::Problem;
use crate::readings::By;
use crate::recall;
use crate::state::State;

/// Longer than any lot number or product name.
const LONGEST: usize = 200;

/// What is recalled.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Question {
    /// The lot number; case, blanks and hyphens don't matter.
    #[param(example = "T-4417")]
    pub(crate) lot: String,
    /// A part of the product's name.
    #[param(example = "tetanus")]
    pub(crate) product: Option<String>,
}

impl Question {
    /// Reads it.
    ///
    /// # Errors
    ///
    /// A problem that points to what can't be asked.
    pub(crate) fn read(self) -> Result<Wanted, Problem> {
        let lot = Some(self.lot.as_str())
            .filter(|text| text.chars().count() <= LONGEST)
            .and_then(LotKey::of)
            .ok_or_else(|| {
                Problem::invalid(
                    "/lot",
                    "give the lot number: letters or digits, as on the label",
                )
            })?;
        let product = self.product.filter(|text| !text.trim().is_empty());
        if product
            .as_ref()
            .is_some_and(|text| text.chars().count() > LONGEST)
        {
            return Err(Problem::invalid("/product", "200 characters at most"));
        }
        Ok(Wanted { lot, product })
    }
}

/// Tells which horses had a lot, among those that the caller may see, and who must be told.
#[utoipa::path(
    tag = "horses",
    params(Question),
    responses(
        (status = 200, description = "The doses of that lot that stand in the record", body = Recall),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/recall")]
pub(crate) async fn recall_lot(
    state: Data<State>,
    caller: Caller,
    question: Query<Question>,
) -> Result<Json<Recall>, Problem> {
    let wanted = question.into_inner().read()?;
    let now = state.clock.now();
    let answer = state
        .read(move |db| recall::recall(db, caller.account, &wanted, now))
        .await?;
    state.note(By::Account(caller.account), Way::Recall, &answer);
    Ok(Json(answer))
}
