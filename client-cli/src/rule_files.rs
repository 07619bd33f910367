//! The rules in force on this device: those of the program, with an operator's folder laid over them.

use std::fs;
use std::path::Path;

use whorl_care::rules::Rules;

use crate::failure::Failure;

/// The rules, with the `.toml` files of a folder laid over them in the order of their names.
///
/// # Errors
///
/// [`Failure::Input`] if the folder can't be read, or with file, line and reason if a pack in it is wrong.
pub fn load(folder: Option<&Path>) -> Result<Rules, Failure> {
    let files = folder.map(read).transpose()?.unwrap_or_default();
    Rules::with(&files).map_err(|wrong| Failure::input(wrong.to_string()))
}

fn read(folder: &Path) -> Result<Vec<(String, String)>, Failure> {
    let unreadable = |path: &Path, error: std::io::Error| {
        Failure::input(format!(
            "the rules in {} can't be read: {error}",
            path.display()
        ))
    };
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(|error| unreadable(folder, error))? {
        let path = entry.map_err(|error| unreadable(folder, error))?.path();
        if path.extension().is_some_and(|end| end == "toml") {
            paths.push(path);
        }
    }
    paths.sort();
    let files = paths.into_iter().map(|path| {
        let text = fs::read_to_string(&path).map_err(|error| unreadable(&path, error))?;
        Ok((path.display().to_string(), text))
    });
    files.collect()
}
