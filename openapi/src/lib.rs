//! The wire contract of Whorl: signed events, requests, answers and kinds of problems.
//!
//! Server and client build on the same types; `openapi.json` beside this crate is generated from them.

pub mod account;
pub mod account_export;
pub mod attachment;
pub mod barn;
pub mod bundle;
pub mod calendar;
pub mod canonical;
pub mod chain;
pub mod due;
pub mod entry;
pub mod event;
pub mod figure;
pub mod genuine;
pub mod grant;
pub mod handover;
pub mod history;
pub mod horse;
pub mod key;
pub mod licence;
pub mod note;
pub mod notice;
pub mod page;
pub mod path;
pub mod problem;
pub mod reading;
pub mod recall;
pub mod server;
pub mod session;
pub mod share;
pub mod sync;
pub mod transfer;
pub mod visits;
pub mod webhook;
pub mod yard;
