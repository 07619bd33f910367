//! `whorl show`: one entry whole.

use diesel::sqlite::SqliteConnection;
use serde_json::{Value, json};
use whorl_care::ids::HorseId;

use super::pick;
use whorl_care::sentence::words;

use crate::care_log;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::history::{self, Entry};
use crate::render::Sheet;
use crate::sync::label;

/// Show one entry whole: every field, who vouches for it, and what was said about it since
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Its id, or the beginning or end of it
    id: String,
}

impl Args {
    /// Reads what is on this device.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or if several fit.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let (horse, entry) = entry(&mut conn, &self.id)?;
        let name = label(&mut conn, horse);
        desk.show(
            &json!({"horse": name, "horse_id": horse, "entry": entry}),
            || sheet(&name, &entry),
        )
    }
}

/// The entry that a person means by its id, that of what corrects it, or a part of these.
///
/// # Errors
///
/// [`Failure::Input`] if there is no such entry, or if several fit.
pub(super) fn entry(conn: &mut SqliteConnection, id: &str) -> Result<(HorseId, Entry), Failure> {
    let id = pick(care_log::ids(conn)?.into_iter(), id, "entry")?;
    let horse = care_log::horse_of(conn, id)?
        .ok_or_else(|| Failure::input(format!("there is no entry {id} on this device")))?;
    let about = |entry: &Entry| {
        entry.id == Some(id)
            || entry.amended_by.contains(&id)
            || entry.retracted_by == Some(id)
            || entry.countersignatures.iter().any(|one| one.event_id == id)
    };
    let entry = history::of_horse(conn, horse)?
        .into_iter()
        .find(about)
        .ok_or_else(|| {
            Failure::input(format!("the entry {id} is superseded; see `whorl history`"))
        })?;
    Ok((horse, entry))
}

fn sheet(horse: &str, entry: &Entry) -> Sheet {
    let shown = |value: Option<String>| value.unwrap_or_else(|| "–".to_owned());
    let mut facts = vec![
        ("id", shown(entry.id.map(|id| id.to_string()))),
        ("horse", horse.to_owned()),
        ("kind", shown(entry.kind.as_deref().map(words))),
        ("what", entry.what.clone()),
        ("when", shown(entry.performed_at.map(|at| at.to_rfc3339()))),
        (
            "written down",
            shown(entry.recorded_at.map(|at| at.to_rfc3339())),
        ),
        ("by", shown(entry.author.clone())),
        ("as", shown(entry.role.map(|role| words(role.code())))),
        ("grade", shown(entry.provenance.map(|one| one.to_string()))),
    ];
    if let Some(performer) = &entry.performed_by {
        let licence = performer
            .licence
            .as_ref()
            .map(|number| format!(", licence {number}"));
        facts.push((
            "done by",
            performer.name.clone() + &licence.unwrap_or_default(),
        ));
    }
    if let Some(note) = &entry.note {
        facts.push(("note", note.clone()));
    }
    for file in &entry.attachments {
        let caption = file.caption.as_ref().map(|text| format!(": {text}"));
        facts.push((
            "file",
            format!(
                "{} {}{}",
                file.sha256,
                file.media_type,
                caption.unwrap_or_default()
            ),
        ));
    }
    let place = match (entry.seq, entry.state) {
        (Some(seq), _) => format!("entry {seq} of the log"),
        (None, Some(state)) => format!("in the outbox: {state}"),
        (None, None) => "–".to_owned(),
    };
    facts.push(("where", place));
    if let Some(visit) = entry.visit_id {
        facts.push(("trip", visit.to_string()));
    }
    for id in &entry.amended_by {
        facts.push(("amended by", id.to_string()));
    }
    if let Some(id) = entry.retracted_by {
        facts.push(("WITHDRAWN by", id.to_string()));
    }
    if let Some(reason) = &entry.reason {
        facts.push(("reason", reason.clone()));
    }
    for one in &entry.countersignatures {
        let statement = one.statement.as_deref().unwrap_or_default();
        facts.push((
            "countersigned by",
            format!("{} ({}): {statement}", one.by, words(one.role.code())),
        ));
    }
    let mut rows = Vec::new();
    if let Some(details) = &entry.details {
        leaves("", details, &mut rows);
    }
    Sheet::new()
        .facts(facts)
        .table(&["field", "value"], rows, "Its details may not be seen.")
}

/// Every value with its path, as `--set` takes it.
fn leaves(path: &str, value: &Value, rows: &mut Vec<Vec<String>>) {
    let below = |name: &str| {
        if path.is_empty() {
            name.to_owned()
        } else {
            format!("{path}.{name}")
        }
    };
    match value {
        Value::Object(fields) if !fields.is_empty() => {
            for (name, value) in fields {
                leaves(&below(name), value, rows);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (n, item) in items.iter().enumerate() {
                leaves(&below(&n.to_string()), item, rows);
            }
        }
        Value::Array(items) => {
            let items = items.iter().map(|item| {
                item.as_str()
                    .map_or_else(|| item.to_string(), str::to_owned)
            });
            rows.push(vec![path.to_owned(), items.collect::<Vec<_>>().join(", ")]);
        }
        Value::String(text) => rows.push(vec![path.to_owned(), text.clone()]),
        other => rows.push(vec![path.to_owned(), other.to_string()]),
    }
}
