//! The columns of a sheet: those that stand beside the details of any kind, and the paths of details.

use std::path::Path;

use serde_json::{Map, Value};
use whorl_care::kind::{Kind, Role};

use super::{Line, Place, Wrong};
use crate::form::Form;
use crate::jotting::Beside;

/// The columns that are no details.
pub(super) const BESIDE: &[&str] = &[
    "kind",
    "horse",
    "at",
    "note",
    "performed_by",
    "licence",
    "role",
    "transcribed",
    "photos",
];

/// A column's name as it is compared.
pub(super) fn plain(name: &str) -> String {
    name.trim().replace('-', "_")
}

/// Whether it stands beside the details.
pub(super) fn is_beside(name: &str) -> bool {
    BESIDE.contains(&plain(name).to_lowercase().as_str())
}

/// The path into the details that a column names. `LF.toe` is short for the toe after the work.
pub(super) fn path(kind: Kind, column: &str) -> String {
    let column = plain(column);
    let form = Form::of(kind);
    if form.knows(&column) {
        return column;
    }
    let Some((foot, rest)) = column.split_once('.') else {
        return column;
    };
    let tries = [
        format!("feet.{foot}.{rest}"),
        format!("feet.{foot}.after.{rest}"),
    ];
    let known = tries.into_iter().find(|path| form.knows(path));
    known.unwrap_or(column)
}

/// Whether a kind has the column.
pub(super) fn knows(kind: Kind, column: &str) -> bool {
    is_beside(column) || Form::of(kind).knows(&path(kind, column))
}

/// Sets what stands beside the details. An empty text is nothing.
pub(super) fn beside(line: &mut Line, name: &str, text: &str, folder: &Path) -> Result<(), String> {
    let beside: &mut Beside = &mut line.beside;
    let given = || Some(text.to_owned());
    match plain(name).to_lowercase().as_str() {
        "horse" => text.clone_into(&mut line.horse),
        "at" => beside.at = given(),
        "note" => beside.note = given(),
        "performed_by" => beside.performed_by = given(),
        "licence" => beside.licence = given(),
        "role" => beside.role = Some(text.parse::<Role>().map_err(|error| error.to_string())?),
        "transcribed" => {
            beside.transcribed = match text.to_lowercase().as_str() {
                "yes" | "y" | "true" | "x" => true,
                "no" | "n" | "false" => false,
                _ => return Err(format!("`{text}` is neither yes nor no")),
            };
        }
        "photos" => {
            let names = text
                .split(';')
                .map(str::trim)
                .filter(|name| !name.is_empty());
            beside.photos = names.map(|name| folder.join(name)).collect();
        }
        _ => {}
    }
    Ok(())
}

/// Sets a detail from a text, and notes where it stands. A field that is given twice is a fault.
pub(super) fn detail(line: &mut Line, column: &str, text: &str) -> Result<(), String> {
    let form = Form::of(line.kind);
    let path = path(line.kind, column);
    let mut alone = Map::new();
    form.set(&mut alone, &path, text)?;
    line.places.extend(form.pointer(&path).map(|pointer| Place {
        pointer,
        line: line.number,
        column: column.trim().to_owned(),
    }));
    merge(&mut line.details, alone)
}

fn merge(details: &mut Map<String, Value>, new: Map<String, Value>) -> Result<(), String> {
    for (name, value) in new {
        match (details.get_mut(&name), value) {
            (Some(Value::Object(old)), Value::Object(new)) => merge(old, new)?,
            (Some(_), _) => return Err(format!("{name} is given twice")),
            (None, value) => drop(details.insert(name, value)),
        }
    }
    Ok(())
}

/// The kind that a text names, with underscores or hyphens; a farrier's service alone means `hoof_care`.
pub(super) fn kind(text: &str) -> Result<Kind, String> {
    let code = plain(text).to_lowercase();
    let kind: Kind = code.parse().map_err(|error| format!("{error}"))?;
    if kind.is_about_another() {
        return Err(format!(
            "{kind} is about an earlier entry; there is a command of its own for it"
        ));
    }
    Ok(kind)
}

/// A fault of a whole line.
pub(super) fn no_kind(number: usize) -> Wrong {
    Wrong::new(
        number,
        "kind",
        "it is missing: name the kind in a column, or for the whole sheet with --kind",
    )
}
