//! Grants: who may see and record what. An owner sees and revokes every one that covers a horse or barn of theirs.

use std::collections::BTreeMap;

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId};
use whorl_contract::grant::Grant;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::grants::{self, GrantRow};
use whorl_store::{Db, StoreError, accounts, barns, horses};

use crate::access;
use crate::caller::Caller;
use crate::problem::Problem;
use crate::state::State;

/// A grant for the wire.
pub(crate) fn view(row: GrantRow, account_name: String) -> Grant {
    Grant {
        id: row.id,
        account_id: row.account_id,
        account_name,
        role: row.role,
        horse_id: row.horse_id.and_then(|id| id.parse().ok()),
        barn_id: row.barn_id.and_then(|id| id.parse().ok()),
        from: row.from_at.and_utc(),
        until: row.until_at.map(|at| at.and_utc()),
        kinds: access::kinds_of(row.kinds.as_deref()),
        granted_by: row.granted_by,
        created_at: row.created_at.and_utc(),
        revoked_at: row.revoked_at.map(|at| at.and_utc()),
    }
}

/// Which grants.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Filter {
    /// Only those that cover this horse, by itself or through its barn.
    horse_id: Option<HorseId>,
    /// Only those for all horses of this barn.
    barn_id: Option<BarnId>,
}

/// The horses and barns that somebody owns.
fn owned(
    db: &mut Db,
    account: AccountId,
) -> Result<(Vec<horses::HorseRow>, Vec<BarnId>), StoreError> {
    let horses = horses::owned_named_or_in(db, account, &[], &[])?;
    let barns = barns::owned_or_named(db, account, &[])?
        .into_iter()
        .map(|barn| barn.id)
        .collect();
    Ok((horses, barns))
}

/// Lists the grants that the caller holds, and those that cover a horse or barn of theirs, ended ones included.
#[utoipa::path(
    tag = "access",
    params(Filter),
    responses(
        (status = 200, description = "The grants", body = Page<Grant>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/grants")]
pub(crate) async fn list_grants(
    state: Data<State>,
    caller: Caller,
    filter: Query<Filter>,
) -> Result<Json<Page<Grant>>, Problem> {
    let filter = filter.into_inner();
    let items = state
        .read(move |db| {
            let (horses, mut barns) = owned(db, caller.account)?;
            // A horse that boards elsewhere is covered by that barn's grants too, and its owner may know them.
            barns.extend(horses.iter().map(|horse| horse.barn_id));
            let ids: Vec<HorseId> = horses.iter().map(|horse| horse.id).collect();
            let mut found: BTreeMap<GrantId, Grant> = grants::covering(db, &ids, &barns)?
                .into_iter()
                .map(|(row, name)| (row.id, view(row, name)))
                .collect();
            let name = accounts::get(db, caller.account)?.name;
            for row in grants::of_account(db, caller.account)? {
                found.insert(row.id, view(row, name.clone()));
            }
            let horse_barn = match filter.horse_id {
                Some(horse) => horses::get(db, horse).ok().map(|row| row.barn_id),
                None => None,
            };
            let mut items: Vec<Grant> = found.into_values().collect();
            if let Some(horse) = filter.horse_id {
                items.retain(|grant| {
                    grant.horse_id == Some(horse)
                        || (grant.barn_id.is_some() && grant.barn_id == horse_barn)
                });
            }
            if let Some(barn) = filter.barn_id {
                items.retain(|grant| grant.barn_id == Some(barn));
            }
            Ok::<_, StoreError>(items)
        })
        .await?;
    Ok(Json(Page::whole(items)))
}

/// Revokes a grant, at once: the owner of what it covers may, and its holder may give it up.
#[utoipa::path(
    tag = "access",
    params(("grant" = GrantId, Path, description = "The grant")),
    responses(
        (status = 204, description = "It is in force no more"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/grants/{grant}")]
pub(crate) async fn revoke_grant(
    state: Data<State>,
    caller: Caller,
    grant: Path<GrantId>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc();
    let id = *grant;
    state
        .write(move |db| {
            let row = grants::get(db, id)?;
            let (horses, barns) = owned(db, caller.account)?;
            let horse_is_theirs = horses
                .iter()
                .any(|horse| row.horse_id == Some(horse.id.to_string()));
            let barn_is_theirs = barns
                .iter()
                .any(|barn| row.barn_id == Some(barn.to_string()));
            if row.account_id != caller.account && !horse_is_theirs && !barn_is_theirs {
                return Err(Problem::not_found());
            }
            grants::revoke(db, row.id, caller.account, now)?;
            Ok(())
        })
        .await?;
    tracing::info!(target: "security", account = %caller.account, grant = %id, "a grant was revoked");
    Ok(HttpResponse::NoContent().finish())
}
