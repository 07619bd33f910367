//! `whorl share`, `whorl shares`, `whorl unshare`: links by which a horse's history can be read without an account.

use serde_json::json;
use whorl_contract::path;
use whorl_contract::share::{NewShare, Share};

use super::pick;
use super::sealing::{Sealing, told};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::qr;
use crate::render::{Sheet, moment, moment_or_dash};

/// Make a link by which a horse's history can be read without an account
///
/// You have to own the horse. The link is shown once, with a QR code; it ends on its day, when you end it with
/// `whorl unshare`, and when the horse is yours no more.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// How many days it lasts, 90 at most
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=90))]
    days: u32,
    /// A name for it, which only the horse's owners see
    #[arg(long)]
    label: Option<String>,
    #[command(flatten)]
    sealing: Sealing,
}

impl Args {
    /// Makes the link and shows it.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the horse isn't yours.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let horse = herd::named(&mut desk.database()?, &self.horse)?;
        let new = NewShare {
            days: self.days,
            seal: self.sealing.seal(),
            label: self.label,
        };
        let share: Share = desk.remote()?.post(&path::shares(horse.id), &new)?;
        let (here, url) = (desk.here(), share.url.clone().unwrap_or_default());
        let code = qr::blocks(&url)?;
        desk.show(&share, || {
            Sheet::new()
                .line(code)
                .line(url)
                .line(format!(
                    "Whoever has this link reads {}'s history until {}; withheld: {}.",
                    horse.label(),
                    moment(share.expires_at, here),
                    told(&share.seal)
                ))
                .line("It is shown this once. `whorl shares` tells how often it was looked at, `whorl unshare` ends it.")
        })
    }
}

/// List the links to a horse's history, and how often each was looked at
#[derive(Debug, clap::Args)]
pub struct ListArgs {
    /// The horse
    horse: String,
}

impl ListArgs {
    /// Lists them.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the horse isn't yours.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let horse = herd::named(&mut desk.database()?, &self.horse)?;
        let all: Vec<Share> = desk.remote()?.list(&path::shares(horse.id))?;
        let (here, now) = (desk.here(), desk.machine().utc());
        desk.show(&all, || {
            let rows = all.iter().map(|one| {
                let state = match one.revoked_at {
                    Some(_) => "ended",
                    None if one.expires_at <= now => "expired",
                    None => "open",
                };
                vec![
                    one.label.clone().unwrap_or_else(|| "–".to_owned()),
                    told(&one.seal),
                    one.made_by_name.clone(),
                    moment(one.expires_at, here),
                    state.to_owned(),
                    one.views.to_string(),
                    moment_or_dash(one.last_seen_at, here),
                    one.id.to_string(),
                ]
            });
            let head = [
                "name",
                "withheld",
                "made by",
                "until",
                "state",
                "looks",
                "last look",
                "id",
            ];
            Sheet::new().table(&head, rows, "No links.")
        })
    }
}

/// End a link to a horse's history at once
#[derive(Debug, clap::Args)]
pub struct EndArgs {
    /// The horse
    horse: String,
    /// The link's id, or the beginning or end of it
    id: String,
}

impl EndArgs {
    /// Ends it.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such link.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let horse = herd::named(&mut desk.database()?, &self.horse)?;
        let mut remote = desk.remote()?;
        let all: Vec<Share> = remote.list(&path::shares(horse.id))?;
        let id = pick(all.iter().map(|one| one.id), &self.id, "link")?;
        remote.delete(&path::share(horse.id, id))?;
        desk.show(&json!({"ended": id}), || {
            Sheet::new().line("Ended: nobody reads anything by that link any more.")
        })
    }
}
