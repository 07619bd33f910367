//! `whorl export`: a horse's history as one signed file, for a buyer.

use std::path::{Path, PathBuf};

use whorl_care::sentence::counted;
use whorl_contract::bundle::{NewBundle, Report, verify};
use whorl_contract::path;
use whorl_contract::server::ServerInfo;

use super::sealing::Sealing;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::new_file::{self, Readers};
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
        new_file::check_free(&self.out)?;
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
        new_file::write(&self.out, &bytes, Readers::Usual)?;
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
