//! `whorl figure`: a figure of the care engine, one JSON document in and one out.

use std::io::Read;
use std::path::PathBuf;

use serde_json::Value;
use whorl_care::fault::{Fault, Faults};
use whorl_care::figure::{self, NAMES};
use whorl_contract::canonical;
use whorl_contract::problem::{Kind, Problem};

use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// The largest document that is read, in bytes.
const LARGEST: u64 = 64 * 1024 * 1024;

/// Compute a figure: one JSON document in, one JSON document out; no server, no account, no folder
///
/// Without a name it lists the figures. For input that can't stand it prints a problem document and exits with 2.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The figure
    name: Option<String>,
    /// Read the document from this file instead of the standard input
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if the document can't stand; the problem document has been printed, then.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let Some(name) = &self.name else {
            return desk.show(&NAMES, || {
                NAMES
                    .iter()
                    .fold(Sheet::new(), |sheet, name| sheet.line(*name))
            });
        };
        let rules = desk.rules()?;
        let document = if NAMES.contains(&name.as_str()) {
            self.document(desk)?
        } else {
            // Nobody should have to end an input that is not wanted.
            Ok(Value::Null)
        };
        let answered = match document {
            Ok(document) => figure::run(name, &document, &rules)
                .unwrap_or_else(|| Err(unknown(name)))
                .map_err(invalid),
            Err(why) => Err(problem(Kind::Malformed, 400, Some(why), Vec::new())),
        };
        match answered {
            Ok(answer) => print(desk, &answer),
            Err(problem) => {
                print(desk, &problem)?;
                Err(Failure::input(crate::failure::words(&problem)))
            }
        }
    }

    /// The document; the inner error says why it is none.
    fn document(&self, desk: &mut Desk<'_, '_>) -> Result<Result<Value, String>, Failure> {
        let mut text = String::new();
        let read = if let Some(path) = &self.file {
            let file = std::fs::File::open(path)
                .map_err(|error| Failure::input(format!("{}: {error}", path.display())))?;
            file.take(LARGEST + 1).read_to_string(&mut text)
        } else {
            if desk.world.asks {
                desk.say("reading a JSON document from the keyboard; end it with Ctrl-D");
            }
            let input = &mut *desk.world.input;
            input.take(LARGEST + 1).read_to_string(&mut text)
        };
        if let Err(error) = read {
            return match error.kind() {
                std::io::ErrorKind::InvalidData => Ok(Err("it is not UTF-8".to_owned())),
                _ => Err(Failure::input(format!(
                    "the document can't be read: {error}"
                ))),
            };
        }
        if text.len() as u64 > LARGEST {
            return Ok(Err(format!("it is larger than {LARGEST} bytes")));
        }
        // Excel and the Windows notepad begin a file with a mark that JSON doesn't know.
        let text = text.trim_start_matches('\u{feff}');
        Ok(canonical::read(text).map_err(|error| error.to_string()))
    }
}

fn unknown(name: &str) -> Faults {
    Faults::one(
        "",
        format!(
            "there is no figure `{name}`; there are {}",
            NAMES.join(", ")
        ),
    )
}

fn invalid(faults: Faults) -> Problem {
    problem(Kind::Invalid, 422, None, faults.0)
}

fn problem(kind: Kind, status: u16, detail: Option<String>, errors: Vec<Fault>) -> Problem {
    Problem {
        kind,
        title: kind.title().to_owned(),
        status,
        detail,
        instance: None,
        policy_row: None,
        errors,
    }
}

fn print(desk: &mut Desk<'_, '_>, answer: &impl serde::Serialize) -> Result<(), Failure> {
    let mut text =
        serde_json::to_string_pretty(answer).map_err(|error| Failure::Device(error.to_string()))?;
    text.push('\n');
    desk.print(text.as_bytes())
}
