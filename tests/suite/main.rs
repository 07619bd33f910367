//! The end-to-end tests: one binary, a file for each resource or story.

mod accounts;
mod due_golden;
mod exchange;
mod openapi;
mod sessions;
mod shape;
