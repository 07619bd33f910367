//! What the end-to-end tests and the demo stand on.

mod browser;
mod caller;
mod database;
pub mod demo;
pub mod ledger;
pub mod paddock;
pub mod pen;
pub mod person;
mod server;
pub mod yard;

pub use browser::Browser;
pub use caller::{Answer, Caller};
pub use database::Database;
pub use person::Person;
pub use server::{TestClock, TestServer};
