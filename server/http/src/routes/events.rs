//! Pushing: signed events into the logs of horses.

use std::sync::Arc;

use actix_web::post;
use actix_web::web::{Data, Json};
use serde::Deserialize;
use serde_json::value::RawValue;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::sync::{EVENTS_PER_PUSH, Push, Pushed};
use whorl_store::{StoreError, ledger};

use crate::body::Body;
use crate::caller::Caller;
use crate::ledger::{self as horses_ledger, Terms};
use crate::log_view::{hash, signed_head};
use crate::problem::{Kind, Problem};
use crate::state::State;

/// A push, each event still unread, so that one that can't be read doesn't stop its neighbours.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Batch {
    events: Vec<Box<RawValue>>,
}

/// Takes a batch of signed events and answers for each, in order, once what it accepts is durable.
///
/// Pushing the same event again is harmless. One that is refused doesn't stop its neighbours.
#[utoipa::path(
    tag = "sync",
    request_body = Push,
    responses(
        (status = 200, description = "What became of each event", body = Pushed),
        (status = "4XX", description = "The batch as a whole was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/events")]
pub(crate) async fn push_events(
    state: Data<State>,
    caller: Caller,
    batch: Body<Batch>,
) -> Result<Json<Pushed>, Problem> {
    let events = batch.into_inner().events;
    if events.len() > EVENTS_PER_PUSH {
        return Err(Problem::invalid(
            "/events",
            format!("at most {EVENTS_PER_PUSH} events in one push"),
        ));
    }
    let batch = Arc::new(horses_ledger::take_in(&state, events).await?);
    let push = || {
        let (terms, batch) = (Terms::of(&state), Arc::clone(&batch));
        state.write(move |db| {
            let epoch = ledger::epoch(db)?;
            Ok::<_, StoreError>((
                epoch,
                horses_ledger::append(db, &terms, caller.account, &batch)?,
            ))
        })
    };
    // Two horses have two locks: where one new id is pushed for both at once, the later one meets it only as it is
    // written. Then nothing of that batch has entered, and the next look finds the id.
    let (epoch, appended) = match push().await {
        Err(problem) if problem.kind() == Kind::Conflict => push().await?,
        pushed => pushed?,
    };
    state.metrics.pushed(&batch, &appended.outcomes);
    let heads = appended
        .horses
        .iter()
        .map(|horse| {
            Ok(signed_head(
                &state,
                epoch,
                horse.id,
                horse.head_seq,
                hash(&horse.head)?,
            ))
        })
        .collect::<Result<_, StoreError>>()?;
    Ok(Json(Pushed {
        epoch,
        outcomes: appended.outcomes,
        heads,
    }))
}
