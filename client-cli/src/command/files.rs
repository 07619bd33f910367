//! `whorl files`: the photos and documents of an entry.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_contract::event::AttachmentRef;
use whorl_contract::path;

use super::show::entry;
use crate::attachments::sha256;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::home::Home;
use crate::new_file::{self, Readers};
use crate::render::Sheet;

/// Save the photos and documents of an entry into a folder
///
/// What this device holds is taken from here; the rest is fetched from the server. Each file is checked against the
/// hash that the entry's author signed, and a file that is there already is never written over.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The entry's id, or the beginning or end of it
    id: String,
    /// Where to save them
    #[arg(long, value_name = "DIR", default_value = ".")]
    into: PathBuf,
}

impl Args {
    /// Saves the files.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or no such folder; [`Failure::NotVerified`] if the server gave
    /// something else than what was signed.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let (horse, entry) = entry(&mut desk.database()?, &self.id)?;
        let home = desk.home()?;
        if !self.into.is_dir() {
            let folder = self.into.display();
            return Err(Failure::input(format!("there is no folder {folder}")));
        }
        let mut saved = Vec::new();
        for file in &entry.attachments {
            let bytes = bytes(desk, &home, horse, file)?;
            saved.push((save(&self.into, file, &bytes)?, file));
        }
        let list: Vec<_> = saved
            .iter()
            .map(|(path, file)| json!({"path": path, "file": file}))
            .collect();
        desk.show(&list, || {
            let rows = saved.iter().map(|(path, file)| {
                let caption = file.caption.clone().unwrap_or_default();
                vec![path.display().to_string(), caption]
            });
            Sheet::new().table(
                &["saved as", "shows"],
                rows,
                "No file belongs to this entry.",
            )
        })
    }
}

/// A file's bytes, as its author had them.
fn bytes(
    desk: &mut Desk<'_, '_>,
    home: &Home,
    horse: HorseId,
    file: &AttachmentRef,
) -> Result<Vec<u8>, Failure> {
    let is_it = |bytes: &Vec<u8>| sha256(bytes) == file.sha256;
    if let Some(bytes) = std::fs::read(home.attachment(&file.sha256)?)
        .ok()
        .filter(is_it)
    {
        return Ok(bytes);
    }
    let bytes = desk
        .remote()?
        .download(&path::attachment(horse, &file.sha256))?;
    if is_it(&bytes) {
        return Ok(bytes);
    }
    Err(Failure::NotVerified(format!(
        "what the server gave for {} is not what the author signed; nothing was saved of it",
        file.sha256
    )))
}

/// Writes a file under a name that tells it from others, and leaves one alone that is there.
fn save(folder: &Path, file: &AttachmentRef, bytes: &[u8]) -> Result<PathBuf, Failure> {
    let ending = match file.media_type.as_str() {
        "image/jpeg" => "jpg",
        "image/png" => "png",
        "image/webp" => "webp",
        _ => "pdf",
    };
    let name: String = file.sha256.chars().take(16).collect();
    let path = folder.join(format!("{name}.{ending}"));
    let failed = |error: std::io::Error| Failure::Device(format!("{}: {error}", path.display()));
    match new_file::create(&path, bytes, Readers::Usual) {
        Ok(()) => {}
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            if std::fs::read(&path).map_err(failed)? != bytes {
                let path = path.display();
                return Err(Failure::input(format!(
                    "{path} is there already and holds something else; move it away, or give another folder"
                )));
            }
        }
        Err(error) => return Err(failed(error)),
    }
    Ok(path)
}
