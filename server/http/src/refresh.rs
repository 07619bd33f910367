//! New tokens for a session.

use chrono::{DateTime, TimeDelta, Utc};
use whorl_care::ids::SessionId;
use whorl_contract::key::{PublicKey, Purpose};
use whorl_contract::session::{Refresh, Session, refresh_message};
use whorl_store::sessions::{self, End, Seat};
use whorl_store::{Db, StoreError};

use crate::problem::{Kind, Problem};
use crate::rate;
use crate::readings::By;
use crate::session::{RefreshToken, Turn, is_open, turn};
use crate::sign_in::tokens;
use crate::state::State;

/// How far a device's clock may be off, so that a proof that was overheard is soon worth nothing.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::minutes(10);

/// Gives a session new tokens, or the same ones again if the answer that carried them was lost.
///
/// # Errors
///
/// [`Kind::Unauthenticated`] if the session is over, the token isn't one, or the device's proof is missing or wrong;
/// [`Kind::Invalid`] if the device's clock is far off.
pub(crate) async fn refresh(state: &State, request: Refresh) -> Result<Session, Problem> {
    let token: RefreshToken = request.refresh_token.parse().map_err(|_| over())?;
    let now = state.clock.now();
    let id = token.session;
    let seat = state.read(move |db| seat_of(db, id)).await?;
    if !token.is_of(&seat.session, &state.keys.refresh) || !is_open(&seat, now) {
        return Err(over());
    }
    // Before anything else is decided: who only has the token can't even end the session with it.
    check_proof(&seat, &request, now)?;
    rate::admit(state, By::Account(seat.account.id))?;
    let turned = state.write(move |db| take_turn(db, &token, now)).await?;
    let Some(seat) = turned else {
        let device = seat.device.map(|device| device.id.to_string());
        tracing::warn!(target: "security", event = "refresh_token_reused", account = %seat.account.id,
            session = %seat.session.id, device);
        return Err(over());
    };
    tokens(state, &seat.account, &seat.session, now)
}

/// The seat as it is after the turn; `None` if the token had been copied and the session was ended.
fn take_turn(
    db: &mut Db,
    token: &RefreshToken,
    now: DateTime<Utc>,
) -> Result<Option<Seat>, Problem> {
    let at = now.naive_utc();
    // Twice, since on PostgreSQL another replica can turn it between the question and the step.
    for _ in 0..2 {
        let mut seat = seat_of(db, token.session)?;
        if !is_open(&seat, now) {
            return Err(over());
        }
        match turn(&seat.session, token.generation, now) {
            Turn::Next => {
                if sessions::advance(db, seat.session.id, token.generation, at)? {
                    seat.session.generation += 1;
                    return Ok(Some(seat));
                }
            }
            Turn::Again => {
                sessions::touch(db, seat.session.id, at)?;
                return Ok(Some(seat));
            }
            Turn::Copied => {
                let end = End {
                    at,
                    why: "token-reused",
                };
                sessions::end(db, seat.account.id, seat.session.id, end)?;
                return Ok(None);
            }
            Turn::Stale => return Err(over()),
        }
    }
    Err(Problem::bare(Kind::Unavailable).retry_after(1))
}

fn seat_of(db: &mut Db, id: SessionId) -> Result<Seat, Problem> {
    match sessions::seat(db, id) {
        Err(StoreError::NotFound) => Err(over()),
        seat => Ok(seat?),
    }
}

/// The device of the session proves that it holds its key; a browser has none.
fn check_proof(seat: &Seat, request: &Refresh, now: DateTime<Utc>) -> Result<(), Problem> {
    let Some(device) = &seat.device else {
        return Ok(());
    };
    let (Some(signed_at), Some(proof)) = (request.signed_at, &request.proof) else {
        return Err(over());
    };
    let key = PublicKey::try_from(device.public_key.as_slice()).map_err(Problem::internal)?;
    let message = refresh_message(&request.refresh_token, signed_at);
    if !key.verifies(Purpose::Refresh, &message, proof) {
        return Err(over());
    }
    let ahead = signed_at - now;
    if ahead.abs() > CLOCKS_DIFFER {
        let by = ahead.abs().num_minutes();
        let which = if ahead > TimeDelta::zero() {
            "ahead of"
        } else {
            "behind"
        };
        return Err(Problem::invalid(
            "/signed_at",
            format!("this device's clock is {by} minutes {which} the server's; please set it"),
        ));
    }
    Ok(())
}

/// The one answer to everybody whose session is over, whatever is wrong.
fn over() -> Problem {
    Problem::bare(Kind::Unauthenticated)
}
