//! Sending: letters and webhooks for notices, at least once each, by however many servers share the database.
//!
//! What is to be sent was written together with the notice. A server takes some in hand for a while (`LEASE`); if it dies,
//! they come up again. Without a mail relay and without allowed webhooks, there is nothing to do and nothing is done.

mod address;
mod hooks;
mod letter;
mod mailer;
pub mod settings;
pub(crate) mod signing;
#[cfg(test)]
mod tests;

use std::time::Duration;

use chrono::{DateTime, NaiveDateTime, SubsecRound, TimeDelta, Utc};
use tokio::sync::watch;
use tokio::task::JoinSet;
use whorl_care::notice::State as Standing;
use whorl_contract::notice::Notice;
use whorl_store::accounts::{self, AccountRow};
use whorl_store::deliveries::{self, Attempt, DeliveryRow, Outcome, Ways};
use whorl_store::webhooks::{self, WebhookRow};
use whorl_store::{Db, StoreError, notice_settings, notices};

use crate::keys;
use crate::notice::view;
use crate::problem::Problem;
use crate::public_url::PublicUrl;
use crate::state::State;
use hooks::Called;
pub(crate) use hooks::Hooks;
use letter::Letter;
use mailer::Mailer;

/// How often it is looked whether there is something to send.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Whoever takes something in hand has it for so long. Longer than an attempt can last.
const LEASE: TimeDelta = TimeDelta::minutes(2);

/// An attempt lasts no longer.
const ATTEMPT_WITHIN: Duration = Duration::from_secs(45);

/// So many are taken in hand at a time.
const AT_A_TIME: i64 = 16;

/// The first wait after a failure; each further one is twice as long, up to the longest, less a random part.
const FIRST_WAIT: TimeDelta = TimeDelta::seconds(30);
const LONGEST_WAIT: TimeDelta = TimeDelta::hours(6);

/// After so many attempts it is given up …
const MOST_ATTEMPTS: i64 = 14;
/// … and after so long.
const LONGEST: TimeDelta = TimeDelta::days(3);

/// By which ways this server sends, as it is set up.
pub(crate) fn ways(state: &State) -> Ways {
    Ways {
        email: state.config.mail.is_some(),
        webhooks: !state.config.webhooks.origins.is_empty(),
    }
}

/// Sends until told to stop; then finishes what is in hand.
pub(crate) async fn run(state: State, mut stop: watch::Receiver<bool>) {
    let ways = ways(&state);
    if ways == Ways::default() {
        return;
    }
    let courier = match Courier::new(state) {
        Ok(courier) => courier,
        Err(why) => {
            tracing::error!(why, "nothing can be sent");
            return;
        }
    };
    loop {
        tokio::select! {
            _ = stop.changed() => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
        while !*stop.borrow() {
            match courier.round(ways).await {
                Ok(0) => break,
                Ok(_) => {}
                Err(error) => {
                    tracing::warn!(%error, "can't look for what is to be sent");
                    break;
                }
            }
        }
    }
}

/// Sends what is due.
#[derive(Clone, Debug)]
struct Courier {
    state: State,
    mailer: Option<Mailer>,
    hooks: Hooks,
}

/// What there is to tell, and to whom.
#[derive(Debug)]
struct Telling {
    account: AccountRow,
    notice: Notice,
    webhook: Option<WebhookRow>,
}

impl Courier {
    fn new(state: State) -> Result<Self, String> {
        let mail = state.config.mail.as_ref();
        Ok(Self {
            mailer: mail
                .map(|mail| Mailer::new(mail, &state.config.name))
                .transpose()?,
            hooks: Hooks::new(&state.config.webhooks)?,
            state,
        })
    }

    /// Takes in hand what is due, and sends it; how many that were.
    async fn round(&self, ways: Ways) -> Result<usize, Problem> {
        let now = self.now();
        let due = self
            .state
            .read(move |db| deliveries::is_any_due(db, ways, now))
            .await?;
        if !due {
            return Ok(0);
        }
        let taken = self
            .state
            .write(move |db| deliveries::take(db, ways, now, now + LEASE, AT_A_TIME))
            .await?;
        let many = taken.len();
        let mut tasks = JoinSet::new();
        for row in taken {
            let courier = self.clone();
            tasks.spawn(async move { courier.deliver(row).await });
        }
        while let Some(done) = tasks.join_next().await {
            if let Err(error) = done {
                tracing::error!(%error, "an attempt to send broke off");
            }
        }
        Ok(many)
    }

    fn now(&self) -> NaiveDateTime {
        // As PostgreSQL keeps it.
        self.state.clock.now().naive_utc().trunc_subsecs(6)
    }

    /// Tries one, and notes what came of it.
    async fn deliver(&self, row: DeliveryRow) {
        let attempt = self.attempt(&row).await;
        let id = row.id;
        match &attempt {
            Attempt::Ended(Outcome::Delivered, _) => tracing::info!(delivery = %id, "sent"),
            Attempt::Ended(Outcome::Dropped, why) => {
                tracing::debug!(delivery = %id, why, "not sent: there is nothing to tell any more");
            }
            Attempt::Ended(Outcome::GivenUp, error) => {
                tracing::error!(delivery = %id, account = %row.account_id, attempts = row.attempts, error,
                    "given up: somebody was not told of a notice; it is in their list");
            }
            Attempt::Failed(next, error) => {
                tracing::warn!(delivery = %id, attempts = row.attempts, error, %next, "not sent yet");
            }
        }
        let now = self.now();
        let noted = self
            .state
            .write(move |db| deliveries::note(db, &row, attempt, now))
            .await;
        match noted {
            Ok(true) => {}
            Ok(false) => tracing::warn!(delivery = %id, "somebody else took it in hand meanwhile"),
            // It comes up again after its lease: at least once.
            Err(error) => tracing::warn!(delivery = %id, %error, "can't note what was sent"),
        }
    }

    async fn attempt(&self, row: &DeliveryRow) -> Attempt {
        let (now, rules) = (self.state.clock.now(), self.state.rules.clone());
        let asked = row.clone();
        let found = self
            .state
            .read(move |db| what_to_tell(db, &asked, now, &rules))
            .await;
        let telling = match found {
            Ok(Ok(telling)) => telling,
            Ok(Err(why)) => return Attempt::Ended(Outcome::Dropped, Some(why.to_owned())),
            Err(error) => return failed(row, now, &error.to_string()),
        };
        let sent = tokio::time::timeout(ATTEMPT_WITHIN, self.send(row, &telling, now)).await;
        match sent {
            Ok(Called::Taken) => Attempt::Ended(Outcome::Delivered, None),
            Ok(Called::Over) => self.end_webhook(row, &telling, now).await,
            Ok(Called::Failed(why)) => failed(row, now, &why),
            Err(_) => failed(row, now, "it took too long"),
        }
    }

    async fn send(&self, row: &DeliveryRow, telling: &Telling, now: DateTime<Utc>) -> Called {
        if let Some(webhook) = &telling.webhook {
            let secret = &self.state.keys.refresh;
            let what = (row.id, &telling.notice);
            return self.hooks.call(webhook, what, secret, now).await;
        }
        let Some(mailer) = &self.mailer else {
            return Called::Failed("this server sends no e-mail".to_owned());
        };
        let letter = Letter {
            id: row.id,
            from: &mailer.from,
            to: &telling.account.email,
            notice: &telling.notice,
            server: &self.state.config.name,
            url: self.state.config.public_url.as_ref().map(PublicUrl::as_str),
            now,
        };
        match letter.write() {
            Ok(letter) => match mailer.send(letter).await {
                Ok(()) => Called::Taken,
                Err(why) => Called::Failed(why),
            },
            Err(why) => Called::Failed(why),
        }
    }

    /// Ends a webhook whose receiver said that it is gone for good.
    async fn end_webhook(
        &self,
        row: &DeliveryRow,
        telling: &Telling,
        now: DateTime<Utc>,
    ) -> Attempt {
        let why = "the receiver answered 410: it wants no more";
        if let Some(webhook) = &telling.webhook {
            let (account, id, at) = (webhook.account_id, webhook.id, now.naive_utc());
            let ended = self
                .state
                .write(move |db| webhooks::end(db, account, id, why, at))
                .await;
            if let Err(error) = ended {
                return failed(row, now, &error.to_string());
            }
            tracing::warn!(webhook = %id, account = %account, why, "a webhook is ended");
        }
        Attempt::Ended(Outcome::Dropped, Some(why.to_owned()))
    }
}

/// What a delivery tells now, or why there is nothing to tell any more.
fn what_to_tell(
    db: &mut Db,
    row: &DeliveryRow,
    now: DateTime<Utc>,
    rules: &whorl_care::rules::Rules,
) -> Result<Result<Telling, &'static str>, StoreError> {
    let account = accounts::get(db, row.account_id)?;
    if account.disabled_at.is_some() {
        return Ok(Err("the account is closed"));
    }
    let notice = match notices::get(db, row.account_id, row.notice_id) {
        Ok(notice) => notice,
        Err(StoreError::NotFound) => return Ok(Err("the notice is gone")),
        Err(error) => return Err(error),
    };
    if notice.version != row.version {
        return Ok(Err("the notice has changed since"));
    }
    if notice.state == Standing::Withdrawn && !deliveries::may_have_told(db, row)? {
        return Ok(Err("it was withdrawn before it was told"));
    }
    let webhook = match &row.webhook_id {
        Some(id) => match webhooks::get(db, row.account_id, id.0) {
            Ok(webhook) => Some(webhook),
            Err(StoreError::NotFound) => return Ok(Err("the webhook was ended")),
            Err(error) => return Err(error),
        },
        None => None,
    };
    if webhook.is_none() && !notice_settings::email(db, account.id)?.takes(notice.topic) {
        return Ok(Err("its reader wants no letters about that"));
    }
    Ok(view::one(db, notice, (now, rules))?
        .map(|notice| Telling {
            account,
            notice,
            webhook,
        })
        .ok_or("its reader may not see the entry any more"))
}

/// A failure, until it is given up.
fn failed(row: &DeliveryRow, now: DateTime<Utc>, why: &str) -> Attempt {
    // The column holds what the receiver said: bounded, and on one line.
    let plain = |one: char| if one.is_control() { ' ' } else { one };
    let why: String = why.chars().map(plain).take(300).collect();
    let now = now.naive_utc().trunc_subsecs(6);
    let next = now + wait(row.attempts);
    if row.attempts >= MOST_ATTEMPTS || next - row.created_at > LONGEST {
        return Attempt::Ended(Outcome::GivenUp, Some(why));
    }
    Attempt::Failed(next, why)
}

/// How long to wait after so many attempts: twice as long each time, of which a random half is left out, so that what failed
/// together doesn't come back together.
fn wait(attempts: i64) -> TimeDelta {
    let doublings = u32::try_from(attempts.clamp(1, 16) - 1).unwrap_or(0);
    let whole = (FIRST_WAIT * 2_i32.pow(doublings)).min(LONGEST_WAIT);
    let random = keys::random::<2>().map_or(0, u16::from_le_bytes);
    let half = whole / 2;
    half + TimeDelta::milliseconds(half.num_milliseconds() * i64::from(random) / 65_536)
}
