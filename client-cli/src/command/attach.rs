//! `whorl attach`: take a photo or document into the client's folder.

use std::path::PathBuf;

use crate::attachments;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// Take a photo or document into the client's folder, ready to be named in an entry
///
/// A JPEG, PNG, WebP or PDF file of at most 16 MiB. The commands that record something take --photo FILE and do this
/// themselves; the file goes to the server with the entry that names it. Where and when a photo was taken, and all else
/// that the camera wrote beside the picture, is taken off before.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file
    file: PathBuf,
    /// What it shows
    #[arg(long)]
    caption: Option<String>,
    /// Leave what the camera wrote beside the picture: where and when it was taken, and with what
    #[arg(long)]
    photo_as_it_is: bool,
}

impl Args {
    /// Copies the file; needs no network.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if it is of no type that is taken, or too large.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let copied =
            attachments::copy(&desk.home()?, &self.file, self.caption, self.photo_as_it_is)?;
        if let Some(told) = &copied.taken_off {
            desk.say(told);
        }
        let file = copied.file;
        desk.show(&file, || {
            Sheet::new().line(format!(
                "{} ({}, {} bytes)",
                file.sha256, file.media_type, file.bytes
            ))
        })
    }
}
