//! `whorl history`: what is on record of a horse, offline.

use chrono::NaiveDate;
use whorl_care::kind::Kind;
use whorl_care::sentence::{counted, words};
use whorl_contract::history::Standing;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::history::{self, Entry};
use crate::render::{Sheet, happened};
use crate::spreadsheet;

/// Show a horse's history: the log as last synced, and what waits in the outbox
///
/// Amendments, withdrawals and countersignatures are worked in; the latest comes first. Works without a connection.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// Only these kinds, such as `hoof_care`; may be given several times
    #[arg(long = "kind", value_name = "KIND", value_delimiter = ',', value_parser = kind)]
    kinds: Vec<Kind>,
    /// Only what happened on this day or later
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Only what happened on this day or earlier
    #[arg(long, value_name = "DATE")]
    until: Option<NaiveDate>,
    /// Show withdrawn entries as well
    #[arg(long)]
    retracted: bool,
    /// Answer with CSV for a spreadsheet
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

/// A kind with underscores or hyphens.
pub(super) fn kind(text: &str) -> Result<Kind, String> {
    let code = text.trim().replace('-', "_");
    code.parse::<Kind>().map_err(|error| error.to_string())
}

impl Args {
    /// Reads what is on this device.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let horse = herd::named(&mut conn, &self.horse)?;
        let mut entries = history::of_horse(&mut conn, horse.id)?;
        entries.retain(|entry| self.wants(entry));
        if self.csv {
            return desk.print(&csv(&entries)?);
        }
        let name = horse.label();
        desk.show(&entries, || table(&name, &entries))
    }

    fn wants(&self, entry: &Entry) -> bool {
        let day = entry.performed_at.map(|at| at.date_naive());
        let of_kind = |kind: &Kind| entry.kind.as_deref() == Some(kind.code());
        (self.retracted || entry.standing != Standing::Retracted)
            && (self.kinds.is_empty() || self.kinds.iter().any(of_kind))
            && self
                .from
                .is_none_or(|from| day.is_some_and(|day| day >= from))
            && self
                .until
                .is_none_or(|until| day.is_some_and(|day| day <= until))
    }
}

fn table(name: &str, entries: &[Entry]) -> Sheet {
    let rows = entries.iter().map(|entry| {
        vec![
            happened(entry.performed_at),
            entry.kind.as_deref().map_or_else(|| "–".to_owned(), words),
            told(entry),
            grade(entry),
            entry
                .id
                .map_or_else(|| "–".to_owned(), |id| tail(&id.to_string())),
        ]
    });
    Sheet::new().table(
        &["when", "kind", "what", "on whose word", "id ends in"],
        rows,
        &format!("Nothing is on record of {name} here."),
    )
}

/// The end of an id is enough to name it by.
pub(super) fn tail(id: &str) -> String {
    let from = id.len().saturating_sub(8);
    id.get(from..).unwrap_or(id).to_owned()
}

/// What an entry says, and what has become of it.
fn told(entry: &Entry) -> String {
    let mut lines = vec![entry.what.clone()];
    lines.extend(entry.note.as_ref().map(|note| format!("“{note}”")));
    match entry.attachments.len() {
        0 => {}
        files => lines.push(format!(
            "[{}]",
            counted(files, "photo or document", "photos or documents")
        )),
    }
    let reason = entry.reason.as_deref().unwrap_or_default();
    lines.extend(match entry.standing {
        Standing::AsRecorded => None,
        Standing::Amended => Some(format!("[amended: {reason}]")),
        Standing::Retracted => Some(format!("[WITHDRAWN: {reason}]")),
        Standing::Contested => Some(format!("[amended differently by two people: {reason}]")),
        Standing::Erased => Some(format!("[ERASED: {reason}]")),
    });
    lines.extend(match entry.state {
        Some("waiting") => Some("[waits for the next push]".to_owned()),
        Some("held") => Some("[held: its owner decides]".to_owned()),
        Some("refused") => Some("[REFUSED by the server; see `whorl outbox`]".to_owned()),
        _ => None,
    });
    lines.join(" ")
}

/// On whose word it stands.
fn grade(entry: &Entry) -> String {
    let Some(provenance) = entry.provenance else {
        return "–".to_owned();
    };
    let by = entry.author.as_ref().map(|name| format!(" by {name}"));
    let role = entry.role.map(|role| format!(" ({})", words(role.code())));
    let mut text = format!(
        "{provenance}{}{}",
        by.unwrap_or_default(),
        role.unwrap_or_default()
    );
    if let Some(performer) = &entry.performed_by {
        text = format!("{text}; done by {}", performer.name);
    }
    for one in &entry.countersignatures {
        text = format!(
            "{text}; countersigned by {} ({})",
            one.by,
            words(one.role.code())
        );
    }
    text
}

/// The columns of the server's own CSV, and the state in the outbox.
const COLUMNS: [&str; 15] = [
    "seq",
    "state",
    "id",
    "kind",
    "performed_at",
    "author",
    "role",
    "provenance",
    "standing",
    "performed_by",
    "licence",
    "countersigned_by",
    "reason",
    "note",
    "details",
];

fn csv(entries: &[Entry]) -> Result<Vec<u8>, Failure> {
    fn shown<T: ToString>(value: Option<T>) -> String {
        value.map(|value| value.to_string()).unwrap_or_default()
    }
    let rows = entries.iter().map(|entry| {
        let standing = serde_json::to_value(entry.standing).unwrap_or_default();
        let vouched: Vec<String> = entry
            .countersignatures
            .iter()
            .map(|one| format!("{} ({})", one.by, one.role))
            .collect();
        let performer = entry.performed_by.as_ref();
        [
            shown(entry.seq),
            shown(entry.state),
            shown(entry.id),
            shown(entry.kind.as_ref()),
            shown(entry.performed_at.map(|at| at.to_rfc3339())),
            shown(entry.author.as_ref()),
            shown(entry.role),
            shown(entry.provenance),
            standing.as_str().unwrap_or_default().to_owned(),
            shown(performer.map(|by| &by.name)),
            shown(performer.and_then(|by| by.licence.as_ref())),
            vouched.join("; "),
            shown(entry.reason.as_ref()),
            shown(entry.note.as_ref()),
            shown(entry.details.as_ref()),
        ]
    });
    spreadsheet::csv(COLUMNS, rows)
}
