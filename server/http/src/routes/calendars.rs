//! Calendars: making and revoking secret addresses, and what stands at them.

use actix_web::http::header::CACHE_CONTROL;
use actix_web::http::header::HeaderValue;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use whorl_care::figure::due::board::Choice;
use whorl_care::ids::CalendarId;
use whorl_care::reading::Way;
use whorl_contract::calendar::{Calendar, NewCalendar};
use whorl_contract::key::Hash;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::calendars::{self, CalendarRow};
use whorl_store::{Key, StoreError, accounts, barns};

use crate::access;
use crate::body::Body;
use crate::calendar_feed::{horizon, render};
use crate::caller::Caller;
use crate::due_board::{self, Asker, Listed, Wanted};
use crate::keys;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::rate;
use crate::readings::By;
use crate::routes::sync::bytes_with_etag;
use crate::state::State;

/// The most calendars that an account has at a time.
const MOST: usize = 50;

pub(super) fn view(row: &CalendarRow, address: Option<String>) -> Calendar {
    Calendar {
        id: row.id,
        barn_id: row.barn_id.as_ref().map(|id| id.0),
        address,
        created_at: row.created_at.and_utc(),
    }
}

/// The hash by which the secret of an address is stored.
fn hash(token: &str) -> Vec<u8> {
    Hash::of(&[b"whorl/calendar/1\0", token.as_bytes()])
        .0
        .to_vec()
}

/// Makes a secret address under which a calendar program fetches what is due, in one barn or wherever the caller may do
/// something. The address is shown this once.
#[utoipa::path(
    tag = "due",
    request_body = NewCalendar,
    responses(
        (status = 201, description = "The calendar with its address", body = Calendar),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/calendars")]
pub(crate) async fn make_calendar(
    state: Data<State>,
    caller: Caller,
    new: Body<NewCalendar>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let token = URL_SAFE_NO_PAD.encode(keys::random::<32>().map_err(Problem::internal)?);
    let row = CalendarRow {
        id: state.new_id()?,
        account_id: caller.account,
        barn_id: new.barn_id.map(Key),
        token_hash: hash(&token),
        created_at: now.naive_utc(),
        revoked_at: None,
    };
    let made = row.clone();
    state
        .write(move |db| {
            if let Some(barn) = new.barn_id {
                access::barn(db, caller.account, barn, now)?;
            }
            if calendars::of_account(db, caller.account)?.len() >= MOST {
                let said = format!("you have {MOST} calendars; revoke some first");
                return Err(Problem::new(Kind::Conflict, said));
            }
            Ok::<_, Problem>(calendars::add(db, row)?)
        })
        .await?;
    let host = state
        .config
        .public_url
        .as_ref()
        .map_or("", |url| url.as_str());
    let address = format!("{host}{}", path::calendar_feed(&token));
    Ok(HttpResponse::Created().json(view(&made, Some(address))))
}

/// Lists the caller's calendars, without their addresses.
#[utoipa::path(
    tag = "due",
    params(Paging),
    responses(
        (status = 200, description = "The calendars", body = Page<Calendar>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/calendars")]
pub(crate) async fn list_calendars(
    state: Data<State>,
    caller: Caller,
    paging: Query<Paging>,
) -> Result<Json<Page<Calendar>>, Problem> {
    let rows = state
        .read(move |db| calendars::of_account(db, caller.account))
        .await?;
    let items = rows.into_iter().map(|row| view(&row, None)).collect();
    Ok(Json(paging.cut(items, |one: &Calendar| one.id.0)?))
}

/// Revokes a calendar: its address shows nothing any more.
#[utoipa::path(
    tag = "due",
    params(("calendar" = CalendarId, Path, description = "The calendar")),
    responses(
        (status = 204, description = "It is revoked"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/calendars/{calendar}")]
pub(crate) async fn revoke_calendar(
    state: Data<State>,
    caller: Caller,
    calendar: Path<CalendarId>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc();
    state
        .write(move |db| calendars::revoke(db, caller.account, *calendar, now))
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Gives a calendar program what is due (RFC 5545), as the calendar's owner may see it now.
///
/// Nobody signs in: whoever knows the address reads it. What is done leaves it, and so does what its owner may no more see.
#[utoipa::path(
    tag = "due",
    security(()),
    params(
        ("token" = String, Path, description = "The secret of the address"),
        ("If-None-Match" = Option<String>, Header, description = "The ETag of the last answer"),
    ),
    responses(
        (status = 200, description = "The calendar", content((String = "text/calendar",
         example = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Whorl//due//EN\r\nEND:VCALENDAR\r\n")),
         headers(("ETag" = String, description = "Give it back as If-None-Match"))),
        (status = 304, description = "Nothing changed"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/calendar/{token}.ics")]
pub(crate) async fn calendar_feed(
    state: Data<State>,
    token: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let (rules, counts) = (state.rules.clone(), state.clone());
    let choice = Choice {
        until: horizon(now),
        ..Choice::default()
    };
    let (text, by, board) = state
        .read(move |db| {
            let row = calendars::by_token(db, &hash(&token))?;
            if accounts::get(db, row.account_id)?.disabled_at.is_some() {
                return Err(Problem::not_found());
            }
            let by = By::Calendar {
                id: row.id,
                holder: row.account_id,
            };
            rate::admit(&counts, by)?;
            let asker = Asker {
                account: row.account_id,
                now,
                on: None,
            };
            let (name, listed) = match row.barn_id {
                None => (
                    "My list".to_owned(),
                    due_board::of_account(db, asker, Wanted { choice, mine: true }, &rules)?,
                ),
                Some(Key(barn)) => {
                    let wanted = Wanted {
                        choice,
                        mine: false,
                    };
                    match due_board::of_barn(db, asker, barn, wanted, &rules) {
                        Ok(listed) => (barns::get(db, barn)?.name, listed),
                        // Its owner has nothing more to do with the barn.
                        Err(StoreError::NotFound) => ("No more".to_owned(), Listed::default()),
                        Err(error) => return Err(error.into()),
                    }
                }
            };
            let text = render(&format!("Due: {name}"), &listed, now).map_err(Problem::internal)?;
            Ok::<_, Problem>((text, by, listed.board))
        })
        .await?;
    state.note(by, Way::Due, &board);
    let mut answer = bytes_with_etag(&request, "text/calendar; charset=utf-8", text.into_bytes());
    let headers = answer.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    headers.insert(
        actix_web::http::header::HeaderName::from_static("x-robots-tag"),
        HeaderValue::from_static("noindex"),
    );
    Ok(answer)
}
