//! Invitations: an owner hands a one-time code to somebody, who gets a grant for it.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get, post};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use whorl_care::fault::Faults;
use whorl_care::ids::{AccountId, GrantId, InvitationId};
use whorl_care::kind::Role;
use whorl_contract::grant::{Grant, Invitation, InvitationCode, NewInvitation};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::grants::{self, GrantRow};
use whorl_store::invitations::{self, InvitationRow};
use whorl_store::{Db, Key, Kinds, StoreError, accounts, barns, horses};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::invitation_code;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::routes::grants::view as grant_view;
use crate::state::State;
use crate::throttle::{self, Bucket, Gate};

/// How long a code works.
const LASTS: TimeDelta = TimeDelta::days(7);

pub(super) fn view(row: InvitationRow, code: Option<String>) -> Invitation {
    Invitation {
        id: row.id,
        code,
        horse_id: row.horse_id.map(|id| id.0),
        barn_id: row.barn_id.map(|id| id.0),
        role: row.role,
        from: row.from_at.and_utc(),
        until: row.until_at.map(|at| at.and_utc()),
        kinds: row.kinds.map(|kinds| kinds.0.0),
        expires_at: row.expires_at.and_utc(),
        accepted_by: row.accepted_by.map(|id| id.0),
        withdrawn_at: row.withdrawn_at.map(|at| at.and_utc()),
    }
}

/// The invitation, tidied up: kinds in order, each once.
fn checked(mut new: NewInvitation, now: DateTime<Utc>) -> Result<NewInvitation, Faults> {
    let mut faults = Faults::default();
    if new.horse_id.is_some() == new.barn_id.is_some() {
        faults.add("/horse_id", "give either horse_id or barn_id");
    }
    let from = new.from.unwrap_or(now);
    if new.until.is_some_and(|until| until <= from.max(now)) {
        faults.add("/until", "must lie after `from`, and ahead");
    }
    if let Some(kinds) = &mut new.kinds {
        kinds.sort_unstable();
        kinds.dedup();
        if kinds.is_empty() {
            faults.add("/kinds", "name at least one kind, or leave it out for all");
        }
        if kinds.iter().any(|kind| kind.is_about_another()) {
            faults.add(
                "/kinds",
                "amendment, retraction and countersign follow the kind that they are about; leave them out",
            );
        }
    }
    if new.role == Role::Owner && new.kinds.is_some() {
        faults.add("/kinds", "an owner isn't limited to some kinds");
    }
    faults.or(new)
}

/// Checks that somebody may give others a role on this horse or barn: who owns it may.
fn check_may_invite(
    db: &mut Db,
    account: AccountId,
    new: &NewInvitation,
    now: DateTime<Utc>,
) -> Result<(), Problem> {
    let owner = match (new.horse_id, new.barn_id) {
        (Some(horse), _) => access::horse(db, account, horse, now)?.0.owner_id,
        (None, Some(barn)) => access::barn(db, account, barn, now)?.owner_id,
        (None, None) => return Err(Problem::not_found()),
    };
    if owner == account {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Forbidden,
        "only the owner of the horse or barn may invite to it",
    ))
}

/// Invites somebody to a horse or to all horses of a barn; its owner may. The code is shown this once.
///
/// The role `owner` makes a co-owner of one horse. For a barn it lets its holder keep horses of their own there, and
/// gives no sight of others'.
#[utoipa::path(
    tag = "access",
    request_body = NewInvitation,
    responses(
        (status = 201, description = "The invitation with its code", body = Invitation),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/invitations")]
pub(crate) async fn invite(
    state: Data<State>,
    caller: Caller,
    new: Body<NewInvitation>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let new = checked(new.into_inner(), now)?;
    let code = invitation_code::fresh()?;
    let row = InvitationRow {
        id: state.new_id()?,
        code_hash: invitation_code::hash(&code).0.to_vec(),
        role: new.role,
        horse_id: new.horse_id.map(Key),
        barn_id: new.barn_id.map(Key),
        from_at: new.from.unwrap_or(now).naive_utc(),
        until_at: new.until.map(|until| until.naive_utc()),
        kinds: new.kinds.clone().map(|kinds| Key(Kinds(kinds))),
        created_by: caller.account,
        created_at: now.naive_utc(),
        expires_at: (now + LASTS).naive_utc(),
        accepted_by: None,
        accepted_at: None,
        withdrawn_at: None,
    };
    let made = row.clone();
    state
        .write(move |db| {
            check_may_invite(db, caller.account, &new, now)?;
            Ok::<_, Problem>(invitations::add(db, row)?)
        })
        .await?;
    Ok(HttpResponse::Created().json(view(made, Some(code))))
}

/// Lists the invitations that the caller made.
#[utoipa::path(
    tag = "access",
    params(Paging),
    responses(
        (status = 200, description = "The invitations, without their codes", body = Page<Invitation>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/invitations")]
pub(crate) async fn list_invitations(
    state: Data<State>,
    caller: Caller,
    paging: Query<Paging>,
) -> Result<Json<Page<Invitation>>, Problem> {
    let rows = state
        .read(move |db| invitations::made_by(db, caller.account))
        .await?;
    let items = rows.into_iter().map(|row| view(row, None)).collect();
    Ok(Json(paging.cut(items, |one: &Invitation| one.id.0)?))
}

/// Withdraws an invitation that nobody has used; whoever made it may.
#[utoipa::path(
    tag = "access",
    params(("invitation" = InvitationId, Path, description = "The invitation")),
    responses(
        (status = 204, description = "Its code works no more"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/invitations/{invitation}")]
pub(crate) async fn withdraw_invitation(
    state: Data<State>,
    caller: Caller,
    invitation: Path<InvitationId>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now().naive_utc();
    state
        .write(move |db| {
            let row = invitations::get(db, *invitation)?;
            if row.created_by != caller.account {
                return Err(Problem::not_found());
            }
            if !invitations::withdraw(db, row.id, now)? && row.withdrawn_at.is_none() {
                return Err(Problem::new(
                    Kind::Conflict,
                    "it was used; end the grant instead",
                ));
            }
            Ok(())
        })
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Accepts an invitation by its code, and answers the grant.
///
/// A code works once. Whoever used it may send it again if the answer got lost.
#[utoipa::path(
    tag = "access",
    request_body = InvitationCode,
    responses(
        (status = 201, description = "The grant", body = Grant),
        (status = 200, description = "The caller has used this code before: the grant that it gave", body = Grant),
        (status = "4XX", description = "The code is unknown, used up or expired, or it is the caller's own", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/invitations/accept")]
pub(crate) async fn accept_invitation(
    state: Data<State>,
    caller: Caller,
    code: Body<InvitationCode>,
) -> Result<HttpResponse, Problem> {
    let hash = invitation_code::hash(&code.code);
    let now = state.clock.now();
    let taken = state
        .write(move |db| {
            let tries = [Bucket::codes(caller.account)];
            if let Gate::WaitFor(seconds) = throttle::attempt(db, &tries, now)? {
                let said = "too many codes that don't work; please wait";
                return Err(Problem::new(Kind::TooManyRequests, said).retry_after(seconds));
            }
            let row = match open(db, &hash.0, now.naive_utc()) {
                Ok(row) => row,
                // No failure of the write: that it was tried must stay counted.
                Err(problem) => return Ok(Err(problem)),
            };
            throttle::forgiven(db, &tries)?;
            let (new, grant) = take(db, row, caller.account, now.naive_utc())?;
            let name = accounts::get(db, caller.account)?.name;
            Ok(Ok((new, grant_view(grant, name))))
        })
        .await?;
    let (new, grant) = taken?;
    if !new {
        return Ok(HttpResponse::Ok().json(grant));
    }
    tracing::info!(target: "security", event = "invitation_accepted", account = %caller.account, grant = %grant.id);
    Ok(HttpResponse::Created().json(grant))
}

/// The one answer to a code that gives nothing, whatever the reason.
fn gone() -> Problem {
    Problem::new(
        Kind::Gone,
        "this code is unknown, used up, withdrawn or expired; ask for another",
    )
}

/// The invitation with this code, used or not, unless it has lapsed.
fn open(db: &mut Db, hash: &[u8], now: NaiveDateTime) -> Result<InvitationRow, Problem> {
    match invitations::by_code(db, hash) {
        Ok(row) if row.withdrawn_at.is_none() && now < row.expires_at => Ok(row),
        Ok(_) | Err(StoreError::NotFound) => Err(gone()),
        Err(error) => Err(error.into()),
    }
}

/// Uses an invitation up; `false` beside the grant if this person had used it before.
fn take(
    db: &mut Db,
    row: InvitationRow,
    by: AccountId,
    now: NaiveDateTime,
) -> Result<(bool, GrantRow), Problem> {
    // The grant has the id of its invitation, so that a code that is sent again finds it.
    let id = GrantId(row.id.0);
    if row.accepted_by == Some(Key(by)) {
        return Ok((false, grants::get(db, id)?));
    }
    if row.created_by == by {
        return Err(Problem::new(
            Kind::Conflict,
            "this is your own invitation; hand the code over",
        ));
    }
    // Whoever invited may have sold the horse since.
    let owner = match (&row.horse_id, &row.barn_id) {
        (Some(horse), _) => horses::lock(db, &[horse.0])?.pop().map(|row| row.owner_id),
        (None, Some(barn)) => Some(barns::get(db, barn.0)?.owner_id),
        (None, None) => None,
    };
    if owner != Some(row.created_by) || !invitations::accept(db, row.id, by, now)? {
        return Err(gone());
    }
    let grant = GrantRow {
        id,
        account_id: by,
        role: row.role,
        horse_id: row.horse_id,
        barn_id: row.barn_id,
        from_at: row.from_at,
        until_at: row.until_at,
        kinds: row.kinds,
        granted_by: row.created_by,
        created_at: now,
        revoked_at: None,
        revoked_by: None,
    };
    grants::add(db, grant.clone())?;
    Ok((true, grant))
}
