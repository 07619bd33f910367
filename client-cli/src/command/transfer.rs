//! `whorl transfer`: sell a horse, or take one over; its log goes along.

use std::path::PathBuf;

use whorl_contract::path;
use whorl_contract::transfer::{NewTransfer, Transfer, TransferAcceptance, TransferState};

use super::pick;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::{Sheet, moment};
use crate::sync::label;

/// Offer a horse to its buyer, or take one over
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
    /// A file that holds your password and nothing else
    #[arg(long, value_name = "FILE", global = true)]
    password_file: Option<PathBuf>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Offer a horse of yours; asks for your password
    Offer {
        /// The horse
        horse: String,
        /// The e-mail address of the buyer's account
        #[arg(long, value_name = "EMAIL")]
        to: String,
    },
    /// Take over a horse that was offered to you; asks for your password
    Accept {
        /// The offer's id, or the beginning or end of it
        id: String,
        /// The barn of yours where it will stand
        #[arg(long)]
        barn: Option<String>,
    },
    /// Say no to an offer
    Decline {
        /// The offer's id, or the beginning or end of it
        id: String,
    },
    /// Take an offer of yours back
    Withdraw {
        /// The offer's id, or the beginning or end of it
        id: String,
    },
    /// List offers that you made or were made
    List,
}

impl Args {
    /// Offers, accepts, declines, withdraws or lists.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection; [`Failure::Refused`] for a wrong password.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let file = self.password_file.as_deref();
        if let What::Offer { horse, to } = self.what {
            let horse = herd::named(&mut conn, &horse)?;
            let new = NewTransfer {
                to_email: to,
                password: super::join::password(desk, file, "Password")?.to_string(),
            };
            let offered: Transfer = desk
                .remote()?
                .post(&path::horse_transfers(horse.id), &new)?;
            let here = desk.here();
            return desk.show(&offered, || {
                Sheet::new().line(format!(
                    "{} is offered; it stays yours until {} accepts, at the latest on {}. The offer's id is {}.",
                    horse.label(),
                    new.to_email,
                    moment(offered.expires_at, here),
                    offered.id
                ))
            });
        }
        let mut remote = desk.remote()?;
        let all: Vec<Transfer> = remote.list(path::TRANSFERS)?;
        let ids = || all.iter().map(|one| one.id);
        match self.what {
            What::Accept { id, barn } => {
                let id = pick(ids(), &id, "offer")?;
                let barn = herd::barn_named(&mut conn, barn.as_deref())?;
                let acceptance = TransferAcceptance {
                    barn_id: barn.id,
                    password: super::join::password(desk, file, "Password")?.to_string(),
                };
                let done: Transfer = remote.post(&path::transfer_accept(id), &acceptance)?;
                desk.show(&done, || {
                    Sheet::new().line(format!(
                        "The horse is yours and stands in {}; `whorl sync` fetches its record.",
                        barn.name
                    ))
                })
            }
            What::Decline { id } => {
                let id = pick(ids(), &id, "offer")?;
                let done: Transfer =
                    remote.post(&path::transfer_decline(id), &serde_json::json!({}))?;
                desk.show(&done, || Sheet::new().line("Declined."))
            }
            What::Withdraw { id } => {
                let id = pick(ids(), &id, "offer")?;
                remote.delete(&path::transfer(id))?;
                desk.show(&serde_json::json!({"withdrawn": id}), || {
                    Sheet::new().line("Withdrawn: the horse stays yours.")
                })
            }
            What::List | What::Offer { .. } => list(desk, &all),
        }
    }
}

fn list(desk: &mut Desk<'_, '_>, all: &[Transfer]) -> Result<(), Failure> {
    let here = desk.here();
    let mut conn = desk.database()?;
    let me = desk.home()?.member()?.account_id;
    let rows: Vec<Vec<String>> = all
        .iter()
        .map(|one| {
            let side = if one.from_account == me {
                "you offer"
            } else {
                "offered to you"
            };
            let state = match one.state {
                TransferState::Offered => "open",
                TransferState::Accepted => "accepted",
                TransferState::Declined => "declined",
                TransferState::Withdrawn => "withdrawn",
                TransferState::Expired => "expired",
            };
            vec![
                label(&mut conn, one.horse_id),
                side.to_owned(),
                state.to_owned(),
                moment(one.offered_at, here),
                moment(one.expires_at, here),
                one.id.to_string(),
            ]
        })
        .collect();
    desk.show(&all, || {
        let head = ["horse", "side", "state", "offered", "expires", "id"];
        Sheet::new().table(&head, rows, "No offers.")
    })
}
