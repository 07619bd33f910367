//! Horses: opening a log, and seeing those that one has to do with.

use std::collections::HashMap;

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post, put};
use whorl_care::horse::CareEvent;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind as EventKind;
use whorl_care::profile;
use whorl_contract::chain;
use whorl_contract::horse::{Handling, Horse, HorseMove, NewHorse};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::horses::{self, HorseRow};
use whorl_store::{Db, StoreError, events};

use crate::access::{self, Access};
use crate::caller::Caller;
use crate::ledger;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// The kinds that a profile and the handling caution are computed from.
const PROFILE: [EventKind; 6] = [
    EventKind::Identity,
    EventKind::HoofCare,
    EventKind::Weight,
    EventKind::Breeding,
    EventKind::Amendment,
    EventKind::Retraction,
];

/// Puts horses and what their logs say of them together, in one question for all.
pub(crate) fn views(
    db: &mut Db,
    horses: Vec<(HorseRow, Access)>,
) -> Result<Vec<Horse>, StoreError> {
    let ids: Vec<HorseId> = horses.iter().map(|(row, _)| row.id).collect();
    let mut logs: HashMap<HorseId, Vec<(i64, CareEvent)>> = HashMap::new();
    for row in events::of_kinds(db, &ids, &PROFILE)? {
        if let Some(event) = ledger::care_event(&row) {
            logs.entry(row.horse_id).or_default().push((row.seq, event));
        }
    }
    Ok(horses
        .into_iter()
        .map(|(row, access)| {
            let until = access.until_seq(row.head_seq);
            let mut log = logs.remove(&row.id).unwrap_or_default();
            log.retain(|(seq, _)| *seq <= until);
            view(
                &row,
                &access,
                log.into_iter().map(|(_, event)| event).collect(),
            )
        })
        .collect())
}

fn view(row: &HorseRow, access: &Access, log: Vec<CareEvent>) -> Horse {
    // A caution about handling is for everyone who picks up a foot, whatever else they may see.
    let handling = profile::handling(&log).map(|caution| Handling {
        text: caution.text,
        on: caution.on,
    });
    let seen: Vec<CareEvent> = log
        .into_iter()
        .filter(|event| {
            event.target_id.is_some()
                || event.kind == EventKind::Identity
                || access.may_see(event.kind, row.head_seq)
        })
        .collect();
    Horse {
        id: row.id,
        barn_id: row.barn_id,
        owner_id: row.owner_id,
        roles: access.roles(),
        seq: access.until_seq(row.head_seq),
        handling,
        profile: profile::profile(&seen),
        created_at: row.created_at.and_utc(),
    }
}

/// Opens a horse's log in one of the caller's barns. Opening it again with the same id changes nothing.
#[utoipa::path(
    tag = "horses",
    responses(
        (status = 201, description = "The horse; its log is empty", body = Horse),
        (status = 200, description = "It was there before", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses")]
pub(crate) async fn add_horse(
    state: Data<State>,
    caller: Caller,
    new: Json<NewHorse>,
) -> Result<HttpResponse, Problem> {
    let new = new.into_inner();
    let now = state.clock.now();
    let (known, horse) = state
        .write(move |db| {
            match horses::get(db, new.id) {
                Ok(row) if row.owner_id == caller.account => {
                    let access = access::of_horse(db, caller.account, &row, now)?;
                    return Ok((
                        true,
                        views(db, vec![(row, access)])?
                            .pop()
                            .ok_or(StoreError::NotFound)?,
                    ));
                }
                Ok(_) => {
                    return Err(Problem::new(
                        Kind::Conflict,
                        "this id is taken; pick another",
                    ));
                }
                Err(StoreError::NotFound) => {}
                Err(error) => return Err(error.into()),
            }
            let barns = access::barns_visible(db, caller.account, now)?;
            let barn = barns.into_iter().find(|barn| barn.id == new.barn_id);
            let barn =
                barn.ok_or_else(|| Problem::invalid("/barn_id", "none of your barns has this id"))?;
            let row = HorseRow {
                id: new.id,
                barn_id: barn.id,
                owner_id: caller.account,
                head_seq: 0,
                head: chain::start(new.id).0.to_vec(),
                created_at: now.naive_utc(),
            };
            horses::add(db, row.clone())?;
            let access = access::of_horse(db, caller.account, &row, now)?;
            Ok((false, view(&row, &access, Vec::new())))
        })
        .await?;
    let mut answer = if known {
        HttpResponse::Ok()
    } else {
        HttpResponse::Created()
    };
    Ok(answer.json(horse))
}

/// Lists the horses that the caller may see, with what to know before handling them.
#[utoipa::path(
    tag = "horses",
    responses(
        (status = 200, description = "The horses", body = Page<Horse>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses")]
pub(crate) async fn list_horses(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<Horse>>, Problem> {
    let now = state.clock.now();
    let horses = state
        .read(move |db| {
            let visible = access::horses_visible(db, caller.account, now)?;
            views(db, visible)
        })
        .await?;
    Ok(Json(Page::whole(horses)))
}

/// Shows a horse.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    responses(
        (status = 200, description = "The horse", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}")]
pub(crate) async fn get_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
) -> Result<Json<Horse>, Problem> {
    let now = state.clock.now();
    let horse = state
        .read(move |db| {
            let row = horses::get(db, *horse)?;
            let access = access::of_horse(db, caller.account, &row, now)?;
            if !access.is_anything() {
                return Err(StoreError::NotFound);
            }
            views(db, vec![(row, access)])?
                .pop()
                .ok_or(StoreError::NotFound)
        })
        .await?;
    Ok(Json(horse))
}

/// Moves a horse to another barn; its owner may, into a barn that they have to do with.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    responses(
        (status = 200, description = "The horse in its new place", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[put("/v1/horses/{horse}/barn")]
pub(crate) async fn move_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    to: Json<HorseMove>,
) -> Result<Json<Horse>, Problem> {
    let now = state.clock.now();
    let moved = state
        .write(move |db| {
            let row = horses::lock(db, &[*horse])?
                .pop()
                .ok_or_else(Problem::not_found)?;
            let access = access::of_horse_for_write(db, caller.account, &row, now)?;
            if !access.is_anything() {
                return Err(Problem::not_found());
            }
            if row.owner_id != caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "only the horse's owner may move it",
                ));
            }
            let barns = access::barns_visible(db, caller.account, now)?;
            if !barns.iter().any(|barn| barn.id == to.barn_id) {
                return Err(Problem::invalid(
                    "/barn_id",
                    "none of your barns has this id",
                ));
            }
            horses::set_barn(db, row.id, to.barn_id)?;
            let row = horses::get(db, row.id)?;
            let access = access::of_horse(db, caller.account, &row, now)?;
            Ok(views(db, vec![(row, access)])?
                .pop()
                .ok_or(StoreError::NotFound)?)
        })
        .await?;
    Ok(Json(moved))
}
