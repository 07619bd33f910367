//! What waits for an owner: records made under a grant that had ended when they came.

use actix_web::web::{Data, Json, Path};
use actix_web::{get, post};
use serde_json::value::RawValue;
use whorl_care::ids::{EventId, HorseId};
use whorl_contract::event::SignedEvent;
use whorl_contract::key::{Salt, Signature};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::sync::{HeldDecision, HeldEvent, Outcome};
use whorl_store::held_events::{self, HeldEventRow};
use whorl_store::{StoreError, horses};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::ledger::{self, Arrival, Terms};
use crate::notice;
use crate::problem::Problem;
use crate::state::State;

/// Lists what waits on the caller's own horses.
#[utoipa::path(
    tag = "sync",
    responses(
        (status = 200, description = "What waits, the oldest first", body = Page<HeldEvent>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/held")]
pub(crate) async fn list_held(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<HeldEvent>>, Problem> {
    let now = state.clock.now();
    let items = state
        .read(move |db| {
            let owned: Vec<HorseId> = access::horses_visible(db, caller.account, now)?
                .into_iter()
                .filter(|(_, access)| access.is_owner())
                .map(|(horse, _)| horse.id)
                .collect();
            held_events::waiting(db, &owned)?
                .into_iter()
                .map(view)
                .collect::<Result<Vec<_>, StoreError>>()
        })
        .await?;
    Ok(Json(Page::whole(items)))
}

/// Accepts a held event into the log, or refuses it for good.
#[utoipa::path(
    tag = "sync",
    params(("event" = EventId, Path, description = "The held event")),
    request_body = HeldDecision,
    responses(
        (status = 200, description = "What became of it", body = Outcome),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/held/{event}")]
pub(crate) async fn decide_held(
    state: Data<State>,
    caller: Caller,
    event: Path<EventId>,
    decision: Body<HeldDecision>,
) -> Result<Json<Outcome>, Problem> {
    let terms = Terms::of(&state);
    let (event, accept) = (event.into_inner(), decision.accept);
    let outcome = state
        .write(move |db| {
            let found = |db: &mut _| -> Result<HeldEventRow, Problem> {
                held_events::by_ids(db, &[event])?
                    .pop()
                    .filter(|row| row.accepted.is_none())
                    .ok_or_else(Problem::not_found)
            };
            let horse = found(db)?.horse_id;
            let horse = horses::lock(db, &[horse])?
                .pop()
                .ok_or_else(Problem::not_found)?;
            // Read again under the lock: another owner may have decided meanwhile.
            let row = found(db)?;
            if !access::of_horse_for_write(db, caller.account, &horse, terms.now)?.is_owner() {
                return Err(Problem::not_found());
            }
            let outcome = if accept {
                ledger::enter_held(
                    db,
                    &terms,
                    caller.account,
                    &Arrival::of(signed_event(&row)?)?,
                )?
            } else {
                ledger::not_accepted()
            };
            // A record that can't enter (its device was revoked since, say) keeps waiting, and the owner is told.
            if !accept || !matches!(outcome, Outcome::Refused { .. }) {
                held_events::decide(db, event, accept, caller.account, terms.now.naive_utc())?;
                notice::settle(db, horse.id, event, caller.account, terms.now)?;
            }
            Ok(outcome)
        })
        .await?;
    Ok(Json(outcome))
}

pub(super) fn view((row, author_name): (HeldEventRow, String)) -> Result<HeldEvent, StoreError> {
    Ok(HeldEvent {
        event: signed_event(&row)?,
        id: row.id,
        horse_id: row.horse_id,
        author_id: row.author_id,
        author_name,
        reason: row.reason,
        received_at: row.received_at.and_utc(),
    })
}

fn signed_event(row: &HeldEventRow) -> Result<SignedEvent, StoreError> {
    let unreadable = |why: String| StoreError::Unreadable(format!("held event {}: {why}", row.id));
    let raw = |text: &str| {
        RawValue::from_string(text.to_owned()).map_err(|error| unreadable(error.to_string()))
    };
    Ok(SignedEvent {
        envelope: raw(&row.envelope)?,
        content: raw(&row.content)?,
        salt: Salt::try_from(row.salt.as_slice()).map_err(|error| unreadable(error.to_string()))?,
        signature: Signature::try_from(row.signature.as_slice())
            .map_err(|error| unreadable(error.to_string()))?,
    })
}
