//! Webhooks: making, listing and ending them, and rotating their secrets.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get, post};
use chrono::SubsecRound;
use whorl_care::ids::WebhookId;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::webhook::{NewWebhook, Webhook};
use whorl_store::webhooks::{self, WebhookRow};

use crate::body::Body;
use crate::caller::Caller;
use crate::delivery::signing::Secret;
use crate::delivery::{self, Hooks};
use crate::keys;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// The most webhooks that an account has at a time.
const MOST: usize = 5;
/// The longest address, in bytes.
const LONGEST_URL: usize = 500;

pub(super) fn view(row: &WebhookRow, secret: Option<&Secret>) -> Webhook {
    Webhook {
        id: row.id,
        url: row.url.clone(),
        secret: secret.map(Secret::text),
        created_at: row.created_at.and_utc(),
        rotated_at: row.rotated_at.map(|at| at.and_utc()),
    }
}

fn secret(state: &State, row: &WebhookRow) -> Result<Secret, Problem> {
    Secret::of(row, &row.seed, &state.keys.refresh)
        .ok_or_else(|| Problem::internal("no secret can be made"))
}

fn seed() -> Result<Vec<u8>, Problem> {
    Ok(keys::random::<16>().map_err(Problem::internal)?.to_vec())
}

/// Makes a webhook: the address is called for each of the caller's notices from now on. Its secret is shown this once.
#[utoipa::path(
    tag = "notices",
    request_body = NewWebhook,
    responses(
        (status = 201, description = "The webhook with its secret", body = Webhook),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/webhooks")]
pub(crate) async fn make_webhook(
    state: Data<State>,
    caller: Caller,
    new: Body<NewWebhook>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc().trunc_subsecs(6);
    if !delivery::ways(&state).webhooks {
        let said = "the operator of this server has allowed no address for webhooks";
        return Err(Problem::invalid("/url", said));
    }
    if new.url.len() > LONGEST_URL {
        let said = format!("an address of at most {LONGEST_URL} characters");
        return Err(Problem::invalid("/url", said));
    }
    let hooks = Hooks::new(&state.config.webhooks).map_err(Problem::internal)?;
    let url = hooks
        .read(&new.url)
        .map_err(|why| Problem::invalid("/url", why))?;
    let row = WebhookRow {
        id: state.new_id()?,
        account_id: caller.account,
        url: url.into(),
        seed: seed()?,
        seed_before: None,
        created_at: now,
        rotated_at: None,
        ended_at: None,
        ended_why: None,
    };
    let made = row.clone();
    state
        .write(move |db| {
            if webhooks::of_accounts(db, &[caller.account])?.len() >= MOST {
                let said = format!("you have {MOST} webhooks; end some first");
                return Err(Problem::new(Kind::Conflict, said));
            }
            Ok::<_, Problem>(webhooks::add(db, row)?)
        })
        .await?;
    tracing::info!(target: "security", event = "webhook_made", account = %caller.account, webhook = %made.id);
    let secret = secret(&state, &made)?;
    Ok(HttpResponse::Created().json(view(&made, Some(&secret))))
}

/// Lists the caller's webhooks, without their secrets.
#[utoipa::path(
    tag = "notices",
    params(Paging),
    responses(
        (status = 200, description = "The webhooks", body = Page<Webhook>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/webhooks")]
pub(crate) async fn list_webhooks(
    state: Data<State>,
    caller: Caller,
    paging: Query<Paging>,
) -> Result<Json<Page<Webhook>>, Problem> {
    let rows = state
        .read(move |db| webhooks::of_accounts(db, &[caller.account]))
        .await?;
    let items = rows.iter().map(|row| view(row, None)).collect();
    Ok(Json(paging.cut(items, |one: &Webhook| one.id.0)?))
}

/// Gives a webhook another secret, shown this once. For 24 hours both sign, so that the receiver can change over.
#[utoipa::path(
    tag = "notices",
    params(("webhook" = WebhookId, Path, description = "The webhook")),
    responses(
        (status = 200, description = "The webhook with its new secret", body = Webhook),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/webhooks/{webhook}/rotate")]
pub(crate) async fn rotate_webhook(
    state: Data<State>,
    caller: Caller,
    webhook: Path<WebhookId>,
) -> Result<Json<Webhook>, Problem> {
    let now = state.clock.now().naive_utc().trunc_subsecs(6);
    let new = seed()?;
    let row = state
        .write(move |db| {
            let row = webhooks::get(db, caller.account, *webhook)?;
            webhooks::rotate(db, &row, new, now)?;
            webhooks::get(db, caller.account, *webhook)
        })
        .await?;
    tracing::info!(target: "security", event = "webhook_rotated", account = %caller.account, webhook = %row.id);
    let secret = secret(&state, &row)?;
    Ok(Json(view(&row, Some(&secret))))
}

/// Ends a webhook: it is called no more.
#[utoipa::path(
    tag = "notices",
    params(("webhook" = WebhookId, Path, description = "The webhook")),
    responses(
        (status = 204, description = "It is ended"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/webhooks/{webhook}")]
pub(crate) async fn end_webhook(
    state: Data<State>,
    caller: Caller,
    webhook: Path<WebhookId>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc().trunc_subsecs(6);
    state
        .write(move |db| webhooks::end(db, caller.account, *webhook, "by its owner", now))
        .await?;
    Ok(HttpResponse::NoContent().finish())
}
