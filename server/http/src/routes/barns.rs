//! Barns: opening them, and seeing those that one has to do with.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, get, post, put};
use whorl_care::fault::Faults;
use whorl_care::ids::BarnId;
use whorl_contract::barn::{Barn, BarnDetails};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::barns::{self, BarnRow};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::state::State;
use crate::text;

pub(super) fn view(row: BarnRow) -> Barn {
    Barn {
        id: row.id,
        owner_id: row.owner_id,
        name: row.name,
        time_zone: row.time_zone,
        region: row.region,
        created_at: row.created_at.and_utc(),
    }
}

/// Whether this has the form of an ISO 3166 code: a country, or a country and a part of it.
pub(super) fn is_region(code: &str) -> bool {
    let (country, part) = match code.split_once('-') {
        Some((country, part)) => (country, Some(part)),
        None => (code, None),
    };
    let all = |text: &str, fits: fn(&u8) -> bool| text.bytes().all(|byte| fits(&byte));
    country.len() == 2
        && all(country, u8::is_ascii_alphabetic)
        && part.is_none_or(|part| {
            (1..=3).contains(&part.len()) && all(part, u8::is_ascii_alphanumeric)
        })
}

/// The details, tidied up.
fn checked(details: BarnDetails) -> Result<BarnDetails, Faults> {
    let mut details = BarnDetails {
        region: details.region.map(|code| code.trim().to_ascii_lowercase()),
        ..details
    };
    let mut faults = Faults::default();
    match text::line("/name", &details.name, 200) {
        Ok(name) => details.name = name,
        Err(wrong) => faults.0.extend(wrong.0),
    }
    if details.time_zone.parse::<chrono_tz::Tz>().is_err() {
        faults.add(
            "/time_zone",
            "a time zone by its IANA name, such as Europe/London",
        );
    }
    if details.region.as_ref().is_some_and(|code| !is_region(code)) {
        faults.add("/region", "an ISO 3166 code such as gb or us-fl");
    }
    faults.or(details)
}

/// Opens a barn; the caller is its owner.
#[utoipa::path(
    tag = "barns",
    request_body = BarnDetails,
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
    details: Body<BarnDetails>,
) -> Result<HttpResponse, Problem> {
    let details = checked(details.into_inner())?;
    let row = BarnRow {
        id: state.new_id()?,
        owner_id: caller.account,
        name: details.name,
        time_zone: details.time_zone,
        region: details.region,
        created_at: state.clock.now().naive_utc(),
    };
    let barn = view(row.clone());
    state.write(move |db| barns::add(db, row)).await?;
    Ok(HttpResponse::Created().json(barn))
}

/// Lists the barns that the caller owns, holds a grant for, or has to do with a horse of.
#[utoipa::path(
    tag = "barns",
    params(Paging),
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
    paging: Query<Paging>,
) -> Result<Json<Page<Barn>>, Problem> {
    let now = state.clock.now();
    let rows = state
        .read(move |db| access::barns_visible(db, caller.account, now))
        .await?;
    let barns = rows.into_iter().map(view).collect();
    Ok(Json(paging.cut(barns, |barn| barn.id.0)?))
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
        .read(move |db| access::barn(db, caller.account, *barn, now))
        .await?;
    Ok(Json(view(row)))
}

/// Changes a barn's name, time zone and region; its owner may.
#[utoipa::path(
    tag = "barns",
    params(("barn" = BarnId, Path, description = "The barn")),
    request_body = BarnDetails,
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
    details: Body<BarnDetails>,
) -> Result<Json<Barn>, Problem> {
    let details = checked(details.into_inner())?;
    let now = state.clock.now();
    let row = state
        .write(move |db| {
            let row = access::barn(db, caller.account, *barn, now)?;
            if row.owner_id != caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "only the barn's owner may change it",
                ));
            }
            let row = BarnRow {
                name: details.name,
                time_zone: details.time_zone,
                region: details.region,
                ..row
            };
            barns::set(db, &row)?;
            Ok(row)
        })
        .await?;
    Ok(Json(view(row)))
}

#[cfg(test)]
mod tests {
    use super::is_region;

    #[test]
    fn a_region_is_a_country_or_a_part_of_one() {
        for good in ["gb", "us-fl", "US-KY", "de-by", "fr-2a"] {
            assert!(is_region(good), "{good}");
        }
        for bad in [
            "", "g", "gbr", "g1", "us-", "us-flor", "us-fl-1", "us_fl", "us fl", "ü",
        ] {
            assert!(!is_region(bad), "{bad}");
        }
    }
}
