//! The server's key, as this device knows it: everything that the server signs is held against it.

use diesel::sqlite::SqliteConnection;
use whorl_contract::handover::leads;
use whorl_contract::key::PublicKey;
use whorl_contract::server::ServerInfo;

use crate::failure::Failure;
use crate::setting;

/// Holds the key that a server shows against the one that this device knows. If the known one handed over to it, that is the
/// one to know from now on; the answer says so for a person.
///
/// # Errors
///
/// [`Failure::NotVerified`] if it is another key; nothing must be sent to such a server.
pub fn follow(conn: &mut SqliteConnection, info: &ServerInfo) -> Result<Option<String>, Failure> {
    let Some(known) = known(conn)?.filter(|known| *known != info.key) else {
        return Ok(None);
    };
    if !leads(&info.name, &info.handovers, &known, &info.key) {
        return Err(Failure::NotVerified(format!(
            "this server shows another key ({}) than when this device joined ({known}), and the old one doesn't vouch for it: \
             ask its operator; if they changed it, run `whorl join --new-key`",
            info.key
        )));
    }
    keep(conn, info.key)?;
    Ok(Some(format!(
        "the server's key was replaced, and the one that this device knew vouches for the new one: {}",
        info.key
    )))
}

/// The key that this device knows; none before it joined.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be read.
pub fn known(conn: &mut SqliteConnection) -> Result<Option<PublicKey>, Failure> {
    setting::get(conn, setting::SERVER_KEY)
}

/// Knows `key` from now on.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn keep(conn: &mut SqliteConnection, key: PublicKey) -> Result<(), Failure> {
    setting::set(conn, setting::SERVER_KEY, key)
}
