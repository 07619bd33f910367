//! Moving a record to another database, backing it up, and bringing it back.

use std::fs;
use std::path::{Path, PathBuf};

use whorl_store::carry::{self, Life, Progress};
use whorl_store::{Settings, Store, StoreError};

use crate::audit::{Audit, Broken, audit};
use crate::clock::Clock;
use crate::problem::Problem;

/// How far a job is.
#[derive(Debug)]
pub enum Step<'a> {
    /// Rows of a table are carried over.
    Carrying(Progress<'a>),
    /// So many entries are checked.
    Checking(u64),
}

/// Why it wasn't done.
#[derive(Debug, thiserror::Error)]
pub enum NotKept {
    /// The store failed, or the databases don't fit.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The record doesn't verify.
    #[error("the record doesn't verify: {0}")]
    Broken(#[from] Broken),
    /// A file can't be written or read.
    #[error("{path}: {why}")]
    File {
        /// Which.
        path: String,
        /// Why.
        why: std::io::Error,
    },
    /// There is a file in the way.
    #[error("{0} is there already; give another name")]
    InTheWay(String),
    /// No new epoch can be made.
    #[error("{0}")]
    Failed(String),
}

impl From<Problem> for NotKept {
    fn from(problem: Problem) -> Self {
        Self::Failed(problem.to_string())
    }
}

/// Checks a whole record. Blocks.
///
/// # Errors
///
/// [`NotKept`].
pub fn verify(url: &str, told: &mut dyn FnMut(Step<'_>)) -> Result<Audit, NotKept> {
    let store = Store::open(&Settings::of_job(url))?;
    let checked = audit(&store, &mut |events| told(Step::Checking(events)));
    store.close();
    Ok(checked?)
}

/// Moves a record into another, empty database, and checks it there. May be called again after it was interrupted; no server
/// may serve the source meanwhile or afterwards. Blocks.
///
/// # Errors
///
/// [`NotKept`]; the source is as it was.
pub fn move_record(from: &str, to: &str, told: &mut dyn FnMut(Step<'_>)) -> Result<Audit, NotKept> {
    carry::carry(from, to, &Life::GoesOn, &mut |step| {
        told(Step::Carrying(step));
    })?;
    verify(to, told)
}

/// Writes a backup: one SQLite file with the whole record as it stands at one moment, checked before it gets its name. The
/// server may go on meanwhile. The server's keys are not in it. Blocks.
///
/// # Errors
///
/// [`NotKept`]; nothing stands under the name then.
pub fn back_up(url: &str, file: &Path, told: &mut dyn FnMut(Step<'_>)) -> Result<Audit, NotKept> {
    if file.exists() {
        return Err(NotKept::InTheWay(file.display().to_string()));
    }
    let partial = beside(file, "partial");
    discard(&partial)?;
    let to = format!("sqlite://{}", partial.display());
    carry::carry(url, &to, &Life::PutBy, &mut |step| {
        told(Step::Carrying(step));
    })?;
    let checked = verify(&to, told)?;
    let failed = |why| NotKept::File {
        path: file.display().to_string(),
        why,
    };
    fs::File::open(&partial)
        .and_then(|file| file.sync_all())
        .map_err(failed)?;
    fs::rename(&partial, file).map_err(failed)?;
    // The name is durable when its folder is.
    let folder = file
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    fs::File::open(folder.unwrap_or(Path::new(".")))
        .and_then(|folder| folder.sync_all())
        .map_err(failed)?;
    discard(&partial)?;
    Ok(checked)
}

/// Brings a backup back into an empty database, as a new life of the ledger, so that the devices notice and send what came
/// after it once more. Blocks.
///
/// # Errors
///
/// [`NotKept`]; the backup is as it was.
pub fn restore(
    file: &Path,
    url: &str,
    clock: &Clock,
    told: &mut dyn FnMut(Step<'_>),
) -> Result<Audit, NotKept> {
    // An older backup is brought to today's tables on a copy.
    let copy = beside(file, "restoring");
    discard(&copy)?;
    fs::copy(file, &copy).map_err(|why| NotKept::File {
        path: file.display().to_string(),
        why,
    })?;
    let life = Life::Anew {
        epoch: crate::state::new_id(clock)?,
        began_at: clock.now().naive_utc(),
        reason: "restored from a backup".to_owned(),
    };
    let from = format!("sqlite://{}", copy.display());
    let carried = carry::carry(&from, url, &life, &mut |step| told(Step::Carrying(step)));
    discard(&copy)?;
    carried?;
    verify(url, told)
}

/// A file beside another.
fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".");
    name.push(ending);
    name.into()
}

/// Removes a SQLite file that is in the way, with those that belong to it.
fn discard(file: &Path) -> Result<(), NotKept> {
    for ending in ["", "-wal", "-shm", "-journal"] {
        let mut name = file.as_os_str().to_owned();
        name.push(ending);
        match fs::remove_file(&name) {
            Err(why) if why.kind() != std::io::ErrorKind::NotFound => {
                return Err(NotKept::File {
                    path: Path::new(&name).display().to_string(),
                    why,
                });
            }
            _ => {}
        }
    }
    Ok(())
}
