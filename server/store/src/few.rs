//! Rows by a list of keys, where the list is mostly short.
//!
//! Where rows are wanted for one of several reasons, each reason is a statement of its own and [`each_once`] brings them together, or
//! `UNION` does where a row may change its reason meanwhile: with `OR` SQLite reads the table whole as soon as one of the lists is empty.

use diesel::result::Error;

use crate::connection::Db;
use crate::error::StoreError;

/// SQLite prepares a statement with a list in it anew each time, since the list may have any length. Up to so many keys
/// are looked up one by one instead, by a statement that stays prepared: that is quicker.
const FEW: usize = 8;

/// Asks for each key by itself if that is quicker, in their order, else for all at once.
pub(crate) fn by_keys<K: ToString, T>(
    db: &mut Db,
    keys: &[K],
    mut each: impl FnMut(&mut Db, String) -> Result<Vec<T>, Error>,
    all: impl FnOnce(&mut Db, Vec<String>) -> Result<Vec<T>, Error>,
) -> Result<Vec<T>, StoreError> {
    let mut keys: Vec<String> = keys.iter().map(ToString::to_string).collect();
    keys.sort_unstable();
    keys.dedup();
    if keys.is_empty() {
        return Ok(Vec::new());
    }
    if keys.len() > FEW || matches!(db, Db::Postgres(_)) {
        return Ok(all(db, keys)?);
    }
    let mut rows = Vec::with_capacity(keys.len());
    for key in keys {
        rows.append(&mut each(db, key)?);
    }
    Ok(rows)
}

/// Brings the answers of several statements together: each row once, by its id.
pub(crate) fn each_once<T, I: Ord>(
    answers: impl IntoIterator<Item = Vec<T>>,
    id: impl Fn(&T) -> I,
) -> Vec<T> {
    let mut rows: Vec<T> = answers.into_iter().flatten().collect();
    rows.sort_by_key(&id);
    rows.dedup_by_key(|row| id(row));
    rows
}
