//! Small facts that the client keeps about its server.

use std::fmt::{Debug, Display};
use std::str::FromStr;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::failure::Failure;
use crate::schema::setting;
use crate::stored::Stored;

/// Which life of the server's ledger our copies come from.
pub const EPOCH: &str = "epoch";
/// The key that signs the server's heads; the first one seen counts.
pub const SERVER_KEY: &str = "server_key";
/// The tag of the last answer to "where does everything stand".
pub const HEADS_TAG: &str = "heads_tag";
/// When everything was last in step with the server.
pub const SYNCED_AT: &str = "synced_at";

/// The server's procedure policy, as last heard.
pub const POLICY: &str = "policy";
/// The account's grants, as last heard: when they change, sealed entries may have opened.
pub const GRANTS: &str = "grants";
/// The account's licences, as last heard.
pub const LICENCES: &str = "licences";

/// A document that was kept; none if there is none or if another version of whorl kept it in another form.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn document<T: DeserializeOwned>(
    conn: &mut SqliteConnection,
    name: &str,
) -> Result<Option<T>, Failure> {
    let text: Option<String> = get(conn, name)?;
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

/// Keeps a document.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn keep_document(
    conn: &mut SqliteConnection,
    name: &str,
    document: &impl Serialize,
) -> Result<(), Failure> {
    let text =
        serde_json::to_string(document).map_err(|error| Failure::Device(error.to_string()))?;
    set(conn, name, text)
}

/// The value of a setting, if it is set.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn get<T: FromStr<Err: Display> + 'static>(
    conn: &mut SqliteConnection,
    name: &str,
) -> Result<Option<T>, Failure> {
    let value: Option<Stored<T>> = setting::table
        .find(name)
        .select(setting::value)
        .first(conn)
        .optional()?;
    Ok(value.map(|value| value.0))
}

/// Sets it.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be written.
pub fn set<T: Debug + Display>(
    conn: &mut SqliteConnection,
    name: &str,
    value: T,
) -> Result<(), Failure> {
    let value = Stored(value);
    diesel::insert_into(setting::table)
        .values((setting::name.eq(name), setting::value.eq(&value)))
        .on_conflict(setting::name)
        .do_update()
        .set(setting::value.eq(&value))
        .execute(conn)?;
    Ok(())
}

/// Forgets it.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be written.
pub fn forget(conn: &mut SqliteConnection, name: &str) -> Result<(), Failure> {
    diesel::delete(setting::table.find(name)).execute(conn)?;
    Ok(())
}
