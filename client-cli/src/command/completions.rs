//! `whorl completions` and `whorl man`: what a shell and a reader want.

use std::path::PathBuf;

use clap::CommandFactory;
use clap_complete::Shell;
use serde_json::json;

use super::Cli;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// Print the completions for a shell
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The shell
    shell: Shell,
}

impl Args {
    /// Prints the script.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the output can't be written.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "whorl", &mut script);
        desk.print(&script)
    }
}

/// Write the manual pages into a folder
#[derive(Debug, clap::Args)]
pub struct ManArgs {
    /// The folder
    folder: PathBuf,
}

impl ManArgs {
    /// Writes a page for each command.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if they can't be written.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let folder = self.folder;
        std::fs::create_dir_all(&folder)
            .and_then(|()| clap_mangen::generate_to(Cli::command(), &folder))
            .map_err(|error| Failure::file(folder.display(), &error))?;
        let place = folder.display().to_string();
        desk.show(&json!({"folder": place}), || {
            Sheet::new().line(format!(
                "The manual is in {place}; read it with `man {place}/whorl.1`."
            ))
        })
    }
}
