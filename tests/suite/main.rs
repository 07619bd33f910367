//! The end-to-end tests: one binary, a file for each resource or story.

mod accounts;
mod openapi;
mod shape;
