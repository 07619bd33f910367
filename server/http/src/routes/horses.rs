//! Horses: opening a log, and seeing those that one has to do with.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, get, post, put};
use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, HorseId};
use whorl_care::reading::Way;
use whorl_contract::chain;
use whorl_contract::horse::{Horse, HorseMove, NewHorse};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::horses::{self, HorseRow, TenureRow};
use whorl_store::{Db, StoreError};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::herd;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::state::State;

/// Opens a horse's log: in a barn of the caller's, or in one that they hold a grant for.
///
/// Opening it again with the same id changes nothing.
#[utoipa::path(
    tag = "horses",
    request_body = NewHorse,
    responses(
        (status = 201, description = "The horse; its log is empty", body = Horse),
        (status = 200, description = "It was there before", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses")]
pub(crate) async fn add_horse(
    state: Data<State>,
    caller: Caller,
    new: Body<NewHorse>,
) -> Result<HttpResponse, Problem> {
    let new = new.into_inner();
    let now = state.clock.now();
    let (added, horse) = state
        .write(move |db| {
            let added = open(db, caller.account, &new, now)?;
            let (row, access) = access::horse(db, caller.account, new.id, now)?;
            Ok::<_, Problem>((added, herd::one(db, row, access)?))
        })
        .await?;
    let mut answer = if added {
        HttpResponse::Created()
    } else {
        HttpResponse::Ok()
    };
    Ok(answer.json(horse))
}

/// Opens a log; `false` if this very request opened it before.
fn open(
    db: &mut Db,
    account: AccountId,
    new: &NewHorse,
    now: DateTime<Utc>,
) -> Result<bool, Problem> {
    match horses::get(db, new.id) {
        Ok(row) => {
            let opened = horses::tenure_at(db, row.id, row.created_at)?;
            let same =
                opened.is_some_and(|then| (then.owner_id, then.barn_id) == (account, new.barn_id));
            let taken = || Problem::new(Kind::Conflict, "this id is taken; pick another");
            return if same { Ok(false) } else { Err(taken()) };
        }
        Err(StoreError::NotFound) => {}
        Err(error) => return Err(error.into()),
    }
    access::check_may_keep_in(db, account, new.barn_id, now)?;
    let row = HorseRow {
        id: new.id,
        barn_id: new.barn_id,
        owner_id: account,
        head_seq: 0,
        head: chain::start(new.id).0.to_vec(),
        created_at: now.naive_utc(),
    };
    horses::add(db, row)?;
    Ok(true)
}

/// Lists the horses that the caller may see, with what to know before handling them.
#[utoipa::path(
    tag = "horses",
    params(Paging),
    responses(
        (status = 200, description = "The horses", body = Page<Horse>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses")]
pub(crate) async fn list_horses(
    state: Data<State>,
    caller: Caller,
    paging: Query<Paging>,
) -> Result<Json<Page<Horse>>, Problem> {
    let now = state.clock.now();
    let page = state
        .read(move |db| {
            let visible = access::horses_visible(db, caller.account, now)?;
            let page = paging.cut(visible, |(row, _)| row.id.0)?;
            Ok::<_, Problem>(Page {
                items: herd::views(db, page.items)?,
                next_cursor: page.next_cursor,
            })
        })
        .await?;
    state.note(
        By::Account(caller.account),
        Way::Profile,
        page.items.as_slice(),
    );
    Ok(Json(page))
}

/// Shows a horse.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    responses(
        (status = 200, description = "The horse", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}")]
pub(crate) async fn get_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
) -> Result<Json<Horse>, Problem> {
    let now = state.clock.now();
    let horse = state
        .read(move |db| {
            let (row, access) = access::horse(db, caller.account, *horse, now)?;
            herd::one(db, row, access)
        })
        .await?;
    state.note(By::Account(caller.account), Way::Profile, &horse.id);
    Ok(Json(horse))
}

/// Moves a horse to another barn; its owner may, into a barn of theirs or one that they hold a grant for.
///
/// Grants for the barn that it leaves cover it no more, those for the new one do at once.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body = HorseMove,
    responses(
        (status = 200, description = "The horse in its new place", body = Horse),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[put("/v1/horses/{horse}/barn")]
pub(crate) async fn move_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    to: Body<HorseMove>,
) -> Result<Json<Horse>, Problem> {
    let now = state.clock.now();
    let moved = state
        .write(move |db| {
            let (row, _) = access::horse_for_write(db, caller.account, *horse, now)?;
            if row.owner_id != caller.account {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "only the horse's owner may move it",
                ));
            }
            if row.barn_id != to.barn_id {
                access::check_may_keep_in(db, caller.account, to.barn_id, now)?;
                let tenure = TenureRow {
                    horse_id: row.id,
                    from_at: now.naive_utc(),
                    owner_id: row.owner_id,
                    barn_id: to.barn_id,
                };
                horses::settle(db, tenure)?;
            }
            let (row, access) = access::horse(db, caller.account, row.id, now)?;
            Ok(herd::one(db, row, access)?)
        })
        .await?;
    Ok(Json(moved))
}
