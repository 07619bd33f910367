//! `whorl grants`: who may see and record what.

use serde_json::json;
use whorl_care::sentence::words;
use whorl_contract::grant::Grant;
use whorl_contract::path;

use super::{kinds, pick, scope};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::{Sheet, moment, moment_or_dash};

/// List who may see and record what, or revoke a grant
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
    /// Only those for one horse
    #[arg(long, conflicts_with = "barn")]
    horse: Option<String>,
    /// Only those for one barn
    #[arg(long)]
    barn: Option<String>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Revoke one: it ends at once
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
        let mut conn = desk.database()?;
        let mut path = path::GRANTS.to_owned();
        if let Some(text) = &self.horse {
            path = format!("{path}?horse_id={}", herd::named(&mut conn, text)?.id);
        } else if let Some(text) = &self.barn {
            path = format!(
                "{path}?barn_id={}",
                herd::barn_named(&mut conn, Some(text))?.id
            );
        }
        let mut remote = desk.remote()?;
        let all: Vec<Grant> = remote.list(&path)?;
        if let Some(What::Revoke { id }) = self.what {
            let id = pick(all.iter().map(|one| one.id), &id, "grant")?;
            remote.delete(&path::grant(id))?;
            return desk.show(&json!({"revoked": id}), || {
                Sheet::new().line("Revoked: it lets nobody see or record anything any more.")
            });
        }
        let here = desk.here();
        let rows: Vec<Vec<String>> = all
            .iter()
            .map(|one| {
                vec![
                    one.account_name.clone(),
                    words(one.role.code()),
                    scope(&mut conn, one.horse_id, one.barn_id),
                    kinds(one.kinds.as_deref()),
                    moment(one.from, here),
                    moment_or_dash(one.until, here),
                    moment_or_dash(one.revoked_at, here),
                    one.id.to_string(),
                ]
            })
            .collect();
        desk.show(&all, || {
            let head = [
                "who", "role", "for", "kinds", "from", "until", "revoked", "id",
            ];
            Sheet::new().table(&head, rows, "No grants.")
        })
    }
}
