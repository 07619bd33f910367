//! What is due: for a horse, a barn, and as a list of one's own.

use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::figure::due::board::Choice;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Role;
use whorl_care::reading::Way;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::problem::Problem as ProblemDocument;

use crate::caller::Caller;
use crate::due_board::{self, Asker, Wanted};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

/// For which day.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Day {
    /// The day; today in the horse's barn if missing.
    #[param(example = "2027-03-04")]
    on: Option<NaiveDate>,
}

/// Which items of a list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Which {
    /// The day; today in each horse's barn if missing.
    #[param(example = "2027-03-04")]
    on: Option<NaiveDate>,
    /// Only what this role may do.
    #[param(example = "farrier")]
    by: Option<Role>,
    /// Also what may be done from this day or an earlier one; what comes within a month if missing.
    #[param(example = "2027-06-30")]
    until: Option<NaiveDate>,
}

impl Which {
    fn wanted(&self, mine: bool) -> Wanted {
        let choice = Choice {
            by: self.by,
            until: self.until,
            everything: false,
        };
        Wanted { choice, mine }
    }
}

fn asker(state: &State, caller: Caller, on: Option<NaiveDate>) -> Asker {
    Asker {
        account: caller.account,
        now: state.clock.now(),
        on,
    }
}

/// Tells everything that is or will be due for a horse, and why.
///
/// Guidance, not orders: the product's label, the vet and local law come first. Whoever may see some kinds of entries only
/// is told what rests on those.
#[utoipa::path(
    tag = "due",
    params(("horse" = HorseId, Path, description = "The horse"), Day),
    responses(
        (status = 200, description = "What is due", body = HorseDue),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/due")]
pub(crate) async fn due_for_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    day: Query<Day>,
) -> Result<Json<HorseDue>, Problem> {
    let asker = asker(&state, caller, day.on);
    let told = state
        .ask(move |db, rules| due_board::of_horse(db, asker, *horse, rules))
        .await?;
    state.note(By::Account(caller.account), Way::Due, &told);
    Ok(Json(told))
}

/// Lists what is due for the horses of a barn that the caller may see: overdue first, then by day.
#[utoipa::path(
    tag = "due",
    params(("barn" = BarnId, Path, description = "The barn"), Which),
    responses(
        (status = 200, description = "What is due", body = DueBoard),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns/{barn}/due")]
pub(crate) async fn due_in_barn(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
    which: Query<Which>,
) -> Result<Json<DueBoard>, Problem> {
    let asker = asker(&state, caller, which.on);
    let told = state
        .ask(move |db, rules| due_board::of_barn(db, asker, *barn, which.wanted(false), rules))
        .await?;
    state.note(By::Account(caller.account), Way::Due, &told.board);
    Ok(Json(told.board))
}

/// Lists what the caller may do for any horse that they have to do with, in whatever barn: a farrier's or a vet's list.
///
/// An item is on it if one of the caller's roles on that horse may do it and record it, by the procedure policy where the
/// horse stands.
#[utoipa::path(
    tag = "due",
    params(Which),
    responses(
        (status = 200, description = "What is due", body = DueBoard),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/due")]
pub(crate) async fn my_due_list(
    state: Data<State>,
    caller: Caller,
    which: Query<Which>,
) -> Result<Json<DueBoard>, Problem> {
    let asker = asker(&state, caller, which.on);
    let told = state
        .ask(move |db, rules| due_board::of_account(db, asker, which.wanted(true), rules))
        .await?;
    state.note(By::Account(caller.account), Way::Due, &told.board);
    Ok(Json(told.board))
}
