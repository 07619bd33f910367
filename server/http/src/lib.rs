//! The server of Whorl: request → access → ledger → store, and what people see.

#[allow(dead_code, reason = "the ledger and the routes come next")]
mod access;
pub mod app;
pub mod caller;
pub mod clock;
pub mod config;
pub mod description;
mod history;
pub mod keys;
mod ledger;
mod log_view;
pub mod problem;
mod routes;
mod session;
pub mod state;
pub mod token;
