//! Adverse reactions: the report that a vet can send on.

use std::collections::BTreeSet;

use actix_web::web::{Data, Path, Query};
use actix_web::{HttpResponse, get};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_care::reaction::{self, Given, Report};
use whorl_care::reading::Way;
use whorl_contract::event::Content;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::events::EventRow;
use whorl_store::signers;

use crate::access;
use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::sight;
use crate::state::State;

/// In which form.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Form {
    /// `json` or `text`.
    #[param(example = "text")]
    format: Option<String>,
}

/// Gathers what the record tells of an adverse reaction, and says what it doesn't; from what the caller may see.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        ("event" = EventId, Path, description = "The adverse reaction"),
        Form,
    ),
    responses(
        (status = 200, description = "The report", content(
            (Report = "application/json"),
            (String = "text/plain", example = "REPORT OF AN ADVERSE REACTION (horse)\n"),
        )),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/reactions/{event}/report")]
pub(crate) async fn get_reaction_report(
    state: Data<State>,
    caller: Caller,
    place: Path<(HorseId, EventId)>,
    form: Query<Form>,
) -> Result<HttpResponse, Problem> {
    let (horse, event) = place.into_inner();
    let (rules, now) = (state.rules.clone(), state.clock.now());
    let report = state
        .read(move |db| -> Result<Report, Problem> {
            let found = access::horse(db, caller.account, horse, now)?;
            let seen = sight::of_kinds(db, vec![found], &reaction::KINDS)?
                .pop()
                .ok_or_else(Problem::not_found)?;
            // Whether there is none, or none for this caller, is the same answer.
            let mut report = reaction::report(&seen.care_events(), event, &rules)
                .map_err(|_| Problem::bare(Kind::NotFound))?;
            let devices: BTreeSet<DeviceId> = seen.rows.iter().map(|row| row.device_id).collect();
            let devices: Vec<DeviceId> = devices.into_iter().collect();
            let signers = signers::by_ids(db, &devices)?;
            let who = |id: Option<EventId>| {
                let row = seen.rows.iter().find(|row| Some(row.id) == id)?;
                let signer = signers.iter().find(|one| one.device_id == row.device_id);
                performed_by(row).or_else(|| signer.map(|one| one.name.clone()))
            };
            report.reported_by = who(Some(event));
            let given = report.after.iter_mut().chain(&mut report.also_given);
            given.for_each(|one: &mut Given| one.given_by = who(one.event_id));
            Ok(report)
        })
        .await?;
    state.note(By::Account(caller.account), Way::Reaction, &horse);
    match form.format.as_deref() {
        None | Some("json") => Ok(HttpResponse::Ok().json(report)),
        Some("text") => Ok(HttpResponse::Ok()
            .content_type("text/plain; charset=utf-8")
            .body(reaction::text(&report))),
        Some(_) => Err(Problem::invalid("/format", "json or text")),
    }
}

/// Who did it, where that is not the author.
fn performed_by(row: &EventRow) -> Option<String> {
    let content: Content = serde_json::from_str(row.content.as_deref()?).ok()?;
    content.performed_by.map(|by| by.name)
}
