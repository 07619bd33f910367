//! The raw log of one horse, as it is signed and chained.

use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::ids::HorseId;
use whorl_care::reading::Way;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::sync::{EVENTS_PER_PULL, RawLog};
use whorl_store::{StoreError, horses, ledger, signers};

use crate::access;
use crate::caller::Caller;
use crate::log_view::{self, Room};
use crate::paging;
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

/// Which part of a log.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Part {
    /// Events after this place; 0 is from the beginning.
    #[serde(default)]
    #[param(minimum = 0, default = 0, example = 0)]
    after: i64,
    /// At most so many, from 1 to 1,000; what lies beyond is taken as the nearest of these.
    #[param(
        minimum = 0,
        maximum = 4_294_967_295_u32,
        default = 1000,
        example = 100
    )]
    limit: Option<u32>,
}

/// Gives a run of a horse's log with the signers' keys and the server's signed head.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse"), Part),
    responses(
        (status = 200, description = "The events, in order", body = RawLog),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/log")]
pub(crate) async fn get_log(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    part: Query<Part>,
) -> Result<Json<RawLog>, Problem> {
    let part = part.into_inner();
    if part.after < 0 {
        return Err(Problem::invalid("/after", "0 or more"));
    }
    let limit = paging::length(part.limit, EVENTS_PER_PULL, EVENTS_PER_PULL);
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let now = state.clock.now();
    let (epoch, run, signers, seq, head) = state
        .read(move |db| {
            let horse = horses::get(db, horse.into_inner())?;
            let access = access::of_horse(db, caller.account, &horse, now)?;
            if !access.is_anything() {
                return Err(StoreError::NotFound);
            }
            let seq = access.until_seq(horse.head_seq);
            let head = log_view::head_at(db, horse.id, seq)?;
            let (run, devices) = log_view::run(
                db,
                &horse,
                &access,
                part.after,
                &mut Room::for_events(limit),
            )?;
            let devices: Vec<_> = devices.into_iter().collect();
            let signers: Vec<_> = signers::by_ids(db, &devices)?
                .into_iter()
                .map(log_view::signer)
                .collect::<Result<_, _>>()?;
            Ok((ledger::epoch(db)?, run, signers, seq, head))
        })
        .await?;
    state.note(By::Account(caller.account), Way::Log, &run.horse_id);
    let note = log_view::signed_head(&state, epoch, run.horse_id, seq, head).note;
    Ok(Json(RawLog {
        epoch,
        run,
        signers,
        note,
    }))
}
