//! The server of Whorl: request → access → ledger → store, and what people see.

mod access;
pub mod app;
mod body;
pub mod caller;
pub mod clock;
pub mod config;
pub mod description;
mod herd;
mod history;
mod invitation_code;
pub mod keys;
mod ledger;
mod log_view;
mod paging;
pub mod problem;
mod routes;
mod session;
pub mod state;
pub mod token;
