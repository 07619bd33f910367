//! Notices: what the caller must know without having asked, and marking it as read.

use actix_web::web::{Data, Json, Query};
use actix_web::{get, post, put};
use chrono::SubsecRound;
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::notice::Letters;
use whorl_care::reading::Way;
use whorl_contract::notice::{GivenUp, LetterChoice, MarkRead, Notice, NoticeSettings, Unread};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::{deliveries, notice_settings, notices};

use crate::body::Body;
use crate::caller::Caller;
use crate::delivery;
use crate::notice::view::{self, Cursor, Wanted};
use crate::paging;
use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::state::State;

/// The most notices on a page.
const LONGEST_PAGE: usize = 100;
/// As many come unasked.
const USUAL_PAGE: usize = 50;

/// Which notices are asked for.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Asked {
    /// The `next_cursor` of the page before.
    cursor: Option<String>,
    /// How many, from 1 to 100; what lies beyond is taken as the nearest of these.
    #[param(minimum = 0, maximum = 4_294_967_295_u32, default = 50, example = 50)]
    limit: Option<u32>,
    /// Only what is unread.
    unread: Option<bool>,
}

/// Lists the caller's notices: what is unread first, the latest first.
///
/// Red flags of horses that the caller owns or is the vet of, and records that wait for their word as an owner. What an
/// entry says is read from the record as it stands; a notice for a horse that the caller may no longer see isn't shown.
#[utoipa::path(
    tag = "notices",
    params(Asked),
    responses(
        (status = 200, description = "The notices", body = Page<Notice>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/notices")]
pub(crate) async fn list_notices(
    state: Data<State>,
    caller: Caller,
    asked: Query<Asked>,
) -> Result<Json<Page<Notice>>, Problem> {
    let asked = asked.into_inner();
    let cursor = asked.cursor.as_deref().map(|text| {
        Cursor::read(text)
            .ok_or_else(|| Problem::invalid("/cursor", "give back next_cursor as it came"))
    });
    let wanted = Wanted {
        only_unread: asked.unread.unwrap_or(false),
        cursor: cursor.transpose()?,
        limit: paging::length(asked.limit, USUAL_PAGE, LONGEST_PAGE),
    };
    let (now, rules) = (state.clock.now(), state.rules.clone());
    let (items, cursor) = state
        .read(move |db| view::page(db, caller.account, (now, &rules), wanted))
        .await?;
    state.note(By::Account(caller.account), Way::Notice, items.as_slice());
    Ok(Json(Page {
        items,
        next_cursor: cursor.map(Cursor::text),
    }))
}

/// Marks one of the caller's notices as read, or all, as far as nothing changed since they were looked at.
#[utoipa::path(
    tag = "notices",
    request_body = MarkRead,
    responses(
        (status = 200, description = "How many are unread now", body = Unread),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/notices/read")]
pub(crate) async fn mark_notices_read(
    state: Data<State>,
    caller: Caller,
    asked: Body<MarkRead>,
) -> Result<Json<Unread>, Problem> {
    Ok(Json(mark(&state, caller, asked.into_inner()).await?))
}

/// Marks as read.
///
/// # Errors
///
/// A problem if the caller has no such notice, or if no database knows the instant.
pub(crate) async fn mark(
    state: &State,
    caller: Caller,
    asked: MarkRead,
) -> Result<Unread, Problem> {
    let now = state.clock.now();
    let until = asked.until.naive_utc();
    if !crate::history::can_be_asked(until) {
        return Err(Problem::invalid("/until", "give an instant of our time"));
    }
    state
        .write(move |db| {
            if let Some(id) = asked.notice_id {
                notices::get(db, caller.account, id)?;
            }
            let at = now.naive_utc().trunc_subsecs(6);
            notices::mark_read(db, caller.account, asked.notice_id, until, at)?;
            Ok::<_, Problem>(Unread {
                unread: view::unread(db, caller.account, now)?,
            })
        })
        .await
}

/// Says which letters the caller gets, and whether this server sends any.
#[utoipa::path(
    tag = "notices",
    responses(
        (status = 200, description = "What they chose", body = NoticeSettings),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/notices/settings")]
pub(crate) async fn get_notice_settings(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<NoticeSettings>, Problem> {
    let email = state
        .read(move |db| notice_settings::email(db, caller.account))
        .await?;
    Ok(Json(settings(&state, email)))
}

/// Chooses which letters the caller gets.
#[utoipa::path(
    tag = "notices",
    request_body = LetterChoice,
    responses(
        (status = 200, description = "What they chose", body = NoticeSettings),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[put("/v1/notices/settings")]
pub(crate) async fn choose_notice_settings(
    state: Data<State>,
    caller: Caller,
    choice: Body<LetterChoice>,
) -> Result<Json<NoticeSettings>, Problem> {
    choose(&state, caller, choice.email).await?;
    Ok(Json(settings(&state, choice.email)))
}

/// Notes which letters the caller wants.
///
/// # Errors
///
/// A failure of ours if the store can't take it.
pub(crate) async fn choose(state: &State, caller: Caller, email: Letters) -> Result<(), Problem> {
    state
        .write(move |db| notice_settings::choose(db, caller.account, email))
        .await
}

pub(super) fn settings(state: &State, email: Letters) -> NoticeSettings {
    let ways = delivery::ways(state);
    NoticeSettings {
        email,
        sends_email: ways.email,
        calls_webhooks: ways.webhooks,
    }
}

/// Lists what could not be sent and was given up, the latest first. For whoever runs the server.
#[utoipa::path(
    tag = "notices",
    responses(
        (status = 200, description = "The latest, 100 at most", body = Page<GivenUp>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/notices/undelivered")]
pub(crate) async fn list_undelivered(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<GivenUp>>, Problem> {
    if !caller.operator {
        return Err(Problem::new(
            Kind::Forbidden,
            "only whoever runs the server sees what it could not send",
        ));
    }
    let rows = state.read(|db| deliveries::given_up(db, 100)).await?;
    let items = rows.into_iter().map(|(row, account)| GivenUp {
        id: row.id,
        account,
        webhook_id: row.webhook_id.map(|id| id.0),
        attempts: row.attempts,
        error: row.error,
        asked_at: row.created_at.and_utc(),
        given_up_at: row.ended_at.map(|at| at.and_utc()),
    });
    Ok(Json(Page::whole(items.collect())))
}
