//! `whorl export-account`: all that the server has of an account, in one file.

use std::path::PathBuf;

use serde::Serialize;
use whorl_care::sentence::counted;
use whorl_contract::account_export::AccountExport;
use whorl_contract::path;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::new_file::{self, Readers};
use crate::render::Sheet;

/// Write all that the server has of your account into one file
///
/// What you set up, whom you let in, what you read, the whole logs of your own horses, and of others' the entries that you signed. No
/// password, token, code or secret of a link is in it, and no photo or document itself; `whorl files` saves those. The file can be read by
/// you alone: it tells much, so keep it where nobody else looks.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file to write; one that is there is never written over
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

/// What was written.
#[derive(Debug, Serialize)]
struct Written {
    file: PathBuf,
    bytes: usize,
    horses: usize,
    entries: usize,
}

impl Args {
    /// Fetches the file and writes it.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] if it doesn't come whole: then nothing is written.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        new_file::check_free(&self.out)?;
        let bytes = desk.remote()?.get_for_file(path::ACCOUNT_EXPORT)?;
        let export = serde_json::from_slice::<AccountExport>(&bytes);
        let export = export.ok().filter(|export| export.whole).ok_or_else(|| {
            Failure::Offline(
                "what came is not all there; nothing was written, try again".to_owned(),
            )
        })?;
        new_file::write(&self.out, &bytes, Readers::Owner)?;
        let written = Written {
            bytes: bytes.len(),
            horses: export.own.horses.len(),
            entries: export.events.len(),
            file: self.out,
        };
        desk.show(&written, || {
            Sheet::new().line(format!(
                "Wrote {} ({} bytes): {}, {}.",
                written.file.display(),
                written.bytes,
                counted(written.horses, "horse of yours", "horses of yours"),
                counted(written.entries, "entry", "entries"),
            ))
        })
    }
}
