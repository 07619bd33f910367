//! The store: rows in, rows out, on SQLite and on PostgreSQL. The only SQL of the server.
//!
//! Every write goes through [`Store::write`], every read through [`Store::read`]. No policy lives here.

pub mod accounts;
pub mod attachments;
pub mod barns;
pub mod calendars;
pub mod carry;
mod connection;
pub mod deliveries;
pub mod devices;
mod error;
pub mod events;
mod few;
mod folded;
mod gate;
pub mod grants;
pub mod held_events;
pub mod horses;
pub mod invitations;
mod key;
mod kinds;
pub mod ledger;
pub mod licences;
pub mod life;
pub mod lots;
mod migrations;
pub mod notice_settings;
pub mod notices;
pub mod readings;
mod schema;
pub mod sessions;
mod shape;
pub mod shares;
pub mod signers;
mod store;
pub mod throttle;
pub mod transfers;
mod watch;
pub mod webhooks;
mod writer;

pub use connection::{Db, SQLITE_SETTINGS};
pub use error::StoreError;
pub use key::Key;
pub use kinds::Kinds;
pub use store::{Settings, Store};
pub use watch::{Vitals, Watch};
pub use writer::{WRITER_SETTINGS, Writer};
