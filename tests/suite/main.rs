//! The end-to-end tests: one binary, a file for each resource or story.

mod accounts;
mod anonymous;
mod due_golden;
mod exchange;
mod held;
mod history;
mod invariants;
mod kinds;
mod ledger;
mod openapi;
mod pull;
mod sealed;
mod sessions;
mod shape;
