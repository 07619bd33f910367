//! A history as a table for spreadsheets (RFC 4180).

use serde_json::Value;
use whorl_contract::history::{HistoryEntry, Standing};

use crate::problem::Problem;

const COLUMNS: [&str; 14] = [
    "seq",
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

/// The entries as CSV, one a line, with a heading.
///
/// # Errors
///
/// A problem if it can't be written, which no text of ours is.
pub(crate) fn table(entries: &[HistoryEntry]) -> Result<Vec<u8>, Problem> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(Problem::internal)?;
    for entry in entries {
        writer
            .write_record(row(entry).map(|cell| tame(&cell)))
            .map_err(Problem::internal)?;
    }
    writer.into_inner().map_err(Problem::internal)
}

fn row(entry: &HistoryEntry) -> [String; 14] {
    let shown = |value: Option<String>| value.unwrap_or_default();
    let standing = match entry.standing {
        Standing::AsRecorded => "as_recorded",
        Standing::Amended => "amended",
        Standing::Retracted => "retracted",
        Standing::Contested => "contested",
        Standing::Erased => "erased",
    };
    let vouched: Vec<String> = entry
        .countersignatures
        .iter()
        .map(|one| format!("{} ({})", one.by, one.role))
        .collect();
    [
        entry.seq.to_string(),
        shown(entry.id.map(|id| id.to_string())),
        shown(entry.kind.map(|kind| kind.to_string())),
        shown(entry.performed_at.map(|at| at.to_rfc3339())),
        shown(entry.author.clone()),
        shown(entry.role.map(|role| role.to_string())),
        shown(entry.provenance.map(|provenance| provenance.to_string())),
        standing.to_owned(),
        shown(entry.performed_by.as_ref().map(|by| by.name.clone())),
        shown(
            entry
                .performed_by
                .as_ref()
                .and_then(|by| by.licence.clone()),
        ),
        vouched.join("; "),
        shown(entry.reason.clone()),
        shown(entry.note.clone()),
        shown(entry.details.as_ref().map(Value::to_string)),
    ]
}

/// Keeps a spreadsheet from taking a cell for a formula: such a cell begins with an apostrophe, as spreadsheets mark text.
fn tame(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::tame;

    #[test]
    fn no_cell_begins_a_formula() {
        for cell in ["=1+1", "+1", "-1", "@cmd", "\t=1", "\0"] {
            assert!(tame(cell).starts_with('\''), "{cell:?}");
        }
        assert_eq!(tame("Plover"), "Plover");
    }
}
