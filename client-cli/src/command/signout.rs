//! `whorl signout`: end this device's session.

use serde_json::json;
use whorl_care::sentence::counted;
use whorl_contract::path;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::outbox::{self, State};
use crate::render::Sheet;

/// End this device's session; the record and the outbox stay
#[derive(Debug, clap::Args)]
pub struct Args {}

impl Args {
    /// Tells the server and throws the tokens away.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] if the server couldn't be told; the tokens are gone from here all the same.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let home = desk.home()?;
        let mut membership = home.member()?;
        let told = match membership.tokens {
            Some(_) => desk.remote()?.delete(path::CURRENT_SESSION),
            None => Ok(()),
        };
        membership.tokens = None;
        home.keep_membership(&membership)?;
        let mut conn = desk.database()?;
        let waiting = outbox::all(&mut conn)?
            .iter()
            .filter(|entry| entry.state.0 == State::Waiting)
            .count();
        desk.show(&json!({"signed_out": true, "waiting": waiting}), || {
            let sheet = Sheet::new().line("Signed out.");
            if waiting == 0 {
                sheet
            } else {
                sheet.line(format!(
                    "Still in the outbox: {}; `whorl join` and `whorl push` send what waits.",
                    counted(waiting, "entry", "entries")
                ))
            }
        })?;
        match told {
            Err(Failure::Offline(why)) => Err(Failure::Offline(format!(
                "signed out here, but the server couldn't be told: {why}; end the session from another device with \
                 `whorl sessions` if this one is lost"
            ))),
            // A session that the server doesn't know (any more) is as good as ended.
            Err(Failure::Refused(..)) => Ok(()),
            other => other,
        }
    }
}
