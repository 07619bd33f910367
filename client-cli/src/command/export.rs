//! `whorl export`: a horse's history as one signed file, for a buyer.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use whorl_care::sentence::counted;
use whorl_contract::bundle::{NewBundle, Report, verify};
use whorl_contract::path;
use whorl_contract::server::ServerInfo;

use super::sealing::Sealing;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;
use crate::{herd, server_key};

/// Write a horse's history into one signed file that anyone can check
///
/// You have to own the horse. What you keep back stays in the file as a sealed place: the reader sees that something is
/// there, and that nothing was left out unseen. What amends or withdraws an entry is kept back with it, and only with it.
/// Photos and documents are not in the file; `whorl files` saves them.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// The file to write; one that is there is never written over
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    sealing: Sealing,
}

impl Args {
    /// Fetches the file, checks it, and writes it.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the horse isn't yours; [`Failure::NotVerified`] if what the server made doesn't verify.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let horse = herd::named(&mut conn, &self.horse)?;
        check_free(&self.out)?;
        let new = NewBundle {
            seal: self.sealing.seal(),
        };
        let mut remote = desk.remote()?;
        let info: ServerInfo = remote.get_anonymously(path::SERVER)?;
        if let Some(notice) = server_key::follow(&mut conn, &info)? {
            desk.say(&notice);
        }
        let bytes = remote.post_for_file(&path::bundle(horse.id), &new)?;
        let known = server_key::known(&mut conn)?;
        let report = verify(&bytes, known.as_ref())
            .map_err(|why| Failure::NotVerified(format!("what the server made: {why}")))?;
        if !report.verified || report.horse_id != horse.id {
            return Err(Failure::NotVerified(format!(
                "what the server made of {} doesn't verify; nothing was written",
                horse.label()
            )));
        }
        write(&self.out, &bytes, OpenOptions::new())?;
        desk.show(&report, || told(&self.out, bytes.len(), &report))
    }
}

fn told(out: &Path, bytes: usize, report: &Report) -> Sheet {
    let withheld = report.withheld.words();
    Sheet::new()
        .line(format!(
            "Wrote {} ({bytes} bytes): {}, withheld: {}.",
            out.display(),
            counted(report.entries, "entry", "entries"),
            withheld.unwrap_or_else(|| "nothing".to_owned())
        ))
        .line(format!(
            "Whoever has it runs `whorl verify FILE --server-key {}`; tell them the key by another way than the file.",
            report.server_key
        ))
}

/// Looks whether a file's name is free, before anything is fetched for it.
///
/// # Errors
///
/// [`Failure::Input`] if it isn't.
pub(super) fn check_free(out: &Path) -> Result<(), Failure> {
    if out.exists() {
        return Err(taken(out));
    }
    Ok(())
}

fn taken(out: &Path) -> Failure {
    let out = out.display();
    Failure::input(format!(
        "{out} is there already; give another name, or move it away"
    ))
}

/// Writes a new file, whole and for good; `how` says who may read it.
///
/// # Errors
///
/// [`Failure::Input`] if it is there already; [`Failure::Device`] if it can't be written.
pub(super) fn write(out: &Path, bytes: &[u8], mut how: OpenOptions) -> Result<(), Failure> {
    let failed = |error: std::io::Error| Failure::file(out.display(), &error);
    match how.write(true).create_new(true).open(out) {
        Ok(mut place) => place
            .write_all(bytes)
            .and_then(|()| place.sync_all())
            .map_err(failed),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(taken(out)),
        Err(error) => Err(failed(error)),
    }
}
