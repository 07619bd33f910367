//! The commands, one file each: what a person types, and what is done.

pub mod amend;
pub mod attach;
pub mod barn;
pub mod completions;
pub mod devices;
pub mod dose;
pub mod due;
pub mod efficacy;
pub mod egg_count;
pub mod entry;
pub mod export;
mod export_account;
pub mod figure;
pub mod files;
pub mod grants;
pub mod held;
pub mod history;
pub mod hoof;
pub mod horse;
pub mod horses;
pub mod invite;
pub mod join;
pub mod licence;
pub mod notices;
pub mod outbox;
pub mod push;
pub mod reaction_report;
mod readings;
pub mod recall;
pub mod record;
pub mod rules;
pub mod sealing;
pub mod share;
pub mod sheet;
pub mod show;
pub mod signout;
pub mod status;
pub mod sync;
pub mod transfer;
pub mod verify;
pub mod visits;
pub mod watch;
pub mod webhooks;
pub mod weigh;

use std::fmt::Display;
use std::path::PathBuf;

use clap::{Parser, Subcommand};
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Kind;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::sync::label;

/// Keep horses' records where there is no signal, and bring them together where there is.
#[derive(Debug, Parser)]
#[command(name = "whorl", version, about, disable_help_subcommand = false)]
#[command(
    after_help = "Exit status: 0 done, 1 this device failed, 2 bad input, 3 refused by the server, \
    4 no connection (work is kept), 5 the record doesn't verify.\n\
    The record is kept in WHORL_HOME, else in the place where your system keeps programs' data; WHORL_RULES may name a folder with rules \
    of your own."
)]
pub struct Cli {
    /// Answer with one JSON document instead of tables
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub json: bool,
    /// A folder with rule packs of your own; the environment may name it as `WHORL_RULES`
    #[arg(long, global = true, value_name = "DIR", help_heading = "Everywhere")]
    pub rules_dir: Option<PathBuf>,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

macro_rules! commands {
    ($($(#[$attribute:meta])* $name:ident: $args:ty,)*) => {
        /// Everything that can be done.
        #[derive(Debug, Subcommand)]
        #[allow(missing_docs, reason = "a command without a line here is described where its arguments are")]
        pub enum Command {
            $($(#[$attribute])* $name($args),)*
        }

        impl Command {
            /// Does it.
            ///
            /// # Errors
            ///
            /// [`Failure`] with what is wrong and what to do.
            pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
                match self { $(Self::$name(args) => args.run(desk),)* }
            }
        }
    };
}

commands! {
    /// Sign in on a server, or open an account there, and fetch what you may see
    Join: join::Args,
    /// End this device's session; the record and the outbox stay
    Signout: signout::Args,
    /// Show who you are here, what waits for the server, and when all was last in step
    Status: status::Args,
    /// Show what waits for the server, and deal with what it refused
    Outbox: outbox::Args,
    Horses: horses::Args,
    History: history::Args,
    Show: show::Args,
    Record: record::Args,
    Sheet: sheet::Args,
    Amend: amend::Args,
    Retract: amend::RetractArgs,
    Countersign: amend::CountersignArgs,
    Erase: amend::EraseArgs,
    /// Send what waits in the outbox
    Push: push::Args,
    /// Send what waits, fetch what is new, and check that it fits
    Sync: sync::Args,
    Weigh: weigh::Args,
    Due: due::Args,
    Visits: visits::Args,
    Dose: dose::Args,
    EggCount: egg_count::Args,
    Entry: entry::Args,
    Hoof: hoof::Args,
    Efficacy: efficacy::Args,
    Watch: watch::Args,
    Recall: recall::Args,
    ReactionReport: reaction_report::Args,
    Figure: figure::Args,
    Rules: rules::Args,
    /// Open a barn, or list those that you may see
    Barn: barn::Args,
    /// Bring a horse in, or move it to another barn
    Horse: horse::Args,
    /// Take a photo or document into the client's folder, ready to be named in an entry
    Attach: attach::Args,
    Files: files::Args,
    /// Invite somebody by a code that works once
    Invite: invite::Args,
    /// List your invitations, or withdraw one
    Invitations: invite::ListArgs,
    /// Take up an invitation
    Accept: invite::AcceptArgs,
    /// List who may see and record what, or revoke a grant
    Grants: grants::Args,
    /// Enter your licence, list licences, or mark one as seen
    Licence: licence::Args,
    /// Offer a horse to its buyer, or take one over
    Transfer: transfer::Args,
    Export: export::Args,
    Verify: verify::Args,
    Share: share::Args,
    Shares: share::ListArgs,
    Unshare: share::EndArgs,
    Readings: readings::Args,
    Notices: notices::Args,
    Webhooks: webhooks::Args,
    /// List entries that wait for your word, and accept or refuse them
    Held: held::Args,
    /// List your devices, or revoke a lost one
    Devices: devices::Args,
    /// List where you are signed in, or end a session
    Sessions: devices::SessionArgs,
    /// Change your password
    Password: devices::PasswordArgs,
    ExportAccount: export_account::Args,
    /// Print the completions for a shell
    Completions: completions::Args,
    /// Write the manual pages into a folder
    Man: completions::ManArgs,
}

/// The id that a person means: whole, or the beginning or the end of it.
///
/// # Errors
///
/// [`Failure::Input`] if none or several fit.
pub(crate) fn pick<T: Display + Copy>(
    ids: impl Iterator<Item = T>,
    text: &str,
    what: &str,
) -> Result<T, Failure> {
    let wanted = text.trim().to_lowercase();
    let fits = |id: &T| {
        let id = id.to_string();
        id.starts_with(&wanted) || id.ends_with(&wanted)
    };
    let fitting: Vec<T> = ids.filter(fits).collect();
    match fitting.as_slice() {
        [one] if !wanted.is_empty() => Ok(*one),
        [] => Err(Failure::input(format!("there is no {what} `{text}`"))),
        _ => Err(Failure::input(format!(
            "`{text}` may be more than one {what}; give more of the id"
        ))),
    }
}

/// What a grant or an invitation is for.
fn scope(conn: &mut SqliteConnection, horse: Option<HorseId>, barn: Option<BarnId>) -> String {
    match (horse, barn) {
        (Some(horse), _) => label(conn, horse),
        (None, Some(barn)) => herd::barns(conn)
            .ok()
            .and_then(|barns| barns.into_iter().find(|one| one.id == barn))
            .map_or_else(|| format!("the barn {barn}"), |barn| barn.name),
        (None, None) => String::new(),
    }
}

/// The kinds that a grant is limited to.
fn kinds(kinds: Option<&[Kind]>) -> String {
    kinds.map_or_else(
        || "all".to_owned(),
        |kinds| {
            kinds
                .iter()
                .map(|kind| kind.code())
                .collect::<Vec<_>>()
                .join(", ")
        },
    )
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_commands_are_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn an_id_may_be_shortened_as_long_as_it_is_one() {
        let ids = ["0199-aa11", "0199-bb22"];
        let picked = |text| pick(ids.into_iter(), text, "grant");
        assert_eq!(picked("bb22").expect("one"), "0199-bb22");
        assert_eq!(picked("0199-A").expect("one"), "0199-aa11");
        for wrong in ["0199", "cc", ""] {
            assert_eq!(picked(wrong).expect_err(wrong).status(), 2);
        }
    }
}
