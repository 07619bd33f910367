//! `whorl invite`, `whorl invitations`, `whorl accept`: how people come to work on a horse's record.

use serde_json::json;
use whorl_care::kind::{Kind, Role};
use whorl_contract::grant::{Grant, Invitation, InvitationCode, NewInvitation};
use whorl_contract::path;

use super::{kinds, pick, scope};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::{Sheet, moment, moment_or_dash};
use crate::when;
use crate::{herd, setting};

/// Invite somebody by a code that works once
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What they are: owner, `barn_staff`, farrier or vet
    #[arg(long)]
    role: Role,
    /// One horse of yours …
    #[arg(long, conflicts_with = "barn", required_unless_present = "barn")]
    horse: Option<String>,
    /// … or all horses of a barn of yours
    #[arg(long)]
    barn: Option<String>,
    /// From when, such as 2027-03-04 [default: at once]
    #[arg(long, value_name = "WHEN")]
    from: Option<String>,
    /// Until when [default: until you revoke it]
    #[arg(long, value_name = "WHEN")]
    until: Option<String>,
    /// Only these kinds of entries, such as `hoof_care`; may be given several times
    #[arg(long = "kind", value_name = "KIND")]
    kinds: Vec<Kind>,
}

impl Args {
    /// Makes the invitation and shows its code.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let horse = match &self.horse {
            Some(text) => Some(herd::named(&mut conn, text)?),
            None => None,
        };
        let barn = match &self.barn {
            Some(text) => Some(herd::barn_named(&mut conn, Some(text))?),
            None => None,
        };
        let now = desk.machine().now();
        let day = |text: &Option<String>| {
            text.as_deref()
                .map(|text| when::start_of_day(text, now).map(|at| at.to_utc()))
                .transpose()
        };
        let new = NewInvitation {
            horse_id: horse.as_ref().map(|one| one.id),
            barn_id: barn.as_ref().map(|one| one.id),
            role: self.role,
            from: day(&self.from)?,
            until: day(&self.until)?,
            kinds: (!self.kinds.is_empty()).then_some(self.kinds),
        };
        let invitation: Invitation = desk.remote()?.post(path::INVITATIONS, &new)?;
        let here = desk.here();
        let what = horse
            .map(|one| one.label())
            .or(barn.map(|one| one.name))
            .unwrap_or_default();
        desk.show(&invitation, || {
            Sheet::new()
                .line(invitation.code.clone().unwrap_or_default())
                .line(format!(
                    "Hand this code to the {} for {what}: it works once, until {}.",
                    invitation.role,
                    moment(invitation.expires_at, here)
                ))
                .line("They run `whorl join SERVER --code CODE`, or `whorl accept CODE`.")
        })
    }
}

/// List your invitations, or withdraw one
#[derive(Debug, clap::Args)]
pub struct ListArgs {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// List them
    List,
    /// Withdraw one that nobody has taken up
    Withdraw {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl ListArgs {
    /// Lists or withdraws.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let all: Vec<Invitation> = remote.list(path::INVITATIONS)?;
        if let Some(What::Withdraw { id }) = self.what {
            let id = pick(all.iter().map(|one| one.id), &id, "invitation")?;
            remote.delete(&path::invitation(id))?;
            return desk.show(&json!({"withdrawn": id}), || {
                Sheet::new().line("Withdrawn: its code works no more.")
            });
        }
        let here = desk.here();
        let mut conn = desk.database()?;
        let rows: Vec<Vec<String>> = all
            .iter()
            .map(|one| {
                let state = match (one.withdrawn_at, one.accepted_by) {
                    (Some(_), _) => "withdrawn",
                    (None, Some(_)) => "taken up",
                    (None, None) if one.expires_at <= desk.machine().utc() => "expired",
                    (None, None) => "open",
                };
                vec![
                    one.role.to_string(),
                    scope(&mut conn, one.horse_id, one.barn_id),
                    kinds(one.kinds.as_deref()),
                    moment(one.from, here),
                    moment_or_dash(one.until, here),
                    state.to_owned(),
                    one.id.to_string(),
                ]
            })
            .collect();
        desk.show(&all, || {
            let head = ["role", "for", "kinds", "from", "until", "state", "id"];
            Sheet::new().table(&head, rows, "No invitations.")
        })
    }
}

/// Take up an invitation
#[derive(Debug, clap::Args)]
pub struct AcceptArgs {
    /// The code, as it was handed to you; case and dashes don't matter
    code: String,
}

impl AcceptArgs {
    /// Takes it up; `whorl sync` then fetches the horses.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the code is used up or expired.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let code = InvitationCode { code: self.code };
        let grant: Grant = desk.remote()?.post(path::ACCEPT_INVITATION, &code)?;
        // What may be seen has changed, so the heads have to be asked for anew.
        setting::forget(&mut desk.database()?, setting::HEADS_TAG)?;
        desk.show(&grant, || {
            Sheet::new().line(format!(
                "You are {} there from now on; `whorl sync` fetches the horses.",
                grant.role
            ))
        })
    }
}
