//! What the end-to-end tests and the demo stand on.

pub mod demo;
