//! The store: rows in, rows out, on SQLite and on PostgreSQL. The only SQL of the server.
//!
//! Every write goes through [`Store::write`], every read through [`Store::read`]. No policy lives here.

mod connection;
mod error;
pub mod events;
pub mod held_events;
mod key;
mod migrations;
mod schema;
pub mod signers;
mod store;
mod writer;

pub use connection::Db;
pub use error::StoreError;
pub use key::Key;
pub use store::{Settings, Store};
