//! The demo's herd, seeded through the same client and the same API that people use.

pub mod scenario;
