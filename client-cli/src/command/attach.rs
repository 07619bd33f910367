//! `whorl attach`: take a photo or document into the client's folder.

use std::path::PathBuf;

use crate::attachments;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// Take a photo or document into the client's folder, ready to be named in an entry
///
/// A JPEG, PNG, WebP or PDF file of at most 16 MiB. The commands that record something take --photo FILE and do this
/// themselves; the file goes to the server with the entry that names it.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file
    file: PathBuf,
    /// What it shows
    #[arg(long)]
    caption: Option<String>,
}

impl Args {
    /// Copies the file; needs no network.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if it is of no type that is taken, or too large.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let file = attachments::copy(&desk.home()?, &self.file, self.caption)?;
        desk.show(&file, || {
            Sheet::new().line(format!(
                "{} ({}, {} bytes)",
                file.sha256, file.media_type, file.bytes
            ))
        })
    }
}
