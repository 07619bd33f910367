//! Pulling: where each log stands, and the events that a client lacks.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::http::header::{ETAG, IF_NONE_MATCH};
use actix_web::web::{Data, Json};
use actix_web::{HttpRequest, HttpResponse, get, post};
use whorl_care::reading::Way;
use whorl_contract::key::Hash;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::sync::{EVENTS_PER_PULL, HeadInfo, Heads, Pull, Pulled};
use whorl_store::{StoreError, ledger, signers};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::log_view::{self, Room};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

/// The most horses that one pull may name.
const MOST_WANTS: usize = 10_000;

/// Says where the log of every horse stands that the caller may see.
#[utoipa::path(
    tag = "sync",
    params(("If-None-Match" = Option<String>, Header, description = "The ETag of the last answer")),
    responses(
        (status = 200, description = "Where each log stands", body = Heads,
         headers(("ETag" = String, description = "Give it back as If-None-Match"))),
        (status = 304, description = "Nothing changed"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/sync/heads")]
pub(crate) async fn get_heads(
    state: Data<State>,
    caller: Caller,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let heads = state
        .read(move |db| {
            let mut heads = Vec::new();
            for (horse, access) in access::horses_visible(db, caller.account, now)? {
                let seq = access.until_seq(horse.head_seq);
                let head = if seq == horse.head_seq {
                    log_view::hash(&horse.head)?
                } else {
                    log_view::head_at(db, horse.id, seq)?
                };
                heads.push(HeadInfo {
                    horse_id: horse.id,
                    seq,
                    head,
                });
            }
            heads.sort_by_key(|head| head.horse_id);
            Ok::<_, StoreError>(Heads {
                epoch: ledger::epoch(db)?,
                heads,
            })
        })
        .await?;
    answer_with_etag(&request, &heads)
}

/// Answers with a strong `ETag` over the body, or 304 if the caller has it.
///
/// # Errors
///
/// A problem if the body can't be written, which no body of ours is.
pub(crate) fn answer_with_etag<T: serde::Serialize>(
    request: &HttpRequest,
    body: &T,
) -> Result<HttpResponse, Problem> {
    let bytes = serde_json::to_vec(body).map_err(Problem::internal)?;
    Ok(bytes_with_etag(request, "application/json", bytes))
}

/// The same for bytes of any type.
pub(crate) fn bytes_with_etag(
    request: &HttpRequest,
    content_type: &'static str,
    bytes: Vec<u8>,
) -> HttpResponse {
    let etag = format!("\"{}\"", Hash::of(&[&bytes]));
    let known = request
        .headers()
        .get(IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|tags| {
            tags.split(',')
                .any(|tag| tag.trim().trim_start_matches("W/") == etag)
        });
    if known {
        return HttpResponse::NotModified()
            .insert_header((ETAG, etag))
            .finish();
    }
    HttpResponse::Ok()
        .insert_header((ETAG, etag))
        .content_type(content_type)
        .body(bytes)
}

/// Gives the next events of each horse that the caller names, sealed where they must be.
///
/// A horse that is not there, or not for the caller to see, is left out of the answer.
#[utoipa::path(
    tag = "sync",
    request_body = Pull,
    responses(
        (status = 200, description = "The events", body = Pulled),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/sync/pull")]
pub(crate) async fn pull_events(
    state: Data<State>,
    caller: Caller,
    pull: Body<Pull>,
) -> Result<Json<Pulled>, Problem> {
    let pull = pull.into_inner();
    if pull.wants.len() > MOST_WANTS {
        return Err(Problem::invalid(
            "/wants",
            format!("at most {MOST_WANTS} horses in one pull"),
        ));
    }
    if let Some(n) = pull.wants.iter().position(|want| want.after < 0) {
        return Err(Problem::invalid(format!("/wants/{n}/after"), "0 or more"));
    }
    let most = u32::try_from(EVENTS_PER_PULL).unwrap_or(u32::MAX);
    let limit = pull.limit.unwrap_or(most);
    if limit == 0 {
        return Err(Problem::invalid("/limit", "at least 1"));
    }
    let mut room = Room::for_events(i64::from(limit.min(most)));
    let now = state.clock.now();
    let pulled = state
        .read(move |db| {
            let visible: BTreeMap<_, _> = access::horses_visible(db, caller.account, now)?
                .into_iter()
                .map(|(horse, access)| (horse.id, (horse, access)))
                .collect();
            let (mut runs, mut devices, mut more) = (Vec::new(), BTreeSet::new(), false);
            for want in &pull.wants {
                let Some((horse, access)) = visible.get(&want.horse_id) else {
                    continue;
                };
                if want.after >= access.until_seq(horse.head_seq) {
                    continue;
                }
                if room.is_full() {
                    more = true;
                    break;
                }
                let (run, signed) = log_view::run(db, horse, access, want.after, &mut room)?;
                more |= run.more;
                devices.extend(signed);
                runs.push(run);
            }
            let devices: Vec<_> = devices.into_iter().collect();
            let signers = signers::by_ids(db, &devices)?
                .into_iter()
                .map(log_view::signer)
                .collect::<Result<_, _>>()?;
            Ok::<_, StoreError>(Pulled {
                epoch: ledger::epoch(db)?,
                runs,
                signers,
                more,
            })
        })
        .await?;
    state.note(By::Account(caller.account), Way::Sync, &pulled);
    Ok(Json(pulled))
}
