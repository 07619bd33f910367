//! `whorl devices`, `whorl sessions`, `whorl password`: what to do when a phone is lost.

use std::path::PathBuf;

use serde_json::json;
use whorl_contract::account::PasswordChange;
use whorl_contract::path;
use whorl_contract::session::{Device, SessionInfo};

use super::join::password;
use super::pick;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::{Sheet, moment, moment_or_dash};

/// List your devices, or revoke a lost one
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// List them
    List,
    /// Revoke one: its session ends, and nothing that it signs is taken any more
    Revoke {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl Args {
    /// Lists or revokes.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let all: Vec<Device> = remote.list(path::DEVICES)?;
        if let Some(What::Revoke { id }) = self.what {
            let id = pick(all.iter().map(|one| one.id), &id, "device")?;
            remote.delete(&path::device(id))?;
            return desk.show(&json!({"revoked": id}), || {
                Sheet::new().line("Revoked: nothing that it signs is taken any more.")
            });
        }
        let here = desk.here();
        let own = remote.membership()?.device_id;
        desk.show(&all, || {
            let rows = all.iter().map(|one| {
                let mine = if one.id == own { " (this one)" } else { "" };
                vec![
                    format!("{}{mine}", one.name),
                    moment(one.created_at, here),
                    moment_or_dash(one.revoked_at, here),
                    one.id.to_string(),
                ]
            });
            Sheet::new().table(&["device", "since", "revoked", "id"], rows, "No devices.")
        })
    }
}

/// List where you are signed in, or end a session
#[derive(Debug, clap::Args)]
pub struct SessionArgs {
    #[command(subcommand)]
    what: Option<SessionWhat>,
}

#[derive(Debug, clap::Subcommand)]
enum SessionWhat {
    /// List them
    List,
    /// End one
    End {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl SessionArgs {
    /// Lists or ends.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let all: Vec<SessionInfo> = remote.list(path::SESSIONS)?;
        if let Some(SessionWhat::End { id }) = self.what {
            let id = pick(all.iter().map(|one| one.id), &id, "session")?;
            remote.delete(&path::session(id))?;
            return desk.show(&json!({"ended": id}), || Sheet::new().line("Ended."));
        }
        let here = desk.here();
        desk.show(&all, || {
            let rows = all.iter().map(|one| {
                let device = one
                    .device_id
                    .map_or_else(|| "a browser".to_owned(), |id| format!("device {id}"));
                let mine = if one.current { " (this one)" } else { "" };
                vec![
                    format!("{device}{mine}"),
                    moment(one.created_at, here),
                    moment(one.last_used_at, here),
                    one.id.to_string(),
                ]
            });
            Sheet::new().table(&["where", "since", "last used", "id"], rows, "No sessions.")
        })
    }
}

/// Change your password
#[derive(Debug, clap::Args)]
pub struct PasswordArgs {
    /// A file that holds the new password and nothing else
    #[arg(long, value_name = "FILE")]
    new_password_file: Option<PathBuf>,
    /// A file that holds the password so far and nothing else
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
    /// End all other sessions
    #[arg(long)]
    end_other_sessions: bool,
}

impl PasswordArgs {
    /// Changes it.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the password so far is wrong or the new one is too weak.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let current = password(desk, self.password_file.as_deref(), "Password so far")?;
        let new = match &self.new_password_file {
            Some(file) => password(desk, Some(file), "New password")?.to_string(),
            None => desk.ask_secret("New password", "give it with --new-password-file")?,
        };
        let change = PasswordChange {
            current: current.to_string(),
            new,
            end_other_sessions: self.end_other_sessions,
        };
        desk.remote()?.put_quietly(path::PASSWORD, &change)?;
        desk.show(&json!({"changed": true}), || {
            Sheet::new().line("The password is changed.")
        })
    }
}
