//! What the end-to-end tests and the demo stand on.

pub mod alone;
mod browser;
mod caller;
pub mod cluster;
mod database;
pub mod demo;
pub mod field;
pub mod hand;
pub mod ledger;
pub mod paddock;
pub mod pen;
pub mod person;
pub mod process;
pub mod proxy;
pub mod python;
mod server;
pub mod statements;
pub mod thin_line;
pub mod told;
pub mod waiting;
pub mod wire;
pub mod yard;

pub use browser::Browser;
pub use caller::{Answer, Caller};
pub use database::{Database, Own};
pub use person::Person;
pub use server::{TestClock, TestServer};
