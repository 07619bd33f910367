//! Barns: opening them, and seeing those that one has to do with.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post, put};
use whorl_care::fault::Faults;
use whorl_care::ids::BarnId;
use whorl_contract::barn::{Barn, BarnDetails};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::StoreError;
use whorl_store::barns::{self, BarnRow};

use crate::access;
use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::state::State;

fn view(row: BarnRow) -> Barn {
    Barn {
        id: row.id,
        owner_id: row.owner_id,
        name: row.name,
        time_zone: row.time_zone,
        region: row.region,
        created_at: row.created_at.and_utc(),
    }
}

fn check(details: &BarnDetails) -> Result<(), Problem> {
    let mut faults = Faults::default();
    let length = details.name.trim().chars().count();
    if length == 0 || length > 200 {
        faults.add("/name", "1 to 200 characters");
    }
    if details.time_zone.parse::<chrono_tz::Tz>().is_err() {
        faults.add(
            "/time_zone",
            "a time zone by its IANA name, such as Europe/London",
        );
    }
    if let Some(region) = &details.region {
        let well_formed = region.len() <= 16
            && region.split('-').all(|part| {
                !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_alphanumeric())
            })
            && region
                .split('-')
                .next()
                .is_some_and(|country| country.len() == 2);
        if !well_formed {
            faults.add("/region", "an ISO 3166 code such as gb or us-fl");
        }
    }
    faults.or(()).map_err(Into::into)
}

/// Opens a barn; the caller is its owner.
#[utoipa::path(
    tag = "barns",
    responses(
        (status = 201, description = "The barn", body = Barn),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/barns")]
pub(crate) async fn open_barn(
    state: Data<State>,
    caller: Caller,
    details: Json<BarnDetails>,
) -> Result<HttpResponse, Problem> {
    check(&details)?;
    let details = details.into_inner();
    let row = BarnRow {
        id: state.new_id()?,
        owner_id: caller.account,
        name: details.name.trim().to_owned(),
        time_zone: details.time_zone,
        region: details.region.map(|region| region.to_ascii_lowercase()),
        created_at: state.clock.now().naive_utc(),
    };
    let barn = row.clone();
    state.write(move |db| barns::add(db, row)).await?;
    Ok(HttpResponse::Created().json(view(barn)))
}

/// Lists the barns that the caller owns, is granted access to, or has horses in.
#[utoipa::path(
    tag = "barns",
    responses(
        (status = 200, description = "The barns", body = Page<Barn>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns")]
pub(crate) async fn list_barns(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<Barn>>, Problem> {
    let now = state.clock.now();
    let rows = state
        .read(move |db| access::barns_visible(db, caller.account, now))
        .await?;
    Ok(Json(Page::whole(rows.into_iter().map(view).collect())))
}

/// Shows a barn that the caller has to do with.
#[utoipa::path(
    tag = "barns",
    params(("barn" = BarnId, Path, description = "The barn")),
    responses(
        (status = 200, description = "The barn", body = Barn),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/barns/{barn}")]
pub(crate) async fn get_barn(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
) -> Result<Json<Barn>, Problem> {
    let now = state.clock.now();
    let row = state
        .read(move |db| {
            let visible = access::barns_visible(db, caller.account, now)?;
            visible
                .into_iter()
                .find(|row| row.id == *barn)
                .ok_or(StoreError::NotFound)
        })
        .await?;
    Ok(Json(view(row)))
}

/// Changes a barn's name, time zone or region; its owner may.
#[utoipa::path(
    tag = "barns",
    params(("barn" = BarnId, Path, description = "The barn")),
    responses(
        (status = 200, description = "The barn as it is now", body = Barn),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[put("/v1/barns/{barn}")]
pub(crate) async fn put_barn(
    state: Data<State>,
    caller: Caller,
    barn: Path<BarnId>,
    details: Json<BarnDetails>,
) -> Result<Json<Barn>, Problem> {
    check(&details)?;
    let details = details.into_inner();
    let now = state.clock.now();
    let row = state
        .write(move |db| {
            let visible = access::barns_visible(db, caller.account, now)?;
            let row = visible
                .into_iter()
                .find(|row| row.id == *barn)
                .ok_or_else(Problem::not_found)?;
            if row.owner_id != caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "only the barn's owner may change it",
                ));
            }
            let region = details.region.map(|region| region.to_ascii_lowercase());
            barns::set(
                db,
                row.id,
                details.name.trim(),
                &details.time_zone,
                region.as_deref(),
            )?;
            Ok(barns::get(db, row.id)?)
        })
        .await?;
    Ok(Json(view(row)))
}
