//! Licences: professionals enter theirs, an owner or the operator looks at the paper.

use std::collections::BTreeSet;

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, delete, get, post};
use whorl_care::fault::Faults;
use whorl_care::ids::{AccountId, LicenceId};
use whorl_care::kind::Role;
use whorl_contract::licence::{Licence, NewLicence};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::licences::{self, LicenceRow};
use whorl_store::{Db, StoreError, accounts, barns, grants, horses};

use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::state::State;

fn view(row: LicenceRow, account_name: String) -> Licence {
    Licence {
        id: row.id,
        account_id: row.account_id,
        account_name,
        role: row.role,
        number: row.number,
        jurisdiction: row.jurisdiction,
        valid_until: row.valid_until,
        created_at: row.created_at.and_utc(),
        seen_by: row.seen_by.and_then(|id| id.parse().ok()),
        seen_at: row.seen_at.map(|at| at.and_utc()),
        withdrawn_at: row.withdrawn_at.map(|at| at.and_utc()),
    }
}

/// Everyone who holds or held a grant on a horse or barn of this person.
fn professionals(db: &mut Db, owner: AccountId) -> Result<BTreeSet<AccountId>, StoreError> {
    let horses: Vec<_> = horses::owned_named_or_in(db, owner, &[], &[])?
        .into_iter()
        .map(|horse| horse.id)
        .collect();
    let barns: Vec<_> = barns::owned_or_named(db, owner, &[])?
        .into_iter()
        .map(|barn| barn.id)
        .collect();
    Ok(grants::covering(db, &horses, &barns)?
        .into_iter()
        .map(|(row, _)| row.account_id)
        .collect())
}

/// Enters the caller's licence.
#[utoipa::path(
    tag = "access",
    responses(
        (status = 201, description = "The licence", body = Licence),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/licences")]
pub(crate) async fn enter_licence(
    state: Data<State>,
    caller: Caller,
    new: Json<NewLicence>,
) -> Result<HttpResponse, Problem> {
    let new = new.into_inner();
    let now = state.clock.now();
    let mut faults = Faults::default();
    if !matches!(new.role, Role::Vet | Role::Farrier) {
        faults.add("/role", "vets and farriers have licences");
    }
    let number = new.number.trim();
    if number.is_empty() || number.chars().count() > 100 {
        faults.add("/number", "1 to 100 characters");
    }
    let jurisdiction = new.jurisdiction.trim().to_ascii_lowercase();
    if !(2..=16).contains(&jurisdiction.len())
        || !jurisdiction
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    {
        faults.add("/jurisdiction", "an ISO 3166 code such as gb or us-fl");
    }
    if new.valid_until.is_some_and(|day| day < now.date_naive()) {
        faults.add("/valid_until", "this licence has run out");
    }
    faults.or(())?;
    let row = LicenceRow {
        id: state.new_id()?,
        account_id: caller.account,
        role: new.role,
        number: number.to_owned(),
        jurisdiction,
        valid_until: new.valid_until,
        created_at: now.naive_utc(),
        seen_by: None,
        seen_at: None,
        withdrawn_at: None,
    };
    let entered = row.clone();
    let name = state
        .write(move |db| {
            licences::add(db, row)?;
            Ok::<_, StoreError>(accounts::get(db, caller.account)?.name)
        })
        .await?;
    Ok(HttpResponse::Created().json(view(entered, name)))
}

/// Lists the caller's licences, and those of everyone who holds a grant on a horse or barn of theirs.
#[utoipa::path(
    tag = "access",
    responses(
        (status = 200, description = "The licences", body = Page<Licence>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/licences")]
pub(crate) async fn list_licences(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<Licence>>, Problem> {
    let rows = state
        .read(move |db| {
            let mut people = professionals(db, caller.account)?;
            people.insert(caller.account);
            let people: Vec<AccountId> = people.into_iter().collect();
            licences::of(db, &people)
        })
        .await?;
    Ok(Json(Page::whole(
        rows.into_iter()
            .map(|(row, name)| view(row, name))
            .collect(),
    )))
}

/// Withdraws one of the caller's licences: nothing more is attested by it.
#[utoipa::path(
    tag = "access",
    params(("licence" = LicenceId, Path, description = "The licence")),
    responses(
        (status = 204, description = "It is withdrawn"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/licences/{licence}")]
pub(crate) async fn withdraw_licence(
    state: Data<State>,
    caller: Caller,
    licence: Path<LicenceId>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc();
    state
        .write(move |db| {
            let (row, _) = licences::get(db, *licence)?;
            if row.account_id != caller.account {
                return Err(Problem::not_found());
            }
            Ok(licences::withdraw(db, row.id, now)?)
        })
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Marks a licence as seen: by the operator, or an owner whose horse or barn its holder has a grant on.
#[utoipa::path(
    tag = "access",
    params(("licence" = LicenceId, Path, description = "The licence")),
    responses(
        (status = 200, description = "The licence, with who saw it", body = Licence),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/licences/{licence}/seen")]
pub(crate) async fn see_licence(
    state: Data<State>,
    caller: Caller,
    licence: Path<LicenceId>,
) -> Result<Json<Licence>, Problem> {
    let now = state.clock.now().naive_utc();
    let (row, name) = state
        .write(move |db| {
            let (row, _) = licences::get(db, *licence)?;
            if row.account_id == caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "somebody else must look at your licence",
                ));
            }
            if !caller.operator && !professionals(db, caller.account)?.contains(&row.account_id) {
                return Err(Problem::not_found());
            }
            licences::seen(db, row.id, caller.account, now)?;
            Ok(licences::get(db, row.id)?)
        })
        .await?;
    Ok(Json(view(row, name)))
}
