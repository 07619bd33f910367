//! `whorl verify`: what a bundle proves. Needs no account, no network and no record of one's own.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use whorl_care::sentence::counted;
use whorl_contract::bundle::{LARGEST, Report, Unread, verify};
use whorl_contract::key::PublicKey;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// Check a history that came as a file, and say what it proves
///
/// Checks every signature, every content, the chain, the sealed places and the server's signed head. Needs no account and
/// no connection. Exit status: 0 it verifies, 5 it doesn't, 2 it is no such file.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file
    file: PathBuf,
    /// The key of the server that it should come from, as you know it by another way
    // One in sixty-four begins with a hyphen.
    #[arg(long, value_name = "KEY", allow_hyphen_values = true)]
    server_key: Option<PublicKey>,
}

impl Args {
    /// Checks the file.
    ///
    /// # Errors
    ///
    /// [`Failure::NotVerified`] if it doesn't verify; [`Failure::Input`] if it is no bundle.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let bytes = read(&self.file)?;
        let file = self.file.display();
        let report = verify(&bytes, self.server_key.as_ref()).map_err(|why| match why {
            Unread::NotABundle(why) => Failure::input(format!("{file}: {why}")),
            Unread::Damaged(_) => Failure::NotVerified(format!(
                "{file} does not verify: {why}. Rely on nothing in it"
            )),
        })?;
        desk.show(&report, || told(&report))?;
        if report.verified {
            return Ok(());
        }
        Err(Failure::NotVerified(format!(
            "{file} does not verify: {}. Rely on nothing in it",
            counted(report.faults.len(), "fault", "faults")
        )))
    }
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let failed = |error| Failure::input(format!("{} can't be read: {error}", path.display()));
    let most = u64::try_from(LARGEST).unwrap_or(u64::MAX);
    let mut bytes = Vec::new();
    File::open(path)
        .map_err(failed)?
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    Ok(bytes)
}

fn told(report: &Report) -> Sheet {
    let horse = report.horse.clone().unwrap_or_else(|| "a horse".to_owned());
    let sheet = Sheet::new();
    if !report.verified {
        let sheet = sheet.line("DOES NOT VERIFY").line("What is wrong:");
        return list(sheet, report.faults.iter().map(|fault| &fault.text));
    }
    let sheet = sheet
        .line(format!(
            "VERIFIED: the history of {horse} ({}), from {}",
            report.horse_id, report.server
        ))
        .line("\nProven:");
    let sheet = list(sheet, &report.proven);
    let signed = report.authors.iter().map(|one| {
        let licences = one.licences_in_words();
        vec![
            one.name.clone(),
            one.role.replace('_', " "),
            one.entries_in_words(),
            if licences.is_empty() {
                "–".to_owned()
            } else {
                licences
            },
        ]
    });
    let head = [
        "signed by",
        "as",
        "entries",
        "licence, as the server noted it",
    ];
    let withheld = report.withheld.words();
    let sheet = sheet
        .line("")
        .table(&head, signed, "No entry shows who signed it.")
        .line(format!(
            "\nWithheld: {}.",
            withheld.unwrap_or_else(|| "nothing".to_owned())
        ))
        .line("\nNot proven:");
    list(sheet, &report.not_proven)
}

fn list<'a>(sheet: Sheet, items: impl IntoIterator<Item = &'a String>) -> Sheet {
    let add = |sheet: Sheet, item: &String| sheet.line(format!("  - {item}"));
    items.into_iter().fold(sheet, add)
}

#[cfg(test)]
mod tests {
    use clap::Parser;
    use whorl_contract::key::SecretKey;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }

    #[test]
    fn a_key_that_begins_with_a_hyphen_is_taken_for_a_key() {
        let mut keys = (0..=u8::MAX).map(|n| SecretKey::from_seed(&[n; 32]).public());
        let key = keys
            .find(|key| key.to_string().starts_with('-'))
            .expect("one in sixty-four");
        let line = ["whorl", "herd.json", "--server-key", &key.to_string()];
        let read = Line::try_parse_from(line).expect("a key");
        assert_eq!(read.args.server_key, Some(key));
    }
}
