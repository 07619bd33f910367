//! The server of Whorl: request → access → ledger → store, and what people see.

pub mod app;
pub mod caller;
pub mod clock;
pub mod config;
pub mod keys;
pub mod problem;
mod routes;
mod session;
pub mod state;
pub mod token;
