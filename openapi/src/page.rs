//! A page of a list.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A list with a cursor to what follows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    /// The items.
    pub items: Vec<T>,
    /// Give it back as `cursor` for the next page; null at the end.
    #[schema(required)]
    pub next_cursor: Option<String>,
}

impl<T> Page<T> {
    /// A list that is whole.
    #[must_use]
    pub fn whole(items: Vec<T>) -> Self {
        Self {
            items,
            next_cursor: None,
        }
    }
}
