//! A file that is written once, whole and for good, and never over another.

use std::fs::OpenOptions;
use std::io::{self, ErrorKind, Write as _};
use std::path::Path;

use crate::failure::Failure;

/// Who may read a file, where the system knows people apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Readers {
    /// Whoever the person's own settings let.
    Usual,
    /// The person alone.
    Owner,
}

/// Looks whether a file's name is free, before anything is fetched for it.
///
/// # Errors
///
/// [`Failure::Input`] if it isn't.
pub fn check_free(path: &Path) -> Result<(), Failure> {
    if path.exists() {
        return Err(taken(path));
    }
    Ok(())
}

/// Writes a file.
///
/// # Errors
///
/// [`Failure::Input`] if it is there already; [`Failure::Device`] if it can't be written.
pub fn write(path: &Path, bytes: &[u8], readers: Readers) -> Result<(), Failure> {
    create(path, bytes, readers).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => taken(path),
        _ => Failure::file(path.display(), &error),
    })
}

/// Writes a file, for those who know better than [`write()`] what to say if it is there.
///
/// # Errors
///
/// [`io::Error`]; of the kind [`ErrorKind::AlreadyExists`] if it is there.
pub fn create(path: &Path, bytes: &[u8], readers: Readers) -> io::Result<()> {
    let mut how = OpenOptions::new();
    how.write(true).create_new(true);
    #[cfg(unix)]
    if readers == Readers::Owner {
        std::os::unix::fs::OpenOptionsExt::mode(&mut how, 0o600);
    }
    let mut file = how.open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn taken(path: &Path) -> Failure {
    let path = path.display();
    Failure::input(format!(
        "{path} is there already; give another name, or move it away"
    ))
}
