//! Invitations: an owner hands a one-time code to a professional, who gets a grant for it.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, delete, get, post};
use chrono::TimeDelta;
use whorl_care::ids::{AccountId, BarnId, HorseId, InvitationId};
use whorl_care::kind::Role;
use whorl_contract::grant::{Grant, Invitation, InvitationCode, NewInvitation};
use whorl_contract::key::Hash;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::grants::{self, GrantRow};
use whorl_store::invitations::{self, InvitationRow};
use whorl_store::{Db, StoreError, accounts, barns, horses};

use crate::access;
use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::routes::grants::view as grant_view;
use crate::state::State;

/// How long a code works.
const LASTS: TimeDelta = TimeDelta::days(7);

/// Letters and digits that nobody takes for one another when they are read out.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A fresh code of 80 random bits, in four groups of four.
fn new_code() -> Result<String, Problem> {
    let mut random = [0; 16];
    getrandom::fill(&mut random).map_err(Problem::internal)?;
    let mut code = String::with_capacity(19);
    for (n, byte) in random.iter().enumerate() {
        if n > 0 && n % 4 == 0 {
            code.push('-');
        }
        code.push(char::from(ALPHABET[usize::from(byte % 32)]));
    }
    Ok(code)
}

/// The hash by which a code is stored; case, dashes and spaces don't matter, nor does an O for a zero or an I for a one.
fn hash_of(code: &str) -> Vec<u8> {
    let plain: String = code
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|letter| match letter.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect();
    Hash::of(&[b"whorl/invitation/1\0", plain.as_bytes()])
        .0
        .to_vec()
}

fn view(row: InvitationRow, code: Option<String>) -> Invitation {
    Invitation {
        id: row.id,
        code,
        horse_id: row.horse_id.and_then(|id| id.parse().ok()),
        barn_id: row.barn_id.and_then(|id| id.parse().ok()),
        role: row.role,
        from: row.from_at.and_utc(),
        until: row.until_at.map(|at| at.and_utc()),
        kinds: access::kinds_of(row.kinds.as_deref()),
        expires_at: row.expires_at.and_utc(),
        accepted_by: row.accepted_by.and_then(|id| id.parse().ok()),
        withdrawn_at: row.withdrawn_at.map(|at| at.and_utc()),
    }
}

/// Whether somebody may give others a role on this horse or barn: who owns it.
fn check_may_invite(
    db: &mut Db,
    account: AccountId,
    horse: Option<HorseId>,
    barn: Option<BarnId>,
) -> Result<(), Problem> {
    let owner = match (horse, barn) {
        (Some(horse), None) => horses::get(db, horse).map(|row| row.owner_id),
        (None, Some(barn)) => barns::get(db, barn).map(|row| row.owner_id),
        _ => {
            return Err(Problem::invalid(
                "/horse_id",
                "give either horse_id or barn_id",
            ));
        }
    };
    match owner {
        Ok(owner) if owner == account => Ok(()),
        // Somebody else's, or not there: the two look the same.
        Ok(_) | Err(StoreError::NotFound) => Err(Problem::not_found()),
        Err(error) => Err(error.into()),
    }
}

/// Invites somebody to a horse or a barn; its owner may. The code is shown this once.
#[utoipa::path(
    tag = "access",
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
    new: Json<NewInvitation>,
) -> Result<HttpResponse, Problem> {
    let new = new.into_inner();
    let now = state.clock.now();
    let from = new.from.unwrap_or(now);
    if new.until.is_some_and(|until| until <= from || until <= now) {
        return Err(Problem::invalid(
            "/until",
            "must lie after `from`, and ahead",
        ));
    }
    if new.kinds.as_ref().is_some_and(Vec::is_empty) {
        return Err(Problem::invalid(
            "/kinds",
            "name at least one kind, or leave it out for all",
        ));
    }
    if new.role == Role::Owner && new.barn_id.is_some() {
        return Err(Problem::invalid(
            "/role",
            "owners are invited horse by horse",
        ));
    }
    let code = new_code()?;
    let row = InvitationRow {
        id: state.new_id()?,
        code_hash: hash_of(&code),
        role: new.role,
        horse_id: new.horse_id.map(|id| id.to_string()),
        barn_id: new.barn_id.map(|id| id.to_string()),
        from_at: from.naive_utc(),
        until_at: new.until.map(|until| until.naive_utc()),
        kinds: access::kinds_text(new.kinds.as_deref()),
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
            check_may_invite(db, caller.account, new.horse_id, new.barn_id)?;
            Ok::<_, Problem>(invitations::add(db, row)?)
        })
        .await?;
    Ok(HttpResponse::Created().json(view(made, Some(code))))
}

/// Lists the invitations that the caller made, the latest first.
#[utoipa::path(
    tag = "access",
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
) -> Result<Json<Page<Invitation>>, Problem> {
    let rows = state
        .read(move |db| invitations::made_by(db, caller.account))
        .await?;
    Ok(Json(Page::whole(
        rows.into_iter().map(|row| view(row, None)).collect(),
    )))
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
            if row.accepted_by.is_some() {
                return Err(Problem::new(
                    Kind::Conflict,
                    "it was used; revoke the grant instead",
                ));
            }
            Ok(invitations::withdraw(db, row.id, now)?)
        })
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Accepts an invitation by its code, and answers the grant.
#[utoipa::path(
    tag = "access",
    responses(
        (status = 201, description = "The grant", body = Grant),
        (status = "4XX", description = "The code is unknown, used up or expired", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/invitations/accept")]
pub(crate) async fn accept_invitation(
    state: Data<State>,
    caller: Caller,
    code: Json<InvitationCode>,
) -> Result<HttpResponse, Problem> {
    let hash = hash_of(&code.code);
    let now = state.clock.now().naive_utc();
    let id = state.new_id()?;
    let (row, name) = state
        .write(move |db| {
            let gone = || {
                Problem::new(
                    Kind::Gone,
                    "this code is unknown, used up, withdrawn or expired; ask for another",
                )
            };
            let row = match invitations::by_code(db, &hash) {
                Ok(row) if row.expires_at > now => row,
                Ok(_) | Err(StoreError::NotFound) => return Err(gone()),
                Err(error) => return Err(error.into()),
            };
            if row.created_by == caller.account {
                return Err(Problem::new(
                    Kind::Conflict,
                    "this is your own invitation; hand the code over",
                ));
            }
            // Whoever invited may have sold the horse or the barn since.
            let (horse, barn) = (row.horse_id.as_deref(), row.barn_id.as_deref());
            check_may_invite(db, row.created_by, parsed(horse), parsed(barn))
                .map_err(|_| gone())?;
            if !invitations::accept(db, row.id, caller.account, now)? {
                return Err(gone());
            }
            let grant = GrantRow {
                id,
                account_id: caller.account,
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
            let name = accounts::get(db, caller.account)?.name;
            Ok((grant, name))
        })
        .await?;
    tracing::info!(target: "security", account = %caller.account, grant = %row.id, "an invitation was accepted");
    Ok(HttpResponse::Created().json(grant_view(row, name)))
}

fn parsed<T: std::str::FromStr>(id: Option<&str>) -> Option<T> {
    id.and_then(|id| id.parse().ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_survives_being_read_out() {
        assert_eq!(
            hash_of("BCDF-GHJK-MN0Q-RST1"),
            hash_of("bcdf ghjk mnoq rstl")
        );
        assert_ne!(
            hash_of("BCDF-GHJK-MN0Q-RST1"),
            hash_of("BCDF-GHJK-MN0Q-RST2")
        );
        let code = new_code().expect("random bytes");
        assert_eq!(code.len(), 19);
        assert_ne!(code, new_code().expect("random bytes"));
    }
}
