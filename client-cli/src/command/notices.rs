//! `whorl notices`: what you must know without having asked, and marking it as read.

use chrono::{DateTime, Utc};
use serde_json::json;
use whorl_care::ids::NoticeId;
use whorl_care::notice::{Letters, State};
use whorl_care::sentence::capital;
use whorl_contract::notice::{LetterChoice, MarkRead, Notice, NoticeSettings, Unread};
use whorl_contract::path;

use super::pick;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::{Sheet, happened};
use crate::sync::label;

/// List red flags and records that wait for your word, and mark them as read
///
/// They come to the owners and vets of a horse when somebody else records what calls for a vet. They are no diagnosis: the
/// vet decides.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// List what you marked as read, too
    #[arg(long)]
    all: bool,
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Mark one as read, or all that are listed now
    Read {
        /// Its id, or the beginning or end of it; all if left out
        id: Option<String>,
    },
    /// Show which notices you get by e-mail, too, or choose: `none`, `red_flags` or `all`
    Email {
        /// Your choice; shown if left out
        letters: Option<Letters>,
    },
}

impl Args {
    /// Lists, or marks as read.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let unread = format!("{}?unread=true", path::NOTICES);
        match self.what {
            None => {
                let from = if self.all { path::NOTICES } else { &unread };
                let notices: Vec<Notice> = remote.list(from)?;
                list(desk, &notices, self.all)
            }
            Some(What::Email { letters }) => {
                let settings: NoticeSettings = match letters {
                    Some(email) => remote.put(path::NOTICE_SETTINGS, &LetterChoice { email })?,
                    None => remote.get(path::NOTICE_SETTINGS)?,
                };
                desk.show(&settings, || Sheet::new().line(chosen(settings)))
            }
            Some(What::Read { id }) => {
                let notices: Vec<Notice> = remote.list(&unread)?;
                let Some(asked) = marked(&notices, id.as_deref())? else {
                    return desk.show(&json!({"unread": 0}), || {
                        Sheet::new().line("Nothing is unread.")
                    });
                };
                let left: Unread = remote.post(path::NOTICES_READ, &asked)?;
                desk.show(&left, || Sheet::new().line(said(left)))
            }
        }
    }
}

/// What is to be marked: the one that is meant, or all that are listed; nothing if there are none.
fn marked(notices: &[Notice], id: Option<&str>) -> Result<Option<MarkRead>, Failure> {
    let one: Option<NoticeId> = id
        .map(|id| pick(notices.iter().map(|one| one.id), id, "unread notice"))
        .transpose()?;
    let until: Option<DateTime<Utc>> = notices
        .iter()
        .filter(|notice| one.is_none_or(|id| notice.id == id))
        .map(|notice| notice.changed_at)
        .max();
    Ok(until.map(|until| MarkRead {
        notice_id: one,
        until,
    }))
}

fn chosen(settings: NoticeSettings) -> String {
    let what = match settings.email {
        Letters::None => "You get no letters by e-mail.",
        Letters::RedFlags => "You get red flags by e-mail.",
        Letters::All => "You get red flags by e-mail, and what waits for your word.",
    };
    let server = if settings.sends_email {
        ""
    } else {
        " This server sends no e-mail, though: whoever runs it hasn't set up a mail relay."
    };
    format!("{what}{server}")
}

fn said(left: Unread) -> String {
    match left.unread {
        0 => "Marked as read; nothing else is unread.".to_owned(),
        1 => "Marked as read; one more is unread.".to_owned(),
        many => format!("Marked as read; {many} more are unread."),
    }
}

fn list(desk: &mut Desk<'_, '_>, all: &[Notice], also_read: bool) -> Result<(), Failure> {
    let mut conn = desk.database()?;
    let rows: Vec<Vec<String>> = all
        .iter()
        .map(|one| {
            let horse = one.horse.clone();
            let mut row = vec![
                horse.unwrap_or_else(|| label(&mut conn, one.horse_id)),
                what(one),
                happened(one.performed_at),
                one.by.clone().unwrap_or_default(),
                one.id.to_string(),
            ];
            if also_read {
                let mark = if one.read_at.is_some() { "" } else { "unread" };
                row.insert(0, mark.to_owned());
            }
            row
        })
        .collect();
    let mut head = vec!["horse", "what", "when", "by", "id"];
    if also_read {
        head.insert(0, "");
    }
    desk.show(&all, || {
        let sheet = Sheet::new().table(&head, rows, "Nothing is unread.");
        if all.is_empty() {
            return sheet;
        }
        sheet.line(
            "A notice is no diagnosis: call your vet. `whorl notices read` marks them as read.",
        )
    })
}

/// What a notice says, with what became of it.
fn what(notice: &Notice) -> String {
    let text = notice.text.join(" ");
    let reason = notice.reason.as_deref();
    let why = reason.map_or_else(String::new, |why| format!(" ({why})"));
    match notice.state {
        State::Raised if notice.urgent => format!("URGENT: {text}"),
        State::Raised | State::Settled => text,
        State::Changed => format!("Amended{why}: {text}"),
        State::Withdrawn => format!("Withdrawn{why}. It had said: {}", capital(&text)),
    }
}
