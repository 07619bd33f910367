//! `whorl readings`: who read a horse's record.

use whorl_care::reading::Reader;
use whorl_contract::path;
use whorl_contract::reading::Reading;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::{Sheet, moment};

/// List who read a horse's record without being its owner, and what of it, the latest day first
///
/// Readings of one kind on one day are counted together. What a device holds is read there unseen; that it was copied is listed.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
}

impl Args {
    /// Lists them.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] if the horse isn't yours.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let horse = herd::named(&mut desk.database()?, &self.horse)?;
        let all: Vec<Reading> = desk.remote()?.list(&path::readings(horse.id))?;
        let here = desk.here();
        desk.show(&all, || {
            let rows = all.iter().map(|one| {
                vec![
                    who(one),
                    one.way.words().to_owned(),
                    one.times.to_string(),
                    moment(one.first_at, here),
                    moment(one.last_at, here),
                ]
            });
            let head = ["who", "what", "times", "first", "last"];
            Sheet::new().table(&head, rows, "Nobody else read it.")
        })
    }
}

fn who(reading: &Reading) -> String {
    let name = reading.name.as_deref();
    match reading.reader {
        Reader::Account => name.unwrap_or("somebody").to_owned(),
        Reader::Share => format!("whoever had the link {}", name.unwrap_or("without a name")),
        Reader::Calendar => format!("a calendar of {}", name.unwrap_or("somebody")),
    }
}
