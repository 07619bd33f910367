//! Accounts: opening one, looking at it, changing its password or setting another where it is forgotten.

use actix_web::web::{Data, Json};
use actix_web::{HttpRequest, HttpResponse, get, post, put};
use whorl_care::ids::AccountId;
use whorl_contract::account::{Account, NewAccount, PasswordChange, PasswordReset};
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::accounts::{self, AccountRow};
use whorl_store::sessions::{self, End};
use whorl_store::{Db, StoreError, invitations};

use crate::body::Body;
use crate::caller::Caller;
use crate::config::Registration;
use crate::invitation_code;
use crate::network::{self, Network};
use crate::password::{Fit, Password};
use crate::password_reset;
use crate::problem::{Kind, Problem};
use crate::sign_in;
use crate::state::State;
use crate::text::{self, Email};
use crate::throttle::{self, Bucket};

/// Opens an account.
///
/// The same request again, with the same password, gives the same account: so a lost answer does no harm. With another
/// password it says that the address is taken. Without mail that can't be hidden, since whoever opens an account can
/// try at once to sign in to it; so it counts as a failed sign-in, and an operator can admit invited people only.
#[utoipa::path(
    tag = "accounts",
    security(()),
    request_body = NewAccount,
    responses(
        (status = 201, description = "The account", body = Account),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/accounts")]
pub(crate) async fn open_account(
    state: Data<State>,
    request: HttpRequest,
    new: Body<NewAccount>,
) -> Result<HttpResponse, Problem> {
    let new = new.into_inner();
    let network = Network::of(network::origin(&request, &state.config.trusted_proxies));
    let email = Email::read("/email", &new.email);
    let name = text::line("/name", &new.name, 200);
    let password = Password::read("/password", &new.password);
    let (email, name, password) = all(email, name, password)?;
    admitted(&state, new.invitation_code).await?;

    let place = state.hashing.queue()?;
    let context = context(&state, [email.as_str().to_owned(), name.clone()]);
    place.may_be_new(&password, "/password", context).await?;
    let now = state.clock.now();
    let hash = place.hash(&password).await?;
    let row = AccountRow {
        id: state.new_id()?,
        email: email.as_str().to_owned(),
        name,
        password_hash: hash,
        operator: false,
        created_at: now.naive_utc(),
        disabled_at: None,
    };
    let opened = row.clone();
    let failed = [Bucket::address(&email), Bucket::network(network)];
    let counted = failed.clone();
    let taken = state
        .write(move |db| -> Result<Option<AccountRow>, Problem> {
            if let Some(taken) = accounts::by_email(db, &row.email)? {
                sign_in::gate(throttle::attempt(db, &counted, now)?)?;
                return Ok(Some(taken));
            }
            sign_in::gate(throttle::attempt(db, &[Bucket::openings(network)], now)?)?;
            accounts::add(db, row)?;
            Ok(None)
        })
        .await?;
    let account = match taken {
        None => {
            tracing::info!(target: "security", event = "account_opened", account = %opened.id, %network);
            opened
        }
        Some(taken) => {
            let fit = place.fits(&password, Some(&taken.password_hash)).await?;
            if fit == Fit::No || taken.disabled_at.is_some() {
                tracing::warn!(target: "security", event = "address_taken", account = %taken.id, %network);
                let said = "this address can't be used to open an account; if it is yours, sign in";
                return Err(Problem::new(Kind::Conflict, said));
            }
            state
                .write(move |db| -> Result<(), Problem> { Ok(throttle::forgiven(db, &failed)?) })
                .await?;
            taken
        }
    };
    Ok(HttpResponse::Created().json(view(&account)))
}

/// Gives the caller's account.
#[utoipa::path(
    tag = "accounts",
    responses(
        (status = 200, description = "The account", body = Account),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/account")]
pub(crate) async fn get_account(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Account>, Problem> {
    let account = state
        .read(move |db| accounts::get(db, caller.account))
        .await?;
    Ok(Json(view(&account)))
}

/// Changes the caller's password.
#[utoipa::path(
    tag = "accounts",
    request_body = PasswordChange,
    responses(
        (status = 204, description = "The password is changed"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[put("/v1/account/password")]
pub(crate) async fn change_password(
    state: Data<State>,
    caller: Caller,
    change: Body<PasswordChange>,
) -> Result<HttpResponse, Problem> {
    let change = change.into_inner();
    let new = Password::read("/new", &change.new)?;
    let kept = sign_in::confirm_password(&state, caller, "/current", &change.current).await?;
    let words = state
        .read(move |db| known_words(db, caller.account))
        .await?;
    let place = state.hashing.queue()?;
    place
        .may_be_new(&new, "/new", context(&state, words))
        .await?;
    let hash = place.hash(&new).await?;
    let now = state.clock.now().naive_utc();
    state
        .write(move |db| -> Result<(), Problem> {
            if !accounts::set_password(db, caller.account, &kept, hash)? {
                let said = "the password was changed elsewhere meanwhile";
                return Err(Problem::new(Kind::Conflict, said));
            }
            if change.end_other_sessions {
                let end = End {
                    at: now,
                    why: "password-changed",
                };
                sessions::end_others(db, caller.account, caller.session, end)?;
            }
            Ok(())
        })
        .await?;
    tracing::info!(target: "security", event = "password_changed", account = %caller.account,
        session = %caller.session, others_ended = change.end_other_sessions);
    Ok(HttpResponse::NoContent().finish())
}

/// Sets a new password by a code that the server's operator made, for whoever forgot theirs. Every session of the account ends.
#[utoipa::path(
    tag = "accounts",
    security(()),
    request_body = PasswordReset,
    responses(
        (status = 204, description = "The new password is set"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/password-resets")]
pub(crate) async fn reset_password(
    state: Data<State>,
    request: HttpRequest,
    asked: Body<PasswordReset>,
) -> Result<HttpResponse, Problem> {
    let network = Network::of(network::origin(&request, &state.config.trusted_proxies));
    password_reset::redeem(&state, network, asked.into_inner()).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The words that a guesser of somebody's password would begin with.
pub(crate) fn known_words(db: &mut Db, id: AccountId) -> Result<Vec<String>, StoreError> {
    let account = accounts::get(db, id)?;
    let mut words = accounts::barn_names(db, id)?;
    words.extend([account.email, account.name]);
    Ok(words)
}

/// These and the server's own words.
pub(crate) fn context(state: &State, words: impl IntoIterator<Item = String>) -> Vec<String> {
    let ours = ["whorl".to_owned(), state.config.name.clone()];
    words.into_iter().chain(ours).collect()
}

/// All three, or every fault of them at once.
fn all<A, B, C>(
    a: Result<A, whorl_care::fault::Faults>,
    b: Result<B, whorl_care::fault::Faults>,
    c: Result<C, whorl_care::fault::Faults>,
) -> Result<(A, B, C), Problem> {
    match (a, b, c) {
        (Ok(a), Ok(b), Ok(c)) => Ok((a, b, c)),
        (a, b, c) => {
            let found = [a.err(), b.err(), c.err()];
            let faults = found.into_iter().flatten().flat_map(|faults| faults.0);
            Err(whorl_care::fault::Faults(faults.collect()).into())
        }
    }
}

/// Whether this server admits the holder of `code`.
async fn admitted(state: &State, code: Option<String>) -> Result<(), Problem> {
    if state.config.registration == Registration::Open {
        return Ok(());
    }
    let refused = || {
        Problem::new(
            Kind::Forbidden,
            "this server admits invited people only: give an invitation's code that is still good",
        )
    };
    let hash = invitation_code::hash(&code.ok_or_else(refused)?);
    let now = state.clock.now().naive_utc();
    let found = state
        .read(move |db| match invitations::by_code(db, &hash.0) {
            Err(StoreError::NotFound) => Ok(None),
            found => found.map(Some),
        })
        .await?;
    found
        .filter(|row| {
            row.accepted_by.is_none() && row.withdrawn_at.is_none() && row.expires_at > now
        })
        .map(drop)
        .ok_or_else(refused)
}

/// An account as its person sees it.
pub(crate) fn view(row: &AccountRow) -> Account {
    Account {
        id: row.id,
        email: row.email.clone(),
        name: row.name.clone(),
        operator: row.operator,
        created_at: row.created_at.and_utc(),
    }
}
