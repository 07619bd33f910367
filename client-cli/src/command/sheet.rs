//! `whorl sheet`: a day's horses from one file, all lines or none.

use std::path::{Path, PathBuf};

use chrono::SecondsFormat;
use serde_json::json;
use whorl_care::kind::Kind;
use whorl_care::sentence::counted;
use whorl_care::sentence::words;

use super::history::kind;
use crate::attachments::sha256;
use crate::author::Author;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::Sheet;
use crate::setting;
use crate::sheet::{self, Defaults, Taken, Wrong, template};

/// The largest sheet that is read, in bytes.
const LARGEST: u64 = 16 * 1024 * 1024;

/// Check or queue a visit sheet: one CSV or TOML file with a day's horses
///
/// Every line is checked before anything is queued, and all faults are listed with line and column. Either all lines are
/// queued or none.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Check every line, and queue nothing
    Check(Given),
    /// Queue every line, or nothing if one of them is wrong
    Queue {
        #[command(flatten)]
        given: Given,
        /// Queue a sheet that was queued before
        #[arg(long)]
        again: bool,
    },
    /// Print an empty sheet of a kind
    Template {
        /// The kind, such as `hoof_care`
        #[arg(value_parser = kind)]
        kind: Kind,
        /// As TOML instead of CSV
        #[arg(long)]
        toml: bool,
        /// With a line for each horse of this barn
        #[arg(long)]
        barn: Option<String>,
    },
}

#[derive(Debug, clap::Args)]
struct Given {
    /// The file; one whose name ends in .toml is TOML, any other is a table
    file: PathBuf,
    /// The kind of every line that doesn't say its own
    #[arg(long, value_parser = kind)]
    kind: Option<Kind>,
    /// The day of every line that doesn't say its own
    #[arg(long, value_name = "DATE")]
    day: Option<chrono::NaiveDate>,
}

impl Args {
    /// Checks, queues, or prints.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if the sheet has faults: they have been listed, then, and nothing was queued.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        match self.what {
            What::Check(given) => given.check(desk),
            What::Queue { given, again } => given.queue(desk, again),
            What::Template { kind, toml, barn } => blank(desk, kind, toml, barn.as_deref()),
        }
    }
}

impl Given {
    fn bytes(&self) -> Result<Vec<u8>, Failure> {
        let unreadable =
            |error: std::io::Error| Failure::input(format!("{}: {error}", self.file.display()));
        if std::fs::metadata(&self.file).map_err(unreadable)?.len() > LARGEST {
            return Err(Failure::input(format!(
                "{} is too large for a sheet; split it",
                self.file.display()
            )));
        }
        std::fs::read(&self.file).map_err(unreadable)
    }

    fn read(&self, bytes: &[u8]) -> Result<sheet::Read, Failure> {
        let defaults = Defaults {
            kind: self.kind,
            day: self.day.map(|day| day.to_string()),
            folder: self.file.parent().unwrap_or(Path::new("")).to_owned(),
        };
        sheet::read(&self.file, bytes, &defaults)
    }

    fn check(&self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let read = self.read(&self.bytes()?)?;
        let home = desk.home()?;
        let mut conn = desk.database()?;
        let author = Author::new(&home, &mut conn, desk.machine())?.by(desk.rules()?);
        let hand = sheet::Hand {
            home: &home,
            author: &author,
            machine: desk.machine(),
        };
        match sheet::check(&mut conn, &hand, &read)? {
            Ok(taken) => {
                let file = self.file.display().to_string();
                let answer = json!({"entries": taken, "faults": []});
                desk.show(&answer, || {
                    table(&taken).line(format!(
                        "{} can be queued: `whorl sheet queue {file}`.",
                        counted(taken.len(), "entry", "entries")
                    ))
                })
            }
            Err(wrong) => refuse(desk, &wrong),
        }
    }

    fn queue(&self, desk: &mut Desk<'_, '_>, again: bool) -> Result<(), Failure> {
        let bytes = self.bytes()?;
        let name = format!("sheet {}", sha256(&bytes));
        let read = self.read(&bytes)?;
        let home = desk.home()?;
        let mut conn = desk.database()?;
        // A sheet that is queued twice would record every visit twice.
        if let Some(when) = setting::get::<String>(&mut conn, &name)?.filter(|_| !again) {
            return Err(Failure::input(format!(
                "this sheet was queued already, at {when}; if it is meant again, say --again"
            )));
        }
        let author = Author::new(&home, &mut conn, desk.machine())?.by(desk.rules()?);
        let machine = desk.machine();
        let hand = sheet::Hand {
            home: &home,
            author: &author,
            machine,
        };
        let now = machine.now().to_rfc3339_opts(SecondsFormat::Secs, true);
        let mark =
            |conn: &mut diesel::sqlite::SqliteConnection| setting::set(conn, &name, now.clone());
        match sheet::queue(&mut conn, &hand, &read, &mark)? {
            Ok(taken) => {
                let answer = json!({"entries": taken, "faults": []});
                desk.show(&answer, || {
                    table(&taken).line(format!(
                        "{} for the next push.",
                        counted(
                            taken.len(),
                            "entry recorded; it waits",
                            "entries recorded; they wait"
                        )
                    ))
                })
            }
            Err(wrong) => refuse(desk, &wrong),
        }
    }
}

fn table(taken: &[Taken]) -> Sheet {
    let rows = taken.iter().map(|one| {
        let recorded = &one.recorded;
        vec![
            one.line.to_string(),
            recorded.horse.clone(),
            recorded
                .performed_at
                .get(..16)
                .unwrap_or_default()
                .replace('T', " "),
            words(recorded.kind.code()),
            recorded.what.clone(),
            recorded.provenance.to_string(),
        ]
    });
    let head = ["line", "horse", "when", "kind", "what", "grade"];
    let mut sheet = Sheet::new().table(&head, rows, "");
    for one in taken {
        for warning in &one.recorded.warnings {
            sheet = sheet.line(format!(
                "- line {}, {}: {warning}",
                one.line, one.recorded.horse
            ));
        }
    }
    sheet
}

/// Lists the faults.
fn refuse(desk: &mut Desk<'_, '_>, wrong: &[Wrong]) -> Result<(), Failure> {
    desk.show(&json!({"entries": [], "faults": wrong}), || {
        let rows = wrong
            .iter()
            .map(|one| vec![one.line.to_string(), one.column.clone(), one.detail.clone()]);
        Sheet::new().table(&["line", "column", "what is wrong"], rows, "")
    })?;
    let mut lines: Vec<usize> = wrong.iter().map(|one| one.line).collect();
    lines.dedup();
    Err(Failure::input(format!(
        "nothing was queued: {} faults on {} lines; put them right and try again",
        wrong.len(),
        lines.len()
    )))
}

fn blank(
    desk: &mut Desk<'_, '_>,
    kind: Kind,
    toml: bool,
    barn: Option<&str>,
) -> Result<(), Failure> {
    let mut horses = Vec::new();
    if barn.is_some() {
        let mut conn = desk.database()?;
        let barn = herd::barn_named(&mut conn, barn)?;
        let all = herd::horses(&mut conn)?;
        for known in &all {
            if known
                .horse
                .as_ref()
                .is_some_and(|horse| horse.barn_id == barn.id)
            {
                // A name that two horses share would be refused.
                let name = known.label();
                let fits = herd::exactly(&all, &name).is_ok();
                horses.push(if fits { name } else { known.id.to_string() });
            }
        }
    }
    if toml {
        return desk.print(template::toml(kind, &horses).as_bytes());
    }
    desk.print(&template::csv(kind, &horses)?)
}
