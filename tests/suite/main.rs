//! The end-to-end tests: one binary, a file for each resource or story.

mod openapi;
mod shape;
