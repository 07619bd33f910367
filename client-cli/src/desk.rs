//! What a command works with: the world, the client's folder and database, and the way to answer and to ask.

use std::io;

use chrono::FixedOffset;
use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use whorl_care::rules::Rules;

use crate::database;
use crate::failure::Failure;
use crate::home::Home;
use crate::progress::Progress;
use crate::remote::Remote;
use crate::render::{Sheet, one_line};
use crate::rule_files;
use crate::world::{Machine, World};

/// One run of one command.
pub struct Desk<'w, 'a> {
    /// The world outside.
    pub world: &'w mut World<'a>,
    json: bool,
    progress: Option<Progress>,
}

impl<'w, 'a> Desk<'w, 'a> {
    /// A desk; `json` answers programs instead of people.
    pub fn new(world: &'w mut World<'a>, json: bool) -> Self {
        Self {
            world,
            json,
            progress: None,
        }
    }

    /// Whether a program reads the answer.
    #[must_use]
    pub fn is_json(&self) -> bool {
        self.json
    }

    /// Clock, randomness, sleep.
    #[must_use]
    pub fn machine(&self) -> Machine<'a> {
        self.world.machine
    }

    /// The offset of the wall clock here.
    #[must_use]
    pub fn here(&self) -> FixedOffset {
        *self.machine().now().offset()
    }

    /// The rules in force: the program's, and the operator's.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] with file, line and reason if a file of the operator's is wrong.
    pub fn rules(&self) -> Result<Rules, Failure> {
        rule_files::load(self.world.rules.as_deref())
    }

    /// The client's folder.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be made or others can look into it.
    pub fn home(&self) -> Result<Home, Failure> {
        let folder = self.world.home.as_deref().ok_or_else(|| {
            Failure::input("set WHORL_HOME to the folder where whorl keeps its record")
        })?;
        Home::open(folder)
    }

    /// The client's database.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be opened.
    pub fn database(&self) -> Result<SqliteConnection, Failure> {
        database::open(&self.home()?.database())
    }

    /// The server that this folder belongs to. Only one command at a time holds it.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] before `join`; [`Failure::Device`] if another command is talking with the server.
    pub fn remote(&self) -> Result<Remote<'a>, Failure> {
        Remote::member(&self.home()?, self.machine())
    }

    /// Answers: `answer` as JSON to a program, the sheet to a person.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the output can't be written. A reader that went away is no error.
    pub fn show(
        &mut self,
        answer: &impl Serialize,
        sheet: impl FnOnce() -> Sheet,
    ) -> Result<(), Failure> {
        let text = if self.json {
            serde_json::to_string_pretty(answer)
                .map_err(|error| Failure::Device(error.to_string()))?
                + "\n"
        } else {
            sheet().text(self.world.width)
        };
        self.print(text.as_bytes())
    }

    /// Answers with bytes that are what they are: a script, a page of a manual, a document.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the output can't be written. A reader that went away is no error.
    pub fn print(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        let written = self
            .world
            .out
            .write_all(bytes)
            .and_then(|()| self.world.out.flush());
        match written {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Failure::file("the output", &error))
            }
            _ => Ok(()),
        }
    }

    /// Says something beside the answer: a warning, what happens now. One line.
    pub fn say(&mut self, text: &str) {
        // Nobody is lost if nobody listens.
        let _ = writeln!(self.world.err, "{}", one_line(text));
    }

    /// Shows a person how far something long has come.
    pub fn progress(&mut self, what: &'static str, done: u64, of: u64) {
        if self.json {
            return;
        }
        let watched = self.world.watched;
        self.progress
            .get_or_insert_with(|| Progress::new(watched))
            .tell(self.world.err, what, done, of);
    }

    /// Takes what [`Self::progress`] shows away.
    pub fn progress_done(&mut self) {
        if let Some(progress) = self.progress.take() {
            progress.end();
        }
    }

    /// Asks a person for a line.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if nobody is there to answer; `otherwise` says what to give instead.
    pub fn ask(&mut self, prompt: &str, otherwise: &str) -> Result<String, Failure> {
        if !self.world.asks {
            return Err(Failure::input(format!("{prompt} is missing; {otherwise}")));
        }
        let _ = write!(self.world.err, "{prompt}: ");
        let _ = self.world.err.flush();
        let mut line = String::new();
        let read = self
            .world
            .input
            .read_line(&mut line)
            .map_err(|error| Failure::file("the input", &error))?;
        if read == 0 {
            return Err(Failure::input(format!("{prompt} is missing; {otherwise}")));
        }
        Ok(line.trim().to_owned())
    }

    /// Asks a person for a secret without showing it.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if nobody is there to answer; `otherwise` says what to give instead.
    pub fn ask_secret(&mut self, prompt: &str, otherwise: &str) -> Result<String, Failure> {
        if !self.world.asks {
            return Err(Failure::input(format!("{prompt} is missing; {otherwise}")));
        }
        (self.world.secret)(&format!("{prompt}: ")).map_err(|error| Failure::file(prompt, &error))
    }

    /// Says what went wrong, in one line; answers the exit status.
    pub fn fail(&mut self, failure: &Failure) -> i32 {
        let text = one_line(&failure.to_string());
        let _ = if self.json {
            let problem = match failure {
                Failure::Refused(_, problem) => problem.as_deref(),
                _ => None,
            };
            let told = serde_json::json!({"status": failure.status(), "message": text, "problem": problem});
            writeln!(self.world.err, "{told}")
        } else {
            writeln!(self.world.err, "whorl: {text}")
        };
        failure.status()
    }
}
