//! A history as a document that people keep or hand on.

pub(crate) mod pdf;
