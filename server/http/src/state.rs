//! What every handler may use.

use std::sync::Arc;

use actix_web::web;
use uuid::Uuid;
use whorl_care::rules::Rules;
use whorl_store::{Db, Store, StoreError};

use crate::clock::Clock;
use crate::config::Config;
use crate::keys::Keys;
use crate::problem::Problem;
use crate::token::Tokens;

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
    /// The settings in force.
    pub config: Arc<Config>,
}

impl State {
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
        web::block(move || store.read(work))
            .await?
            .map_err(Into::into)
    }

    /// A new id (UUIDv7) by the server's clock.
    ///
    /// # Errors
    ///
    /// A failure of ours if the machine gives no randomness.
    pub fn new_id<T: From<Uuid>>(&self) -> Result<T, Problem> {
        let mut random = [0; 10];
        getrandom::fill(&mut random).map_err(Problem::internal)?;
        let milliseconds = u64::try_from(self.clock.now().timestamp_millis()).unwrap_or(0);
        Ok(
            uuid::Builder::from_unix_timestamp_millis(milliseconds, &random)
                .into_uuid()
                .into(),
        )
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
        web::block(move || store.write(work))
            .await?
            .map_err(Into::into)
    }
}
