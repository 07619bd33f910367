//! The figure `hoof`: a foot's balance, its growth, and when the farrier should come again.

pub mod findings;
