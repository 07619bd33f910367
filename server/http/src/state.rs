//! What every handler may use.

use std::path::Path;
use std::sync::Arc;

use actix_web::web;
use tokio::sync::oneshot;
use tracing::Instrument;
use uuid::Uuid;
use whorl_care::reading::Way;
use whorl_care::rules::Rules;
use whorl_store::ledger::{self, NewLedger};
use whorl_store::life::Lives;
use whorl_store::lots;
use whorl_store::{Db, Settings, Store, StoreError};

use crate::clock::Clock;
use crate::config::Config;
use crate::keys::{self, Keys, NoKeys};
use crate::metrics::Metrics;
use crate::password::Hashing;
use crate::problem::Problem;
use crate::rate::Rates;
use crate::readings::{AboutHorses, By, Readings};
use crate::token::Tokens;
use crate::traces;

/// What every handler may use. Cheap to clone.
#[derive(Clone, Debug)]
pub struct State {
    /// The database.
    pub store: Store,
    /// The rules in force.
    pub rules: Arc<Rules>,
    /// The clock.
    pub clock: Clock,
    /// The server's keys.
    pub keys: Arc<Keys>,
    /// Makes and checks access tokens.
    pub tokens: Arc<Tokens>,
    /// Hashes passwords.
    pub hashing: Arc<Hashing>,
    /// The settings in force.
    pub config: Arc<Config>,
    /// What is counted and measured.
    pub metrics: Arc<Metrics>,
    /// How often each may ask still.
    pub(crate) rates: Arc<Rates>,
    /// Who read what, until it is written.
    pub(crate) readings: Arc<Readings>,
}

/// Why the server can't start.
#[derive(Debug, thiserror::Error)]
pub enum CannotStart {
    /// The database can't be opened.
    #[error("the database {url}: {why}")]
    Store {
        /// Its address, without a password.
        url: String,
        /// What is wrong.
        why: StoreError,
    },
    /// The keys can't be had.
    #[error(transparent)]
    Keys(#[from] NoKeys),
    /// A rule pack can't be read.
    #[error("{0}")]
    Rules(String),
    /// The ledger was begun under another name.
    #[error(
        "this database's record is signed as `{began_as}`, not as `{asked}`: set the name back, or every signed head \
         that clients hold would name another server"
    )]
    Name {
        /// The name that stands in the signed heads.
        began_as: String,
        /// The name that is configured.
        asked: String,
    },
    /// Something of ours failed.
    #[error("{0}")]
    Failed(String),
}

impl From<Problem> for CannotStart {
    fn from(problem: Problem) -> Self {
        Self::Failed(problem.to_string())
    }
}

impl State {
    /// Opens everything that `config` names; begins the ledger at the first start. Blocks.
    ///
    /// # Errors
    ///
    /// [`CannotStart`].
    pub fn open(config: Config, clock: Clock) -> Result<Self, CannotStart> {
        let rules = rules(config.rules.as_deref())?;
        let url = config.database_url.to_string();
        let cannot = |why| CannotStart::Store {
            url: url.clone(),
            why,
        };
        let tells = clock.clone();
        let lives = Lives {
            witness: config.witness(),
            next: Arc::new(move || {
                let epoch = new_id(&tells).map_err(|problem| problem.to_string())?;
                Ok((epoch, tells.now().naive_utc()))
            }),
        };
        let metrics = Arc::new(Metrics::default());
        let settings = Settings {
            url: config.database_url.expose().to_owned(),
            connections: config.connections,
            patience: config.patience(),
            lives: Some(lives.clone()),
        };
        let store = Store::open_watched(&settings, metrics.clone()).map_err(cannot)?;
        // Replicas share one file of keys, so none of them may make its own.
        let keys = Keys::load(&config.keys, !store.is_shared())?;
        let new = NewLedger {
            server_id: new_id(&clock)?,
            epoch: new_id(&clock)?,
            origin: config.name.clone(),
            began_at: clock.now().naive_utc(),
        };
        let began_as = store
            .write(move |db| -> Result<String, StoreError> {
                ledger::begin(db, &new)?;
                lives.wake(db)?;
                lots::catch_up(db, new.began_at)?;
                ledger::origin(db)
            })
            .map_err(cannot)?;
        store.note().map_err(cannot)?;
        if began_as != config.name {
            return Err(CannotStart::Name {
                began_as,
                asked: config.name,
            });
        }
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Ok(Self {
            store,
            rules: Arc::new(rules),
            clock,
            tokens: Arc::new(Tokens::new(
                config.name.clone(),
                &keys.tokens,
                &keys.tokens_before,
            )?),
            hashing: Arc::new(Hashing::new(cores)?),
            keys: Arc::new(keys),
            rates: Arc::new(Rates::new(config.requests)),
            config: Arc::new(config),
            metrics,
            readings: Arc::default(),
        })
    }

    /// Reads with the rules in force at hand.
    ///
    /// # Errors
    ///
    /// As for [`State::read`].
    pub async fn ask<T, E>(
        &self,
        work: impl FnOnce(&mut Db, &Rules) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: From<StoreError> + Into<Problem> + Send + 'static,
    {
        let rules = self.rules.clone();
        self.read(move |db| work(db, &rules)).await
    }

    /// Reads from the store, off the async threads.
    ///
    /// # Errors
    ///
    /// What `work` answers, or that the store can't be reached.
    pub async fn read<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: From<StoreError> + Into<Problem> + Send + 'static,
    {
        let store = self.store.clone();
        let span = traces::of_database("read", store.is_shared());
        self.in_time(web::block(move || store.read(work)).instrument(span))
            .await??
            .map_err(Into::into)
    }

    /// Reads a few rows by their keys, where we are if that needs no waiting: another thread would take longer to wake than that takes.
    ///
    /// # Errors
    ///
    /// As for [`State::read`].
    pub(crate) async fn glance<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: From<StoreError> + Into<Problem> + Send + 'static,
    {
        let Some(at_hand) = self.store.at_hand() else {
            return self.read(work).await;
        };
        let span = traces::of_database("read", self.store.is_shared());
        span.in_scope(|| at_hand.read(work)).map_err(Into::into)
    }

    /// Notes that somebody read what an answer tells of horses. It is written soon, and whoever reads waits for nothing.
    pub(crate) fn note<A: AboutHorses + ?Sized>(&self, by: By, way: Way, answer: &A) {
        let dropped = self
            .readings
            .note(by, way, answer.horses(), self.clock.now());
        if dropped > 0 {
            tracing::error!(target: "security", event = "readings_dropped", dropped);
        }
    }

    /// Writes the readings that are noted by now. If they can't be written, the log says so and they wait.
    pub(crate) async fn write_readings(&self) {
        let (store, readings) = (self.store.clone(), self.readings.clone());
        let written = self
            .in_time(web::block(move || readings.write(&store)))
            .await;
        match written {
            Ok(Ok(Ok(()))) => {}
            Ok(Ok(Err(error))) => tracing::warn!(%error, "readings can't be written yet"),
            Ok(Err(error)) => tracing::warn!(%error, "readings can't be written yet"),
            Err(problem) => tracing::warn!(error = %problem, "readings can't be written yet"),
        }
    }

    /// Waits for the database as long as the settings say. A commit that waits for a standby that is gone can't be called back:
    /// it stays unseen by everybody until it is durable there, and whoever asked is told to ask again.
    pub(crate) async fn in_time<T>(&self, work: impl Future<Output = T>) -> Result<T, Problem> {
        let patience = self.config.patience();
        actix_web::rt::time::timeout(patience, work)
            .await
            .map_err(|_| Problem::too_slow(patience))
    }

    /// A new id (UUIDv7) by the server's clock.
    ///
    /// # Errors
    ///
    /// A failure of ours if the machine gives no randomness.
    pub fn new_id<T: From<Uuid>>(&self) -> Result<T, Problem> {
        new_id(&self.clock)
    }

    /// Writes to the store, off the async threads; the answer comes after the commit is durable.
    ///
    /// # Errors
    ///
    /// What `work` answers, or that the store can't be reached.
    pub async fn write<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: From<StoreError> + Into<Problem> + Send + 'static,
    {
        let store = self.store.clone();
        let span = traces::of_database("write", store.is_shared());
        let Some(writer) = store.writer() else {
            return self
                .in_time(web::block(move || store.write(work)).instrument(span))
                .await??
                .map_err(Into::into);
        };
        // SQLite's writer has a thread of its own: no other one need wait for it.
        let (tell, told) = oneshot::channel();
        writer.hand_over(work, |done| drop(tell.send(done)))?;
        let done = self.in_time(told.instrument(span)).await?;
        done.map_err(|_| StoreError::Closing)?.map_err(Into::into)
    }
}

/// The built-in rules, with the packs of a folder laid over them.
fn rules(folder: Option<&Path>) -> Result<Rules, CannotStart> {
    let wrong = |why: &dyn std::fmt::Display| CannotStart::Rules(format!("the rules: {why}"));
    let Some(folder) = folder else {
        return Rules::built_in().map_err(|error| wrong(&error));
    };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(|error| wrong(&error))? {
        let path = entry.map_err(|error| wrong(&error))?.path();
        if path.extension().is_some_and(|kind| kind == "toml") {
            let text = std::fs::read_to_string(&path).map_err(|error| wrong(&error))?;
            files.push((path.display().to_string(), text));
        }
    }
    // In the order of their names, so that which row stands doesn't hang on the disk.
    files.sort();
    Rules::with(&files).map_err(|error| wrong(&error))
}

/// A new id (UUIDv7) that sorts by `clock`.
pub(crate) fn new_id<T: From<Uuid>>(clock: &Clock) -> Result<T, Problem> {
    let random = keys::random().map_err(Problem::internal)?;
    let milliseconds = u64::try_from(clock.now().timestamp_millis()).unwrap_or(0);
    let id = uuid::Builder::from_unix_timestamp_millis(milliseconds, &random).into_uuid();
    Ok(id.into())
}
