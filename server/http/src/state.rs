//! What every handler may use.

use std::sync::Arc;

use actix_web::web;
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
