//! `whorl status`: where this device stands.

use serde::Serialize;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::outbox::{self, State};
use crate::render::{Sheet, moment_or_dash};
use crate::stored::At;
use crate::{herd, mirror, setting};

/// Show who you are here, what waits for the server, and when all was last in step
#[derive(Debug, clap::Args)]
pub struct Args {}

#[derive(Serialize)]
struct Answer {
    server: Option<String>,
    account: Option<String>,
    name: Option<String>,
    device_id: Option<String>,
    signed_in: bool,
    horses: usize,
    waiting: usize,
    held: usize,
    refused: usize,
    acknowledged: usize,
    new_horses: usize,
    kept_apart: i64,
    synced_at: Option<String>,
}

impl Args {
    /// Reads what is on this device; needs no network.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be read.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let membership = desk.home()?.membership()?;
        let mut conn = desk.database()?;
        let entries = outbox::all(&mut conn)?;
        let count = |state| entries.iter().filter(|one| one.state.0 == state).count();
        let synced: Option<At> = setting::get(&mut conn, setting::SYNCED_AT)?;
        let member = membership.as_ref();
        let answer = Answer {
            server: member.map(|one| one.server.clone()),
            account: member.map(|one| one.email.clone()),
            name: member.map(|one| one.name.clone()),
            device_id: member.map(|one| one.device_id.to_string()),
            signed_in: member.is_some_and(|one| one.tokens.is_some()),
            horses: herd::horses(&mut conn)?
                .iter()
                .filter(|one| one.horse.is_some())
                .count(),
            waiting: count(State::Waiting),
            held: count(State::Held),
            refused: count(State::Refused),
            acknowledged: count(State::Acknowledged),
            new_horses: herd::pending(&mut conn)?.len(),
            kept_apart: mirror::kept_apart(&mut conn)?,
            synced_at: synced.map(|at| at.to_string()),
        };
        let here = desk.here();
        desk.show(&answer, || {
            sheet(&answer, moment_or_dash(synced.map(|at| at.0), here))
        })
    }
}

fn sheet(answer: &Answer, synced: String) -> Sheet {
    let who = match (&answer.name, &answer.account, &answer.server) {
        (Some(name), Some(account), Some(server)) => {
            let state = if answer.signed_in {
                ""
            } else {
                " (signed out: run `whorl join` to sync)"
            };
            format!("{name} <{account}> at {server}{state}")
        }
        _ => "no server yet: run `whorl join SERVER`".to_owned(),
    };
    let mut facts = vec![
        ("you", who),
        ("last in step", synced),
        ("horses", answer.horses.to_string()),
        ("waiting to be pushed", answer.waiting.to_string()),
    ];
    let kept_apart = usize::try_from(answer.kept_apart).unwrap_or(0);
    for (name, count) in [
        ("held for the owner", answer.held),
        ("refused by the server", answer.refused),
        ("taken, not pulled back yet", answer.acknowledged),
        ("new horses to open", answer.new_horses),
        ("entries the server lost, kept here", kept_apart),
    ] {
        if count > 0 {
            facts.push((name, count.to_string()));
        }
    }
    Sheet::new().facts(facts)
}
