//! The history of one horse, for people.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_care::reading::Way;
use whorl_contract::history::History;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::{StoreError, horses};

use crate::access;
use crate::caller::Caller;
use crate::history::{self, Cursor, Edge, Wanted};
use crate::paging;
use crate::problem::Problem;
use crate::readings::By;
use crate::routes::sync::{answer_with_etag, bytes_with_etag};
use crate::state::State;

/// The most entries on a page.
const LONGEST_PAGE: usize = 500;

/// Which part of a history.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Filter {
    /// Only these kinds, separated by commas.
    #[param(example = "vaccination,deworming")]
    pub(crate) kind: Option<String>,
    /// Only what happened on this day or later, by the wall clock there, or from this instant on.
    #[param(example = "2026-01-01")]
    pub(crate) from: Option<String>,
    /// Only what happened on this day or earlier, by the wall clock there, or before this instant.
    #[param(example = "2027-12-31")]
    pub(crate) until: Option<String>,
    /// Whether withdrawn entries are shown too.
    #[serde(default)]
    pub(crate) retracted: bool,
    /// The `next_cursor` of the page before.
    pub(crate) cursor: Option<String>,
    /// How many entries, from 1 to 500; what lies beyond is taken as the nearest of these.
    #[param(minimum = 0, maximum = 4_294_967_295_u32, default = 50, example = 50)]
    pub(crate) limit: Option<u32>,
    /// `json` or `csv`.
    #[param(example = "json")]
    pub(crate) format: Option<String>,
}

impl Filter {
    /// Reads it.
    ///
    /// # Errors
    ///
    /// A problem that points to what can't be read.
    pub(crate) fn read(&self) -> Result<Wanted, Problem> {
        let kinds = match &self.kind {
            None => Vec::new(),
            Some(list) => list
                .split(',')
                .map(|code| {
                    code.trim()
                        .parse::<Kind>()
                        .map_err(|error| Problem::invalid("/kind", error.to_string()))
                })
                .collect::<Result<_, _>>()?,
        };
        let cursor =
            match &self.cursor {
                None => None,
                Some(text) => Some(Cursor::read(text).ok_or_else(|| {
                    Problem::invalid("/cursor", "give back next_cursor as it came")
                })?),
            };
        Ok(Wanted {
            kinds,
            from: self
                .from
                .as_deref()
                .map(|text| edge("/from", text))
                .transpose()?,
            until: self
                .until
                .as_deref()
                .map(|text| edge("/until", text))
                .transpose()?,
            retracted: self.retracted,
            cursor,
            limit: paging::length(self.limit, 50, LONGEST_PAGE),
        })
    }
}

/// Reads a day or an instant.
fn edge(pointer: &str, text: &str) -> Result<Edge, Problem> {
    let wrong = || {
        Problem::invalid(
            pointer,
            format!("`{text}` is neither a day (2027-03-04) nor an instant (RFC 3339)"),
        )
    };
    let day = text.parse::<NaiveDate>();
    let at = day.map_or_else(
        |_| text.parse::<DateTime<Utc>>().map(|at| at.naive_utc()),
        |day| Ok(day.and_time(NaiveTime::MIN)),
    );
    let at = at
        .ok()
        .filter(|at| history::can_be_asked(*at))
        .ok_or_else(wrong)?;
    Ok(day.map_or(Edge::Instant(at), Edge::Day))
}

/// Shows what a horse's log says now, the latest first: amended entries as amended, withdrawn ones only if asked for.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        Filter,
        ("If-None-Match" = Option<String>, Header, description = "The ETag of the last answer"),
    ),
    responses(
        (status = 200, description = "A page of entries", content(
            (History = "application/json"),
            (String = "text/csv", example = "seq,id,kind\r\n42,0199f3a0-7c00-7000-8000-00000000000d,vaccination\r\n"),
        ), headers(("ETag" = String, description = "Give it back as If-None-Match"))),
        (status = 304, description = "Nothing changed"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/history")]
pub(crate) async fn get_history(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    filter: actix_web::web::Query<Filter>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let wanted = filter.read()?;
    let now = state.clock.now();
    let history = state
        .read(move |db| {
            let horse = horses::get(db, horse.into_inner())?;
            let access = access::of_horse(db, caller.account, &horse, now)?;
            if !access.is_anything() {
                return Err(StoreError::NotFound);
            }
            let (items, cursor) = history::page(db, horse.id, horse.head_seq, &access, &wanted)?;
            Ok(History {
                horse_id: horse.id,
                seq: access.until_seq(horse.head_seq),
                items,
                next_cursor: cursor.map(Cursor::text),
            })
        })
        .await?;
    let read = |way| state.note(By::Account(caller.account), way, &history.horse_id);
    match filter.format.as_deref() {
        None | Some("json") => {
            read(Way::History);
            answer_with_etag(&request, &history)
        }
        Some("csv") => {
            read(Way::Table);
            let table = history::table(&history.items)?;
            let name = format!("attachment; filename=\"history-{}.csv\"", history.horse_id);
            let mut answer = bytes_with_etag(&request, "text/csv; charset=utf-8", table);
            answer.headers_mut().insert(
                CONTENT_DISPOSITION,
                name.parse().map_err(Problem::internal)?,
            );
            Ok(answer)
        }
        Some(_) => Err(Problem::invalid("/format", "json or csv")),
    }
}
