//! Transfers: the owner offers a horse, the buyer accepts it, and the log goes along.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get, post};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use whorl_care::ids::{AccountId, HorseId, TransferId};
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::transfer::{NewTransfer, Transfer, TransferAcceptance, TransferState};
use whorl_store::transfers::{self, TransferRow};
use whorl_store::{Db, StoreError, accounts};

use crate::access;
use crate::body::Body;
use crate::caller::Caller;
use crate::paging::Paging;
use crate::problem::{Kind, Problem};
use crate::sale;
use crate::sign_in::confirm_password;
use crate::state::State;
use crate::text::Email;

/// How long an offer stands.
const LASTS: TimeDelta = TimeDelta::days(14);

pub(super) fn view(row: TransferRow, now: NaiveDateTime) -> Transfer {
    let state = state_of(&row, now);
    Transfer {
        id: row.id,
        horse_id: row.horse_id,
        from_account: row.from_account,
        to_email: row.to_email,
        state,
        offered_at: row.offered_at.and_utc(),
        expires_at: row.expires_at.and_utc(),
        decided_at: row.decided_at.map(|at| at.and_utc()),
        at_seq: row.at_seq,
    }
}

/// How far a transfer has come; an offer lapses by itself.
fn state_of(row: &TransferRow, now: NaiveDateTime) -> TransferState {
    match row.state {
        transfers::State::Offered if now >= row.expires_at => TransferState::Expired,
        transfers::State::Offered => TransferState::Offered,
        transfers::State::Accepted => TransferState::Accepted,
        transfers::State::Declined => TransferState::Declined,
        transfers::State::Withdrawn => TransferState::Withdrawn,
    }
}

/// On which side of a transfer somebody stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Seller,
    Buyer,
}

/// A transfer, if it is the caller's to know of.
fn known(db: &mut Db, caller: &Caller, id: TransferId) -> Result<(TransferRow, Side), StoreError> {
    let row = transfers::get(db, id)?;
    if row.from_account == caller.account {
        return Ok((row, Side::Seller));
    }
    if row.to_email == accounts::get(db, caller.account)?.email {
        return Ok((row, Side::Buyer));
    }
    Err(StoreError::NotFound)
}

/// Offers a horse to whoever has an address; its owner may, with their password. One offer at a time.
///
/// The answer is the same whether or not the address has an account: an offer tells nobody who has one. It stands for
/// 14 days, and somebody who opens an account with that address meanwhile may accept it.
#[utoipa::path(
    tag = "access",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body = NewTransfer,
    responses(
        (status = 201, description = "The offer", body = Transfer),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses/{horse}/transfers")]
pub(crate) async fn offer_horse(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    new: Body<NewTransfer>,
) -> Result<HttpResponse, Problem> {
    let (now, horse) = (state.clock.now(), *horse);
    let to = Email::read("/to_email", &new.to_email)?;
    state
        .read(move |db| {
            check_may_offer(
                access::horse(db, caller.account, horse, now)?.0.owner_id,
                &caller,
            )
        })
        .await?;
    confirm_password(&state, caller, "/password", &new.password).await?;
    let row = TransferRow {
        id: state.new_id()?,
        horse_id: horse,
        from_account: caller.account,
        to_email: to.as_str().to_owned(),
        state: transfers::State::Offered,
        offered_at: now.naive_utc(),
        expires_at: (now + LASTS).naive_utc(),
        decided_at: None,
        at_seq: None,
    };
    let offered = view(row.clone(), now.naive_utc());
    state.write(move |db| offer(db, &caller, row, now)).await?;
    tracing::info!(target: "security", event = "horse_offered", account = %caller.account, horse = %horse,
        transfer = %offered.id);
    Ok(HttpResponse::Created().json(offered))
}

fn check_may_offer(owner: AccountId, caller: &Caller) -> Result<(), Problem> {
    if owner == caller.account {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Forbidden,
        "only the horse's owner may offer it",
    ))
}

fn offer(
    db: &mut Db,
    caller: &Caller,
    row: TransferRow,
    now: DateTime<Utc>,
) -> Result<(), Problem> {
    let (horse, _) = access::horse_for_write(db, caller.account, row.horse_id, now)?;
    check_may_offer(horse.owner_id, caller)?;
    if accounts::get(db, caller.account)?.email == row.to_email {
        return Err(Problem::invalid("/to_email", "this is your own address"));
    }
    if transfers::open_on(db, horse.id, now.naive_utc())?.is_some() {
        return Err(Problem::new(
            Kind::Conflict,
            "this horse is offered already; withdraw that offer first",
        ));
    }
    Ok(transfers::add(db, row)?)
}

/// Lists the transfers that the caller offered or was offered.
#[utoipa::path(
    tag = "access",
    params(Paging),
    responses(
        (status = 200, description = "The transfers", body = Page<Transfer>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/transfers")]
pub(crate) async fn list_transfers(
    state: Data<State>,
    caller: Caller,
    paging: Query<Paging>,
) -> Result<Json<Page<Transfer>>, Problem> {
    let now = state.clock.now().naive_utc();
    let rows = state
        .read(move |db| {
            let email = accounts::get(db, caller.account)?.email;
            transfers::of(db, caller.account, &email)
        })
        .await?;
    let items = rows.into_iter().map(|row| view(row, now)).collect();
    Ok(Json(paging.cut(items, |one: &Transfer| one.id.0)?))
}

/// Accepts a horse into a barn; the buyer may, with their password.
///
/// At once it is the buyer's: every grant on it ends, open invitations to it are withdrawn, and the seller keeps the
/// sight of what there was.
#[utoipa::path(
    tag = "access",
    params(("transfer" = TransferId, Path, description = "The offer")),
    request_body = TransferAcceptance,
    responses(
        (status = 200, description = "The transfer; accepting it again changes nothing", body = Transfer),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/transfers/{transfer}/accept")]
pub(crate) async fn accept_transfer(
    state: Data<State>,
    caller: Caller,
    transfer: Path<TransferId>,
    acceptance: Body<TransferAcceptance>,
) -> Result<Json<Transfer>, Problem> {
    let (now, id) = (state.clock.now(), *transfer);
    state
        .read(move |db| answerable(db, &caller, id, transfers::State::Accepted, now.naive_utc()))
        .await?;
    confirm_password(&state, caller, "/password", &acceptance.password).await?;
    let barn = acceptance.barn_id;
    let row = state
        .write(move |db| {
            let row = answerable(db, &caller, id, transfers::State::Accepted, now.naive_utc())?;
            if row.state == transfers::State::Offered {
                let buyer = sale::Buyer {
                    account: caller.account,
                    barn,
                };
                sale::complete(db, &row, buyer, now)?;
            }
            Ok::<_, Problem>(transfers::get(db, id)?)
        })
        .await?;
    tracing::info!(target: "security", event = "horse_accepted", account = %caller.account, horse = %row.horse_id,
        transfer = %id);
    Ok(Json(view(row, now.naive_utc())))
}

/// Declines a horse; whoever it was offered to may.
#[utoipa::path(
    tag = "access",
    params(("transfer" = TransferId, Path, description = "The offer")),
    responses(
        (status = 200, description = "The transfer; declining it again changes nothing", body = Transfer),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/transfers/{transfer}/decline")]
pub(crate) async fn decline_transfer(
    state: Data<State>,
    caller: Caller,
    transfer: Path<TransferId>,
) -> Result<Json<Transfer>, Problem> {
    let (now, id) = (state.clock.now().naive_utc(), *transfer);
    let row = state
        .write(move |db| {
            let row = answerable(db, &caller, id, transfers::State::Declined, now)?;
            if row.state == transfers::State::Offered {
                let decision = transfers::Decision {
                    state: transfers::State::Declined,
                    at: now,
                    at_seq: None,
                };
                sale::decide(db, id, decision)?;
            }
            Ok::<_, Problem>(transfers::get(db, id)?)
        })
        .await?;
    Ok(Json(view(row, now)))
}

/// The offer that a buyer answers: it is open still, or has this very answer.
fn answerable(
    db: &mut Db,
    caller: &Caller,
    id: TransferId,
    answer: transfers::State,
    now: NaiveDateTime,
) -> Result<TransferRow, Problem> {
    let (row, side) = known(db, caller, id)?;
    if side == Side::Seller {
        return Err(Problem::new(
            Kind::Forbidden,
            "the buyer answers this; you may withdraw it",
        ));
    }
    match state_of(&row, now) {
        TransferState::Offered => Ok(row),
        _ if row.state == answer => Ok(row),
        TransferState::Expired => Err(Problem::new(
            Kind::Gone,
            "the offer has lapsed; ask for another",
        )),
        TransferState::Withdrawn => Err(Problem::new(Kind::Gone, "the offer was withdrawn")),
        TransferState::Accepted | TransferState::Declined => {
            Err(Problem::new(Kind::Conflict, "you have answered already"))
        }
    }
}

/// Withdraws an offer that nobody has answered; whoever made it may.
#[utoipa::path(
    tag = "access",
    params(("transfer" = TransferId, Path, description = "The offer")),
    responses(
        (status = 204, description = "The horse stays where it is"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/transfers/{transfer}")]
pub(crate) async fn withdraw_transfer(
    state: Data<State>,
    caller: Caller,
    transfer: Path<TransferId>,
) -> Result<HttpResponse, Problem> {
    let (now, id) = (state.clock.now().naive_utc(), *transfer);
    state
        .write(move |db| {
            let (row, side) = known(db, &caller, id)?;
            match (side, row.state) {
                (Side::Buyer, _) => Err(Problem::new(
                    Kind::Forbidden,
                    "the seller withdraws this; you may decline it",
                )),
                (Side::Seller, transfers::State::Withdrawn) => Ok(()),
                (Side::Seller, transfers::State::Offered) => {
                    let decision = transfers::Decision {
                        state: transfers::State::Withdrawn,
                        at: now,
                        at_seq: None,
                    };
                    sale::decide(db, id, decision)
                }
                (Side::Seller, _) => Err(Problem::new(
                    Kind::Conflict,
                    "the buyer has answered already",
                )),
            }
        })
        .await?;
    Ok(HttpResponse::NoContent().finish())
}
