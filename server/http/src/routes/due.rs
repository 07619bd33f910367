//! What is due, and whether horses may enter.

use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::figure::due::board::Choice;
use whorl_care::figure::entry::Stay;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Role;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_contract::problem::Problem as ProblemDocument;

use crate::caller::Caller;
use crate::due_board::{self, Asker};
use crate::entry_check::{self, Entry};
use crate::problem::Problem;
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
    fn choice(&self) -> Choice {
        Choice {
            by: self.by,
            until: self.until,
            everything: false,
        }
    }
}

/// Which entry.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Stays {
    /// The rule sets, separated by commas: a horse must meet all of them. `GET /v1/rules` lists them.
    #[param(example = "fei-influenza,eia-12-months")]
    rules: String,
    /// The day of arrival.
    #[param(example = "2027-04-10")]
    on: NaiveDate,
    /// The last day of the stay; the day of arrival if missing.
    #[param(example = "2027-04-12")]
    until: Option<NaiveDate>,
}

impl Stays {
    fn entry(&self, state: &State, caller: Caller) -> Entry {
        let names = self.rules.split(',').map(str::trim);
        Entry {
            rules: names
                .filter(|name| !name.is_empty())
                .map(str::to_owned)
                .collect(),
            stay: Stay {
                arrives: self.on,
                leaves: self.until.unwrap_or(self.on),
            },
            account: caller.account,
            now: state.clock.now(),
        }
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
    let rules = state.rules.clone();
    let due = state
        .read(move |db| due_board::of_horse(db, asker, *horse, &rules))
        .await?;
    Ok(Json(due))
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
    let rules = state.rules.clone();
    let board = state
        .read(move |db| due_board::of_barn(db, asker, *barn, which.choice(), &rules))
        .await?;
    Ok(Json(board.board))
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
    let rules = state.rules.clone();
    let board = state
        .read(move |db| due_board::of_account(db, asker, which.choice(), true, &rules))
        .await?;
    Ok(Json(board.board))
}

/// Checks whether a horse may enter on a day by some rule sets, with the reasons and a plan for what is lacking.
///
/// What is unknown or withheld from the caller is never a pass. The organiser and the authority decide.
#[utoipa::path(
    tag = "due",
    params(("horse" = HorseId, Path, description = "The horse"), Stays),
    responses(
        (status = 200, description = "The answer", body = HorseEntry),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/entry")]
pub(crate) async fn entry_of_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    stays: Query<Stays>,
) -> Result<Json<HorseEntry>, Problem> {
    let entry = stays.entry(&state, caller);
    let rules = state.rules.clone();
    let checked = state
        .read(move |db| entry_check::of_horse(db, &entry, *horse, &rules))
        .await?;
    Ok(Json(checked))
}

/// Checks the same for every horse of a barn that the caller may see.
#[utoipa::path(
    tag = "due",
    params(("barn" = BarnId, Path, description = "The barn"), Stays),
    responses(
        (status = 200, description = "The answers, by the horses' names", body = BarnEntry),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns/{barn}/entry")]
pub(crate) async fn entry_of_barn(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
    stays: Query<Stays>,
) -> Result<Json<BarnEntry>, Problem> {
    let entry = stays.entry(&state, caller);
    let rules = state.rules.clone();
    let checked = state
        .read(move |db| entry_check::of_barn(db, &entry, *barn, &rules))
        .await?;
    Ok(Json(checked))
}
