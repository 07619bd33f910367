//! `whorl record`: write down what was done or seen, kind by kind.

mod feet;
mod flags;

use serde_json::{Map, Value};

use crate::author::Author;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::form::Form;
use crate::herd;
use crate::jotting::Jotting;
use crate::recording;

use flags::Typed;

/// Write down what was done or seen; it waits in the outbox until the next push
///
/// Works without a connection. Each kind has its own flags; --set FIELD=VALUE reaches every field, --details FILE.json
/// gives the details as a document, and both may be mixed with flags. Lengths, weights and temperatures are given with
/// their unit (84mm, 3.25in, 510kg, 1125lb, 38.5C, 101.3F). On a terminal you are asked for what is missing.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: Typed,
}

impl Args {
    /// Checks, signs and queues.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] with everything that is wrong or missing; nothing is recorded, then.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let home = desk.home()?;
        let mut conn = desk.database()?;
        let author = Author::new(&home, &mut conn, desk.machine())?.by(desk.rules()?);
        let details = self.what.details()?;
        let jotting = Jotting {
            kind: self.what.kind,
            horse: herd::named(&mut conn, &self.what.horse)?,
            details,
            beside: self.what.beside,
        };
        let recorded = recording::record(desk, &mut conn, &home, &author, jotting)?;
        desk.show(&recorded, || recorded.sheet())
    }
}

impl Typed {
    /// The details as typed: those of the file, with the flags laid over them.
    fn details(&self) -> Result<Map<String, Value>, Failure> {
        let form = Form::of(self.kind);
        let mut details = match &self.file {
            Some(file) => {
                let text = std::fs::read_to_string(file)
                    .map_err(|error| Failure::input(format!("{}: {error}", file.display())))?;
                let document: Value = serde_json::from_str(&text).map_err(|error| {
                    Failure::input(format!("{} is no JSON: {error}", file.display()))
                })?;
                form.read(&document)
                    .map_err(|faults| Failure::input(format!("{}: {faults}", file.display())))?
            }
            None => Map::new(),
        };
        for given in &self.given {
            form.set(&mut details, &given.path, &given.text)
                .map_err(|why| Failure::input(format!("{}: {why}", given.flag)))?;
        }
        if let Some(method) = &self.measured_by {
            feet::measured_by(&mut details, method);
        }
        Ok(details)
    }
}
