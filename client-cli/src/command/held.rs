//! `whorl held`: entries that wait for an owner's word.

use serde_json::json;
use whorl_contract::event::Content;
use whorl_contract::path;
use whorl_contract::sync::{HeldDecision, HeldEvent, Outcome};

use super::pick;
use crate::desk::Desk;
use crate::failure::{Failure, words};
use crate::render::{Sheet, happened};
use crate::sync::label;
use whorl_care::sentence;

/// List entries that wait for your word, and accept or refuse them
///
/// An entry is held if it was made while its author had a grant and came to the server after the grant had ended.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// List them
    List,
    /// Let one into the log
    Accept {
        /// Its id, or the beginning or end of it
        id: String,
    },
    /// Keep one out of the log
    Refuse {
        /// Its id, or the beginning or end of it
        id: String,
    },
}

impl Args {
    /// Lists, accepts or refuses.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let all: Vec<HeldEvent> = remote.list(path::HELD)?;
        let (id, accept) = match self.what {
            None | Some(What::List) => return list(desk, &all),
            Some(What::Accept { id }) => (id, true),
            Some(What::Refuse { id }) => (id, false),
        };
        let id = pick(all.iter().map(|one| one.id), &id, "held entry")?;
        let outcome: Outcome = remote.post(&path::held(id), &HeldDecision { accept })?;
        match outcome {
            Outcome::Refused { problem } if accept => Err(Failure::Refused(
                format!("it can't enter the log: {}", words(&problem)),
                Some(problem),
            )),
            outcome => desk.show(&json!({"id": id, "outcome": outcome}), || {
                Sheet::new().line(if accept {
                    "It is in the log now."
                } else {
                    "It stays out of the log; its author is told."
                })
            }),
        }
    }
}

fn list(desk: &mut Desk<'_, '_>, all: &[HeldEvent]) -> Result<(), Failure> {
    let mut conn = desk.database()?;
    let rows: Vec<Vec<String>> = all
        .iter()
        .map(|one| {
            let opened = one.event.open().ok();
            let kind = opened.as_ref().map(|opened| opened.envelope.kind);
            let content = serde_json::from_str::<Content>(one.event.content.get()).ok();
            let details = kind.zip(content);
            let details = details.map(|(kind, content)| sentence::of(kind, &content.details));
            vec![
                label(&mut conn, one.horse_id),
                kind.map_or_else(|| "–".to_owned(), |kind| sentence::words(kind.code())),
                happened(opened.map(|opened| opened.envelope.performed_at)),
                one.author_name.clone(),
                one.reason.clone(),
                details.unwrap_or_default(),
                one.id.to_string(),
            ]
        })
        .collect();
    desk.show(&all, || {
        let head = ["horse", "what", "when", "by", "why held", "details", "id"];
        Sheet::new().table(&head, rows, "Nothing waits for your word.")
    })
}
