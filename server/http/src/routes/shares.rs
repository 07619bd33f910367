//! Links by which a horse's history can be read without an account.

use std::net::IpAddr;

use actix_web::http::header::{CONTENT_DISPOSITION, HOST};
use actix_web::http::uri::Authority;
use actix_web::web::{Data, Json, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use whorl_care::ids::{AccountId, HorseId, ShareId};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::share::{LONGEST_DAYS, NewShare, Share, SharedHistory};
use whorl_store::horses::{self, HorseRow};
use whorl_store::shares::{self, ShareRow};
use whorl_store::{Db, StoreError, accounts};

use crate::access::{self, Access};
use crate::body::Body;
use crate::bundling::check_seal;
use crate::caller::Caller;
use crate::exchange::HeadOnly;
use crate::keys;
use crate::problem::{Kind, Problem};
use crate::qr;
use crate::shared_history::{self, seal_of, token_hash};
use crate::state::State;
use crate::text;

/// The random bytes of a link's secret: 192 bits.
const SECRET: usize = 24;

/// Checks that somebody owns the horse whose history is handed on.
///
/// # Errors
///
/// A refusal for everybody else who may see the horse.
pub(crate) fn check_is_owner(access: &Access) -> Result<(), Problem> {
    if access.is_owner() {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Forbidden,
        "only the horse's owner may hand on its history",
    ))
}

fn view(db: &mut Db, row: &ShareRow) -> Result<Share, StoreError> {
    Ok(Share {
        id: row.id,
        horse_id: row.horse_id,
        label: row.label.clone(),
        seal: seal_of(row)?,
        made_by: row.made_by,
        made_by_name: accounts::get(db, row.made_by)?.name,
        created_at: row.created_at.and_utc(),
        expires_at: row.expires_at.and_utc(),
        revoked_at: row.revoked_at.map(|at| at.and_utc()),
        views: row.views,
        last_seen_at: row.last_seen_at.map(|at| at.and_utc()),
        url: None,
        qr_svg: None,
    })
}

/// A link as somebody asks for it, and its secret.
///
/// # Errors
///
/// A problem that points to what can't stand.
pub(crate) fn new_row(
    state: &State,
    maker: AccountId,
    horse_id: HorseId,
    new: &NewShare,
) -> Result<(ShareRow, String), Problem> {
    if !(1..=LONGEST_DAYS).contains(&new.days) {
        return Err(Problem::invalid(
            "/days",
            format!("a link lasts 1 to {LONGEST_DAYS} days"),
        ));
    }
    check_seal(&new.seal)?;
    let label = new
        .label
        .as_deref()
        .map(|label| text::line("/label", label, 100));
    let secret = keys::random::<SECRET>().map_err(Problem::internal)?;
    let token = URL_SAFE_NO_PAD.encode(secret);
    let now = state.clock.now();
    let kinds: Vec<&str> = new.seal.kinds.iter().map(|kind| kind.code()).collect();
    let row = ShareRow {
        horse_id,
        id: state.new_id()?,
        token_hash: token_hash(&token).0.to_vec(),
        made_by: maker,
        label: label.transpose()?,
        sealed_kinds: kinds.join(","),
        sealed_before: new.seal.before,
        sealed_after: new.seal.after,
        leaf_only: new.seal.leaf_only,
        created_at: now.naive_utc(),
        expires_at: (now + TimeDelta::days(i64::from(new.days))).naive_utc(),
        revoked_at: None,
        views: 0,
        last_seen_at: None,
    };
    Ok((row, token))
}

/// Adds a link, if its maker owns the horse; answers it with its address and its QR code, for this once.
///
/// # Errors
///
/// A refusal, or a failure of ours.
pub(crate) async fn add(
    state: &State,
    request: &HttpRequest,
    (row, token): (ShareRow, String),
) -> Result<Share, Problem> {
    let base = base(state, request).ok_or_else(|| {
        Problem::new(
            Kind::Unavailable,
            "no link can be made: this server doesn't know the address at which people reach it. Its operator sets it \
             with --public-url or WHORL_PUBLIC_URL",
        )
    })?;
    let now = state.clock.now();
    let mut share = state
        .write(move |db| {
            let (_, access) = access::horse_for_write(db, row.made_by, row.horse_id, now)?;
            check_is_owner(&access)?;
            let share = view(db, &row)?;
            shares::add(db, row)?;
            Ok::<_, Problem>(share)
        })
        .await?;
    let url = format!("{base}/shared/{token}");
    share.qr_svg = Some(qr::svg(&url)?);
    share.url = Some(url);
    tracing::info!(target: "security", event = "history_shared", account = %share.made_by, horse = %share.horse_id,
        share = %share.id);
    Ok(share)
}

/// Where people reach this server: as the operator says, else as the caller did if that is on this very machine. Any
/// other `Host` goes into no link: whoever sends it would choose where readers take the link's secret.
pub(crate) fn base(state: &State, request: &HttpRequest) -> Option<String> {
    if let Some(url) = &state.config.public_url {
        return Some(url.as_str().to_owned());
    }
    let host = request.headers().get(HOST)?.to_str().ok()?;
    let authority: Authority = host.parse().ok()?;
    let name = authority
        .host()
        .trim_start_matches('[')
        .trim_end_matches(']');
    let is_here = name.eq_ignore_ascii_case("localhost")
        || name
            .parse::<IpAddr>()
            .is_ok_and(|address| address.is_loopback());
    (is_here && !host.contains('@')).then(|| format!("http://{host}"))
}

/// The links of a horse that an owner may know of: their own, and those of whoever owns it with them.
///
/// # Errors
///
/// A refusal, or [`StoreError`].
pub(crate) fn known(
    db: &mut Db,
    account: AccountId,
    horse: HorseId,
    now: DateTime<Utc>,
) -> Result<Vec<Share>, Problem> {
    let (horse, access) = access::horse(db, account, horse, now)?;
    check_is_owner(&access)?;
    let mut known = Vec::new();
    for row in shares::of_horse(db, horse.id)? {
        if row.made_by == account || access::of_horse(db, row.made_by, &horse, now)?.is_owner() {
            known.push(as_it_is(db, row, &horse, now)?);
        }
    }
    Ok(known)
}

/// The links that somebody made to a horse's history, whosever the horse is by now.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(super) fn made_by(
    db: &mut Db,
    account: AccountId,
    horse: HorseId,
    now: DateTime<Utc>,
) -> Result<Vec<Share>, StoreError> {
    let mut rows = shares::of_horse(db, horse)?;
    rows.retain(|row| row.made_by == account);
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let horse = horses::get(db, horse)?;
    rows.into_iter()
        .map(|row| as_it_is(db, row, &horse, now))
        .collect()
}

/// A link by now: what ended with its maker's ownership stays ended, though they own the horse again.
fn as_it_is(
    db: &mut Db,
    mut row: ShareRow,
    horse: &HorseRow,
    now: DateTime<Utc>,
) -> Result<Share, StoreError> {
    let lapsed = access::lapsed(db, row.made_by, horse, row.created_at, now)?;
    row.revoked_at = row.revoked_at.into_iter().chain(lapsed).min();
    view(db, &row)
}

/// Ends a link at once; every owner of the horse may, and ending it again changes nothing.
///
/// # Errors
///
/// A refusal, or a failure of ours.
pub(crate) async fn end_now(
    state: &State,
    account: AccountId,
    horse: HorseId,
    id: ShareId,
) -> Result<(), Problem> {
    let now = state.clock.now();
    state
        .write(move |db| {
            let (horse, access) = access::horse_for_write(db, account, horse, now)?;
            check_is_owner(&access)?;
            let row = shares::get(db, horse.id, id)?;
            Ok::<_, Problem>(shares::revoke(db, horse.id, row.id, now.naive_utc())?)
        })
        .await?;
    tracing::info!(target: "security", event = "share_ended", %account, %horse, share = %id);
    Ok(())
}

/// Makes a link by which a horse's history can be read without an account, whole or with some of it kept back.
///
/// The secret in the link is told this once and kept as a hash only. The link ends on its day, when it is ended, and
/// when its maker owns the horse no more. Without `--public-url` it is made only for whoever asks on the server's own
/// machine: what a request says of the address goes into no link.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body = NewShare,
    responses(
        (status = 201, description = "The link, with its address and QR code", body = Share),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses/{horse}/shares")]
pub(crate) async fn share_history(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    new: Body<NewShare>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let made = new_row(&state, caller.account, *horse, &new)?;
    let share = add(&state, &request, made).await?;
    Ok(HttpResponse::Created().json(share))
}

/// Lists the links of a horse, those that ended among them, and how often each was looked at.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    responses(
        (status = 200, description = "The links, the oldest first", body = Page<Share>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/shares")]
pub(crate) async fn list_shares(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
) -> Result<Json<Page<Share>>, Problem> {
    let (now, horse) = (state.clock.now(), *horse);
    let items = state
        .read(move |db| known(db, caller.account, horse, now))
        .await?;
    Ok(Json(Page::whole(items)))
}

/// Ends a link at once.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        ("share" = ShareId, Path, description = "The link"),
    ),
    responses(
        (status = 204, description = "It has ended"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/horses/{horse}/shares/{share}")]
pub(crate) async fn end_share(
    state: Data<State>,
    caller: Caller,
    ids: Path<(HorseId, ShareId)>,
) -> Result<HttpResponse, Problem> {
    let (horse, share) = ids.into_inner();
    end_now(&state, caller.account, horse, share).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Gives a shared history to whoever has the link: what the log says now, as far as the owner shows it.
///
/// The answer is the same whether the secret is unknown or the link has ended.
#[utoipa::path(
    tag = "horses",
    params(("token" = String, Path, description = "The secret of the link", example = "kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi")),
    responses(
        (status = 200, description = "The history", body = SharedHistory),
        (status = "4XX", description = "The link is unknown or has ended", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
    security(()),
)]
#[get("/v1/shared/{token}")]
pub(crate) async fn get_shared_history(
    state: Data<State>,
    token: Path<String>,
    head: HeadOnly,
) -> Result<Json<SharedHistory>, Problem> {
    Ok(Json(shared_history::look(&state, &token, head).await?))
}

/// Gives a shared history to whoever has the link, as a document to print.
#[utoipa::path(
    tag = "horses",
    params(("token" = String, Path, description = "The secret of the link", example = "kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi")),
    responses(
        (status = 200, description = "The document", content((Vec<u8> = "application/pdf"))),
        (status = "4XX", description = "The link is unknown or has ended", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
    security(()),
)]
#[get("/v1/shared/{token}/pdf")]
pub(crate) async fn get_shared_pdf(
    state: Data<State>,
    token: Path<String>,
    head: HeadOnly,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let link = base(&state, &request).map(|base| format!("{base}/shared/{token}"));
    let (horse, bytes) = shared_history::paper(&state, &token, head, link.as_deref()).await?;
    let name = format!("attachment; filename=\"history-{horse}.pdf\"");
    Ok(HttpResponse::Ok()
        .content_type("application/pdf")
        .insert_header((CONTENT_DISPOSITION, name))
        .body(bytes))
}
