//! Whether horses may enter a show or a country.

use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::figure::entry::Stay;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::reading::Way;
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_contract::problem::Problem as ProblemDocument;

use crate::caller::Caller;
use crate::entry_check::{self, Entry};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

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
    let told = state
        .ask(move |db, rules| entry_check::of_horse(db, &entry, *horse, rules))
        .await?;
    state.note(By::Account(caller.account), Way::Entry, &told);
    Ok(Json(told))
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
    let told = state
        .ask(move |db, rules| entry_check::of_barn(db, &entry, *barn, rules))
        .await?;
    state.note(By::Account(caller.account), Way::Entry, &told);
    Ok(Json(told))
}
