//! The field client as people run it: the real program, in a folder of its own.

use std::process::{Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use crate::Person;
use crate::process::program;

/// A person's device with the program `whorl`.
pub struct FieldDevice {
    folder: TempDir,
    password: String,
}

impl FieldDevice {
    /// A new device that joins the server at `url` for a person.
    ///
    /// # Panics
    ///
    /// If it can't join.
    #[must_use]
    pub fn join(person: &Person, url: &str) -> Self {
        let device = Self {
            folder: TempDir::new().expect("a folder"),
            password: person.password.clone(),
        };
        let joined = device.run(&[
            "join",
            url,
            "--email",
            &person.email,
            "--device",
            "phone in the truck",
        ]);
        assert!(joined.status.success(), "{joined:?}");
        device
    }

    /// The program with these arguments, to be run.
    #[must_use]
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = program("whorl");
        command
            .args(args)
            .env("WHORL_HOME", self.folder.path().join("whorl"))
            .env("WHORL_PASSWORD", &self.password)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    /// Runs it to its end.
    ///
    /// # Panics
    ///
    /// If the program isn't there.
    #[must_use]
    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().expect("the program runs")
    }

    /// Runs a command for a program: its exit status, and the JSON that it answers.
    ///
    /// # Panics
    ///
    /// If it answers none.
    #[must_use]
    pub fn ask(&self, args: &[&str]) -> (i32, Value) {
        let done = self.run(&[&["--json"], args].concat());
        let answer = serde_json::from_slice(&done.stdout);
        let answer = answer.unwrap_or_else(|error| panic!("{args:?}: {error}: {done:?}"));
        (done.status.code().unwrap_or(-1), answer)
    }

    /// Where a file of this name is in its folder, or may be written.
    #[must_use]
    pub fn place(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    /// Writes a file into its folder and answers where it is.
    ///
    /// # Panics
    ///
    /// If it can't be written.
    #[must_use]
    pub fn file(&self, name: &str, text: &str) -> String {
        self.file_of(name, text.as_bytes())
    }

    /// The same for any bytes.
    ///
    /// # Panics
    ///
    /// If it can't be written.
    #[must_use]
    pub fn file_of(&self, name: &str, bytes: &[u8]) -> String {
        let place = self.place(name);
        std::fs::write(&place, bytes).expect("written");
        place
    }
}
