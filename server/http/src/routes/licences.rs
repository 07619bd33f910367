//! Licences: professionals enter theirs, an owner or the operator looks at the paper.

use std::collections::BTreeSet;

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get, post};
use chrono::{NaiveDate, NaiveDateTime};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::fault::Faults;
use whorl_care::ids::{AccountId, LicenceId};
use whorl_care::kind::Role;
use whorl_contract::licence::{Licence, NewLicence};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::licences::{self, LicenceRow};
use whorl_store::{Db, StoreError, accounts, barns, grants, horses};

use super::barns::is_region;
use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::state::State;
use crate::text;

pub(super) fn view((row, account_name): (LicenceRow, String)) -> Licence {
    Licence {
        id: row.id,
        account_id: row.account_id,
        account_name,
        role: row.role,
        number: row.number,
        jurisdiction: row.jurisdiction,
        valid_until: row.valid_until,
        created_at: row.created_at.and_utc(),
        seen_by: row.seen_by.map(|id| id.0),
        seen_at: row.seen_at.map(|at| at.and_utc()),
        withdrawn_at: row.withdrawn_at.map(|at| at.and_utc()),
    }
}

/// The licence, tidied up.
fn checked(mut new: NewLicence, today: NaiveDate) -> Result<NewLicence, Faults> {
    new.jurisdiction = new.jurisdiction.trim().to_ascii_lowercase();
    let mut faults = Faults::default();
    if !matches!(new.role, Role::Vet | Role::Farrier) {
        faults.add("/role", "vets and farriers have licences");
    }
    match text::line("/number", &new.number, 100) {
        Ok(number) => new.number = number,
        Err(wrong) => faults.0.extend(wrong.0),
    }
    if !is_region(&new.jurisdiction) {
        faults.add("/jurisdiction", "an ISO 3166 code such as gb or us-fl");
    }
    if let Some(day) = new.valid_until.filter(|day| *day < today) {
        faults.add("/valid_until", format!("this licence ran out on {day}"));
    }
    faults.or(new)
}

/// The people who hold a grant on a horse or barn of somebody's.
#[derive(Debug, Default)]
struct Professionals {
    /// Those who hold or held one.
    ever: BTreeSet<AccountId>,
    /// Those whose grant is in force.
    now: BTreeSet<AccountId>,
}

fn professionals(
    db: &mut Db,
    owner: AccountId,
    at: NaiveDateTime,
) -> Result<Professionals, StoreError> {
    let horses: Vec<_> = horses::owned_named_or_in(db, owner, &[], &[])?
        .into_iter()
        .map(|horse| horse.id)
        .collect();
    let barns: Vec<_> = barns::owned_or_named(db, owner, &[])?
        .into_iter()
        .map(|barn| barn.id)
        .collect();
    let mut found = Professionals::default();
    for (row, _) in grants::covering(db, &horses, &barns)? {
        found.ever.insert(row.account_id);
        if access::in_force(&row, at) {
            found.now.insert(row.account_id);
        }
    }
    Ok(found)
}

/// Enters the caller's licence. Entering the same one again changes nothing.
#[utoipa::path(
    tag = "access",
    request_body = NewLicence,
    responses(
        (status = 201, description = "The licence", body = Licence),
        (status = 200, description = "It was entered before", body = Licence),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/licences")]
pub(crate) async fn enter_licence(
    state: Data<State>,
    caller: Caller,
    new: Body<NewLicence>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let new = checked(new.into_inner(), now.date_naive())?;
    let row = LicenceRow {
        id: state.new_id()?,
        account_id: caller.account,
        role: new.role,
        number: new.number,
        jurisdiction: new.jurisdiction,
        valid_until: new.valid_until,
        created_at: now.naive_utc(),
        seen_by: None,
        seen_at: None,
        withdrawn_at: None,
    };
    let (added, licence) = state
        .write(move |db| {
            let same = |(old, _): &(LicenceRow, String)| {
                (old.role, &old.number, &old.jurisdiction, old.valid_until)
                    == (row.role, &row.number, &row.jurisdiction, row.valid_until)
            };
            if let Some(known) = licences::of(db, &[caller.account])?.into_iter().find(same) {
                return Ok((false, view(known)));
            }
            licences::add(db, row.clone())?;
            let name = accounts::get(db, caller.account)?.name;
            Ok::<_, StoreError>((true, view((row, name))))
        })
        .await?;
    let mut answer = if added {
        HttpResponse::Created()
    } else {
        HttpResponse::Ok()
    };
    Ok(answer.json(licence))
}

/// Whose licences.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Whose {
    /// Only this person's.
    account_id: Option<AccountId>,
    /// The `next_cursor` of the page before.
    cursor: Option<String>,
    /// How many items, from 1 to 500; what lies beyond is taken as the nearest of these.
    #[param(minimum = 0, maximum = 4_294_967_295_u32, default = 500, example = 500)]
    limit: Option<u32>,
}

/// Lists the caller's licences, and those of everyone who holds or held a grant on a horse or barn of theirs. The
/// operator may see anybody's by naming them.
#[utoipa::path(
    tag = "access",
    params(Whose),
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
    whose: Query<Whose>,
) -> Result<Json<Page<Licence>>, Problem> {
    let Whose {
        account_id,
        cursor,
        limit,
    } = whose.into_inner();
    let now = state.clock.now().naive_utc();
    let rows = state
        .read(move |db| {
            let mut people = professionals(db, caller.account, now)?.ever;
            people.insert(caller.account);
            if let Some(one) = account_id {
                let may_know = caller.operator || people.contains(&one);
                people = may_know.then_some(one).into_iter().collect();
            }
            let people: Vec<AccountId> = people.into_iter().collect();
            licences::of(db, &people)
        })
        .await?;
    let items = rows.into_iter().map(view).collect();
    Ok(Json(
        Paging { cursor, limit }.cut(items, |one: &Licence| one.id.0)?,
    ))
}

/// Withdraws a licence; its holder may. It covers nothing from then on.
#[utoipa::path(
    tag = "access",
    params(("licence" = LicenceId, Path, description = "The licence")),
    responses(
        (status = 204, description = "It covers nothing any more"),
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
            let row = known(db, &caller, *licence, now)?;
            if row.account_id != caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "only its holder may withdraw a licence",
                ));
            }
            licences::withdraw(db, row.id, now)?;
            Ok(())
        })
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Notes that the caller looked at the paper.
///
/// An owner may, for somebody who holds a grant on a horse or barn of theirs, and the operator; nobody for themselves.
#[utoipa::path(
    tag = "access",
    params(("licence" = LicenceId, Path, description = "The licence")),
    responses(
        (status = 200, description = "The licence, marked as seen", body = Licence),
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
    let seen = state
        .write(move |db| {
            let row = known(db, &caller, *licence, now)?;
            if row.account_id == caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "somebody else has to look at your licence",
                ));
            }
            let people = professionals(db, caller.account, now)?;
            if !caller.operator && !people.now.contains(&row.account_id) {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "this person holds no grant on a horse or barn of yours now",
                ));
            }
            if row.withdrawn_at.is_some() {
                return Err(Problem::new(Kind::Conflict, "this licence was withdrawn"));
            }
            licences::seen(db, row.id, caller.account, now)?;
            Ok(licences::get(db, row.id)?)
        })
        .await?;
    tracing::info!(target: "security", event = "licence_seen", account = %caller.account, licence = %seen.0.id);
    Ok(Json(view(seen)))
}

/// A licence, if it is the caller's or of somebody whose licences they may know.
fn known(
    db: &mut Db,
    caller: &Caller,
    id: LicenceId,
    now: NaiveDateTime,
) -> Result<LicenceRow, StoreError> {
    let (row, _) = licences::get(db, id)?;
    let may_know = caller.operator
        || row.account_id == caller.account
        || professionals(db, caller.account, now)?
            .ever
            .contains(&row.account_id);
    may_know.then_some(row).ok_or(StoreError::NotFound)
}
