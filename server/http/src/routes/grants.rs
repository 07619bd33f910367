//! Grants: who may see and record what. An owner sees and ends every one that covers a horse or barn of theirs.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get};
use chrono::{DateTime, NaiveDateTime, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::ids::{BarnId, GrantId, HorseId};
use whorl_contract::grant::Grant;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::grants::{self, ExemptionRow, GrantRow};
use whorl_store::{Db, StoreError, accounts, barns, horses};

use crate::access;
use crate::caller::Caller;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// A grant for the wire.
pub(super) fn view(row: GrantRow, account_name: String) -> Grant {
    Grant {
        id: row.id,
        account_id: row.account_id,
        account_name,
        role: row.role,
        horse_id: row.horse_id.map(|id| id.0),
        barn_id: row.barn_id.map(|id| id.0),
        from: row.from_at.and_utc(),
        until: row.until_at.map(|at| at.and_utc()),
        kinds: row.kinds.map(|kinds| kinds.0.0),
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
    /// Whether those that are over are listed too.
    #[serde(default)]
    ended: bool,
    /// The `next_cursor` of the page before.
    cursor: Option<String>,
    /// How many items, from 1 to 500; what lies beyond is taken as the nearest of these.
    #[param(minimum = 0, maximum = 4_294_967_295_u32, default = 500, example = 500)]
    limit: Option<u32>,
}

/// The horses and barns whose grants somebody may see, and those whose grants they may end.
#[derive(Debug, Default)]
struct Concerns {
    horses: BTreeSet<HorseId>,
    barns: BTreeSet<BarnId>,
    own_horses: BTreeSet<HorseId>,
    own_barns: BTreeSet<BarnId>,
}

/// What concerns somebody: their horses, the barns where these stand, and their barns.
fn concerns(db: &mut Db, caller: &Caller, now: NaiveDateTime) -> Result<Concerns, StoreError> {
    let mut found = Concerns::default();
    for (row, access) in access::horses_visible(db, caller.account, now.and_utc())? {
        if access.is_owner() {
            found.horses.insert(row.id);
            // A horse that boards elsewhere is covered by that barn's grants too, and its owner may know them.
            found.barns.insert(row.barn_id);
        }
        if row.owner_id == caller.account {
            found.own_horses.insert(row.id);
        }
    }
    for barn in barns::owned_or_named(db, caller.account, &[])? {
        found.own_barns.insert(barn.id);
    }
    found.barns.extend(&found.own_barns);
    Ok(found)
}

/// Every grant that somebody may see.
pub(super) fn seen(
    db: &mut Db,
    caller: &Caller,
    now: NaiveDateTime,
) -> Result<Vec<Grant>, StoreError> {
    let concerns = concerns(db, caller, now)?;
    let horses: Vec<HorseId> = concerns.horses.into_iter().collect();
    let barns: Vec<BarnId> = concerns.barns.into_iter().collect();
    let mut found: BTreeMap<GrantId, Grant> = grants::covering(db, &horses, &barns)?
        .into_iter()
        .map(|(row, name)| (row.id, view(row, name)))
        .collect();
    let name = accounts::get(db, caller.account)?.name;
    for row in grants::of_account(db, caller.account)? {
        found.insert(row.id, view(row, name.clone()));
    }
    Ok(found.into_values().collect())
}

/// Keeps those that cover one horse, by itself or through its barn.
fn keep_covering(
    db: &mut Db,
    caller: &Caller,
    id: HorseId,
    items: &mut Vec<Grant>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (horse, _) = access::horse(db, caller.account, id, now)?;
    let exempt = grants::exemptions_of(db, id)?;
    items.retain(|grant| match grant.horse_id {
        Some(one) => one == id,
        None => {
            grant.barn_id == Some(horse.barn_id)
                && !exempt.iter().any(|row| row.grant_id == grant.id)
        }
    });
    Ok(())
}

fn is_over(grant: &Grant, now: DateTime<Utc>) -> bool {
    grant.revoked_at.is_some() || grant.until.is_some_and(|until| until <= now)
}

/// The grants that somebody may see of those that cover a horse and are not over.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the horse is not there, or not for them to know of.
pub(crate) fn covering(
    db: &mut Db,
    caller: &Caller,
    horse: HorseId,
    now: DateTime<Utc>,
) -> Result<Vec<Grant>, StoreError> {
    let mut items = seen(db, caller, now.naive_utc())?;
    keep_covering(db, caller, horse, &mut items, now)?;
    items.retain(|grant| !is_over(grant, now));
    Ok(items)
}

/// Whether a grant is for a horse, or for the barn that it stands in.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is no such grant or horse.
pub(crate) fn covers(db: &mut Db, grant: GrantId, horse: HorseId) -> Result<bool, StoreError> {
    let (grant, horse) = (grants::get(db, grant)?, horses::get(db, horse)?);
    let of_horse = grant.horse_id.is_some_and(|id| id.0 == horse.id);
    Ok(of_horse || grant.barn_id.is_some_and(|id| id.0 == horse.barn_id))
}

/// Lists the grants that the caller holds, and those that cover a horse or barn of theirs.
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
    let Filter {
        horse_id,
        barn_id,
        ended,
        cursor,
        limit,
    } = filter.into_inner();
    let now = state.clock.now();
    let mut items = state
        .read(move |db| {
            let mut items = seen(db, &caller, now.naive_utc())?;
            if let Some(id) = horse_id {
                keep_covering(db, &caller, id, &mut items, now)?;
            }
            if let Some(id) = barn_id {
                let barn = access::barn(db, caller.account, id, now)?;
                items.retain(|grant| grant.barn_id == Some(barn.id));
            }
            Ok::<_, StoreError>(items)
        })
        .await?;
    items.retain(|grant| ended || !is_over(grant, now));
    let paging = Paging { cursor, limit };
    Ok(Json(paging.cut(items, |grant| grant.id.0)?))
}

/// For which horse a barn's grant ends.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct ForHorse {
    /// Ends a barn's grant for this horse alone; the horse's owner may.
    horse_id: Option<HorseId>,
}

/// Ends a grant, at once.
///
/// The owner of the horse or barn that it covers may, and its holder may give it up. The owner of a horse that boards
/// in somebody else's barn names the horse, and ends the barn's grant for it alone.
#[utoipa::path(
    tag = "access",
    params(("grant" = GrantId, Path, description = "The grant"), ForHorse),
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
    of: Query<ForHorse>,
) -> Result<HttpResponse, Problem> {
    end(&state, caller, *grant, of.horse_id).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Ends a grant at once: for all that it covers, or for one horse alone.
///
/// # Errors
///
/// A problem if it is not there, or not for the caller to end.
pub(crate) async fn end(
    state: &State,
    caller: Caller,
    id: GrantId,
    horse: Option<HorseId>,
) -> Result<(), Problem> {
    let now = state.clock.now().naive_utc();
    state
        .write(move |db| {
            let row = grants::get(db, id)?;
            match horse {
                Some(horse) => exempt(db, &caller, &row, horse, now),
                None => revoke(db, &caller, &row, now),
            }
        })
        .await?;
    tracing::info!(target: "security", event = "grant_ended", account = %caller.account, grant = %id);
    Ok(())
}

fn revoke(db: &mut Db, caller: &Caller, row: &GrantRow, now: NaiveDateTime) -> Result<(), Problem> {
    let concerns = concerns(db, caller, now)?;
    let among = |horses: &BTreeSet<HorseId>, barns: &BTreeSet<BarnId>| {
        row.horse_id
            .as_ref()
            .is_some_and(|id| horses.contains(&id.0))
            || row.barn_id.as_ref().is_some_and(|id| barns.contains(&id.0))
    };
    let may_end =
        row.account_id == caller.account || among(&concerns.own_horses, &concerns.own_barns);
    if !may_end {
        return Err(if among(&concerns.horses, &concerns.barns) {
            Problem::new(
                Kind::Forbidden,
                "the owner of the horse or barn may end this; name your horse to end a barn's grant for it alone",
            )
        } else {
            Problem::not_found()
        });
    }
    grants::revoke(db, row.id, caller.account, now)?;
    Ok(())
}

fn exempt(
    db: &mut Db,
    caller: &Caller,
    row: &GrantRow,
    horse: HorseId,
    now: NaiveDateTime,
) -> Result<(), Problem> {
    // Under the horse's lock: what was being appended has its place before the grant ends, and nothing after.
    let horse = horses::lock(db, &[horse])?
        .pop()
        .ok_or_else(Problem::not_found)?;
    let covered = row.barn_id.as_ref().is_some_and(|id| id.0 == horse.barn_id);
    if horse.owner_id != caller.account || !covered {
        return Err(Problem::not_found());
    }
    let row = ExemptionRow {
        grant_id: row.id,
        horse_id: horse.id,
        from_at: now,
        made_by: caller.account,
    };
    grants::exempt(db, row)?;
    Ok(())
}
