//! Signing in: the password, the device, and the session that begins. Whoever fails learns nothing about whether an
//! account exists: the same questions to the store, the same hashing, the same answer.

use chrono::{DateTime, TimeDelta, Utc};
use whorl_care::ids::{AccountId, DeviceId, SessionId};
use whorl_contract::key::Purpose;
use whorl_contract::session::{NewDevice, Session, SignIn};
use whorl_store::accounts::{self, AccountRow};
use whorl_store::devices::{self, DeviceRow};
use whorl_store::sessions::{self, End, SessionRow};
use whorl_store::{Db, Key};

use crate::caller::Caller;
use crate::metrics::SignInOutcome;
use crate::network::Network;
use crate::password::{Fit, Password};
use crate::problem::{Kind, Problem};
use crate::routes::accounts::view;
use crate::session::{ABSOLUTE, RefreshToken};
use crate::state::State;
use crate::text::{self, Email};
use crate::throttle::{self, Bucket, Gate};
use crate::token::{Bearer, GOOD_FOR};

/// An account may have so many devices that are not revoked.
const MOST_DEVICES: usize = 100;

/// An account may be signed in at so many places; the one that was renewed longest ago makes room.
const MOST_SESSIONS: usize = 100;

/// Signs in.
///
/// # Errors
///
/// [`Kind::WrongCredentials`] if e-mail and password don't fit, [`Kind::TooManyRequests`] after too many failures,
/// [`Kind::DeviceRefused`] if the device may not be used.
pub(crate) async fn sign_in(
    state: &State,
    network: Network,
    request: SignIn,
) -> Result<Session, Problem> {
    let (account, session) = begin(state, network, request, ABSOLUTE).await?;
    tokens(state, &account, &session, session.created_at.and_utc())
}

/// Signs in and begins a session that ends after `lasts`, however it is used.
///
/// # Errors
///
/// As [`sign_in`].
pub(crate) async fn begin(
    state: &State,
    network: Network,
    request: SignIn,
    lasts: TimeDelta,
) -> Result<(AccountRow, SessionRow), Problem> {
    let password = Password::read("/password", &request.password)?;
    let device = request
        .device
        .map(|device| proven(device, &request.email))
        .transpose()?;
    // What can't be an address has no account, and is asked for like any other.
    let email = Email::read("/email", &request.email).ok();
    let attempt = Attempt {
        email: email.clone(),
        key: device.as_ref().map(|device| device.public_key.0.to_vec()),
        network,
    };
    let (account, mut buckets, rehashed) = checked(state, attempt, &password).await?;
    // A known device was not kept waiting by the guesses from elsewhere, but its sign-in ends their row.
    buckets.extend(email.as_ref().map(Bucket::address));
    let now = state.clock.now();
    let opening = Opening {
        session: state.new_id()?,
        device_id: state.new_id()?,
        device,
        seed: crate::keys::random().map_err(Problem::internal)?,
        now,
        lasts,
    };
    let opened = state
        .write(move |db| -> Result<(AccountRow, SessionRow), Problem> {
            throttle::forgiven(db, &buckets)?;
            // What happened since the password was looked at counts.
            let current = accounts::get(db, account.id)?;
            if current.disabled_at.is_some() || current.password_hash != account.password_hash {
                return Err(wrong());
            }
            if let Some(hash) = rehashed {
                accounts::set_password(db, current.id, &account.password_hash, hash)?;
            }
            let session = open(db, current.id, opening)?;
            Ok((current, session))
        })
        .await;
    let (account, session) = opened?;
    state.metrics.signed_in(SignInOutcome::Opened);
    tracing::info!(target: "security", event = "session_opened", account = %account.id, session = %session.id,
        device = ?session.device_id.map(|key| key.0.to_string()), %network);
    Ok((account, session))
}

/// What somebody who signs in shows before the password is looked at.
struct Attempt {
    email: Option<Email>,
    key: Option<Vec<u8>>,
    network: Network,
}

/// Checks the password under the throttle; answers the account, what to forgive, and a fresh hash if the kept one is
/// weaker than today's.
async fn checked(
    state: &State,
    attempt: Attempt,
    password: &Password,
) -> Result<(AccountRow, Vec<Bucket>, Option<String>), Problem> {
    let place = state.hashing.queue()?;
    let network = attempt.network;
    let now = state.clock.now();
    let found = state
        .read(move |db| -> Result<Found, Problem> {
            let found = find(db, &attempt)?;
            gate(throttle::look(db, &found.buckets, now)?)?;
            Ok(found)
        })
        .await;
    let Found { account, buckets } =
        found.inspect_err(|problem| note_refusal(state, problem, network))?;
    let counted = buckets.clone();
    state
        .write(move |db| -> Result<(), Problem> { gate(throttle::attempt(db, &counted, now)?) })
        .await
        .inspect_err(|problem| note_refusal(state, problem, network))?;
    let account = account.filter(|account| account.disabled_at.is_none());
    let hash = account
        .as_ref()
        .map(|account| account.password_hash.as_str());
    let fit = place.fits(password, hash).await?;
    match (fit, account) {
        (Fit::Yes, Some(account)) => Ok((account, buckets, None)),
        (Fit::YesButStale, Some(account)) => {
            let hash = place.hash(password).await?;
            Ok((account, buckets, Some(hash)))
        }
        (_, account) => {
            state.metrics.signed_in(SignInOutcome::Failed);
            let account = account.map(|account| account.id.to_string());
            tracing::warn!(target: "security", event = "sign_in_failed", account, %network);
            Err(wrong())
        }
    }
}

struct Found {
    account: Option<AccountRow>,
    buckets: Vec<Bucket>,
}

fn find(db: &mut Db, attempt: &Attempt) -> Result<Found, Problem> {
    let address = attempt.email.as_ref().map_or("", Email::as_str);
    let account = accounts::by_email(db, address)?;
    let key = attempt.key.as_deref().unwrap_or_default();
    let device = devices::by_key(db, key)?;
    let known = device.filter(|device| {
        device.revoked_at.is_none()
            && account
                .as_ref()
                .is_some_and(|account| account.id == device.account_id)
    });
    let buckets = match (known, &attempt.email) {
        // What guessers did from elsewhere is no reason to keep a known device waiting.
        (Some(device), _) => vec![Bucket::device(device.id)],
        (None, Some(email)) => vec![Bucket::address(email), Bucket::network(attempt.network)],
        (None, None) => vec![Bucket::network(attempt.network)],
    };
    Ok(Found { account, buckets })
}

/// A person's password once more, for a grave step: a transfer, another password. `pointer` is where the request has
/// it. Answers the hash that it fits.
///
/// # Errors
///
/// [`Kind::Forbidden`] if it is wrong, [`Kind::TooManyRequests`] after too many failures.
pub(crate) async fn confirm_password(
    state: &State,
    caller: Caller,
    pointer: &str,
    password: &str,
) -> Result<String, Problem> {
    let password = Password::read(pointer, password)?;
    let place = state.hashing.queue()?;
    let now = state.clock.now();
    let buckets = [Bucket::confirmation(caller.account)];
    let counted = buckets.clone();
    let hash = state
        .write(move |db| -> Result<String, Problem> {
            gate(throttle::attempt(db, &counted, now)?)?;
            Ok(accounts::get(db, caller.account)?.password_hash)
        })
        .await?;
    if place.fits(&password, Some(&hash)).await? == Fit::No {
        tracing::warn!(target: "security", event = "confirmation_failed", account = %caller.account,
            session = %caller.session);
        return Err(Problem::new(Kind::Forbidden, "the password is wrong"));
    }
    state
        .write(move |db| -> Result<(), Problem> {
            throttle::forgiven(db, &buckets)?;
            Ok(sessions::authenticated(
                db,
                caller.session,
                now.naive_utc(),
            )?)
        })
        .await?;
    Ok(hash)
}

/// The problem of somebody who has to wait.
pub(crate) fn gate(gate: Gate) -> Result<(), Problem> {
    match gate {
        Gate::Open => Ok(()),
        Gate::WaitFor(seconds) => {
            let said = "too many attempts failed; please wait, or sign in from a device that you have used before";
            Err(Problem::new(Kind::TooManyRequests, said).retry_after(seconds))
        }
    }
}

fn note_refusal(state: &State, problem: &Problem, network: Network) {
    if problem.kind() == Kind::TooManyRequests {
        state.metrics.signed_in(SignInOutcome::Throttled);
        tracing::warn!(target: "security", event = "sign_in_throttled", %network);
    }
}

/// The one answer to everybody whose e-mail and password don't fit.
fn wrong() -> Problem {
    Problem::bare(Kind::WrongCredentials)
}

/// A device whose proof fits its key and the address that was given.
fn proven(mut device: NewDevice, email: &str) -> Result<NewDevice, Problem> {
    device.name = text::line("/device/name", &device.name, 100)?;
    if !device
        .public_key
        .verifies(Purpose::Device, email.as_bytes(), &device.proof)
    {
        return Err(Problem::new(
            Kind::NotGenuine,
            "the proof of the device doesn't fit its key and the address",
        ));
    }
    Ok(device)
}

/// What a session begins with.
struct Opening {
    session: SessionId,
    device_id: DeviceId,
    device: Option<NewDevice>,
    seed: [u8; 32],
    now: DateTime<Utc>,
    lasts: TimeDelta,
}

fn open(db: &mut Db, account: AccountId, opening: Opening) -> Result<SessionRow, Problem> {
    let now = opening.now.naive_utc();
    let device = match opening.device {
        Some(device) => Some(registered(
            db,
            account,
            device,
            opening.device_id,
            opening.now,
        )?),
        None => None,
    };
    if let Some(device) = device {
        // One session for a device: an earlier one, whose answer may have been lost, is of no more use.
        let end = End {
            at: now,
            why: "replaced",
        };
        sessions::end_of_device(db, device, end)?;
    }
    make_room(db, account, opening.now)?;
    let row = SessionRow {
        id: opening.session,
        account_id: account,
        device_id: device.map(Key),
        created_at: now,
        authenticated_at: now,
        last_used_at: now,
        ends_at: now + opening.lasts,
        generation: 0,
        seed: opening.seed.to_vec(),
        ended_at: None,
        ended_why: None,
    };
    sessions::add(db, row.clone())?;
    Ok(row)
}

/// The device with this key: known already, or registered now under `id`.
fn registered(
    db: &mut Db,
    account: AccountId,
    device: NewDevice,
    id: DeviceId,
    now: DateTime<Utc>,
) -> Result<DeviceId, Problem> {
    let refused = |why| Err(Problem::new(Kind::DeviceRefused, why));
    match devices::by_key(db, &device.public_key.0)? {
        Some(known) if known.account_id != account => refused(
            "this device's key belongs to another account; each account needs a key of its own",
        ),
        Some(known) if known.revoked_at.is_some() => {
            refused("this device was revoked; it needs a new key")
        }
        Some(known) => {
            if known.name != device.name {
                devices::rename(db, known.id, device.name)?;
            }
            Ok(known.id)
        }
        None => {
            let theirs = devices::of_account(db, account)?;
            if theirs.iter().filter(|one| one.revoked_at.is_none()).count() >= MOST_DEVICES {
                return refused("this account has too many devices; revoke those that are gone");
            }
            let row = DeviceRow {
                id,
                account_id: account,
                name: device.name,
                public_key: device.public_key.0.to_vec(),
                created_at: now.naive_utc(),
                revoked_at: None,
            };
            devices::add(db, row)?;
            tracing::info!(target: "security", event = "device_registered", %account, device = %id);
            Ok(id)
        }
    }
}

/// Ends what was renewed longest ago, where there are too many sessions.
fn make_room(db: &mut Db, account: AccountId, now: DateTime<Utc>) -> Result<(), Problem> {
    let mut open = sessions::open_of_account(db, account, now.naive_utc())?;
    open.sort_by_key(|session| session.last_used_at);
    let too_many = (open.len() + 1).saturating_sub(MOST_SESSIONS);
    for session in open.into_iter().take(too_many) {
        let end = End {
            at: now.naive_utc(),
            why: "too-many",
        };
        sessions::end(db, account, session.id, end)?;
    }
    Ok(())
}

/// The tokens of a session as they are now.
pub(crate) fn tokens(
    state: &State,
    account: &AccountRow,
    session: &SessionRow,
    now: DateTime<Utc>,
) -> Result<Session, Problem> {
    let bearer = Bearer {
        account: account.id,
        session: session.id,
    };
    let refresh = RefreshToken::of(session, session.generation, &state.keys.refresh)
        .ok_or_else(|| Problem::internal("no refresh token can be made"))?;
    Ok(Session {
        session_id: session.id,
        access_token: state.tokens.make(bearer, now)?,
        expires_in: GOOD_FOR,
        refresh_token: refresh.text(),
        device_id: session.device_id.map(|key| key.0),
        account: view(account),
    })
}
