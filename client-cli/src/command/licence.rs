//! `whorl licence`: what a professional's entries rest on.

use chrono::NaiveDate;
use serde_json::json;
use whorl_care::kind::Role;
use whorl_contract::licence::{Licence, NewLicence};
use whorl_contract::path;

use super::pick;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::{Sheet, moment_or_dash};
use crate::setting;

/// Enter your licence, list licences, or mark one as seen
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Enter a licence of yours
    Add {
        /// What it is for: vet or farrier
        #[arg(long)]
        role: Role,
        /// Its number
        #[arg(long)]
        number: String,
        /// Where it is good: an ISO 3166 code such as gb or us-fl
        #[arg(long, value_name = "CODE")]
        jurisdiction: String,
        /// Its last day, if it has one
        #[arg(long, value_name = "DATE")]
        valid_until: Option<NaiveDate>,
    },
    /// List your licences, and those of the people who work on your horses
    List,
    /// Mark that you have looked at the paper
    Seen {
        /// Its id, or the beginning or end of it
        id: String,
    },
    /// Withdraw a licence of yours
    Withdraw {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl Args {
    /// Enters, lists, marks or withdraws.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        if let What::Add {
            role,
            number,
            jurisdiction,
            valid_until,
        } = self.what
        {
            let new = NewLicence {
                role,
                number,
                jurisdiction,
                valid_until,
            };
            let licence: Licence = remote.post(path::LICENCES, &new)?;
            let all: Vec<Licence> = remote.list(path::LICENCES)?;
            setting::keep_document(&mut desk.database()?, setting::LICENCES, &all)?;
            return desk.show(&licence, || {
                Sheet::new().line(format!(
                    "Your {} licence {} is on record; an owner or the operator may now look at the paper.",
                    licence.role, licence.number
                ))
            });
        }
        let all: Vec<Licence> = remote.list(path::LICENCES)?;
        setting::keep_document(&mut desk.database()?, setting::LICENCES, &all)?;
        let ids = all.iter().map(|one| one.id);
        match self.what {
            What::Seen { id } => {
                let id = pick(ids, &id, "licence")?;
                let seen: Licence = remote.post(&path::licence_seen(id), &json!({}))?;
                desk.show(&seen, || {
                    Sheet::new().line(format!(
                        "You have seen the licence {} of {}.",
                        seen.number, seen.account_name
                    ))
                })
            }
            What::Withdraw { id } => {
                let id = pick(ids, &id, "licence")?;
                remote.delete(&path::licence(id))?;
                desk.show(&json!({"withdrawn": id}), || {
                    Sheet::new().line("Withdrawn.")
                })
            }
            What::List | What::Add { .. } => list(desk, &all),
        }
    }
}

fn list(desk: &mut Desk<'_, '_>, all: &[Licence]) -> Result<(), Failure> {
    let here = desk.here();
    desk.show(&all, || {
        let rows = all.iter().map(|one| {
            vec![
                one.account_name.clone(),
                one.role.to_string(),
                one.number.clone(),
                one.jurisdiction.clone(),
                one.valid_until
                    .map_or_else(|| "–".to_owned(), |day| day.to_string()),
                moment_or_dash(one.seen_at, here),
                moment_or_dash(one.withdrawn_at, here),
                one.id.to_string(),
            ]
        });
        let head = [
            "who",
            "for",
            "number",
            "where",
            "valid until",
            "seen",
            "withdrawn",
            "id",
        ];
        Sheet::new().table(&head, rows, "No licences.")
    })
}
