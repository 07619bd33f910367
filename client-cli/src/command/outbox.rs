//! `whorl outbox`: what this device recorded and the server has not given back yet.

use serde::Serialize;
use serde_json::json;
use whorl_care::sentence::counted;
use whorl_contract::problem::Problem;

use super::pick;
use crate::attachments;
use crate::desk::Desk;
use crate::failure::{Failure, words};
use crate::home::write_private;
use crate::outbox::{self, Entry, State};
use crate::render::{Sheet, moment};
use crate::sync::label;

/// Show what waits for the server, and deal with what it refused
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// List every entry and what has become of it
    List,
    /// Show one entry whole, and why it was refused
    Show {
        /// Its id, or the beginning or end of it
        id: String,
    },
    /// Let a refused entry wait for the next push again
    Retry {
        /// Its id, or the beginning or end of it; all refused ones if left out
        id: Option<String>,
    },
    /// Take a refused entry out; it is written to a file first
    Drop {
        /// Its id, or the beginning or end of it
        id: String,
        /// Don't ask
        #[arg(long)]
        yes: bool,
    },
}

#[derive(Serialize)]
struct Listed {
    id: String,
    horse_id: String,
    horse: String,
    kind: String,
    state: String,
    returned: bool,
    queued_at: String,
    problem: Option<Problem>,
}

impl Args {
    /// Lists, shows, retries or drops; needs no network.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or if it may not be dropped.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        match self.what.unwrap_or(What::List) {
            What::List => list(desk),
            What::Show { id } => show(desk, &id),
            What::Retry { id } => retry(desk, id.as_deref()),
            What::Drop { id, yes } => drop_entry(desk, &id, yes),
        }
    }
}

fn listed(desk: &Desk<'_, '_>) -> Result<Vec<(Entry, Listed)>, Failure> {
    let mut conn = desk.database()?;
    let entries = outbox::all(&mut conn)?;
    let listed = entries.into_iter().map(|entry| {
        let listed = Listed {
            id: entry.event_id.0.to_string(),
            horse_id: entry.horse_id.0.to_string(),
            horse: label(&mut conn, entry.horse_id.0),
            kind: entry.kind.clone(),
            state: entry.state.0.to_string(),
            returned: entry.returned,
            queued_at: entry.queued_at.0.to_string(),
            problem: entry.refusal(),
        };
        (entry, listed)
    });
    Ok(listed.collect())
}

fn list(desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
    let here = desk.here();
    let all = listed(desk)?;
    let answers: Vec<&Listed> = all.iter().map(|(_, listed)| listed).collect();
    desk.show(&answers, || {
        let rows = all.iter().map(|(entry, listed)| {
            let why = listed.problem.as_ref().map(words).unwrap_or_default();
            vec![
                listed.horse.clone(),
                listed.kind.clone(),
                moment(entry.queued_at.0.0, here),
                listed.state.clone(),
                why,
                listed.id.clone(),
            ]
        });
        Sheet::new().table(
            &["horse", "what", "recorded", "state", "why", "id"],
            rows,
            "Nothing waits.",
        )
    })
}

fn find(desk: &Desk<'_, '_>, text: &str) -> Result<(Entry, Listed), Failure> {
    let all = listed(desk)?;
    let id = pick(
        all.iter().map(|(entry, _)| entry.event_id.0),
        text,
        "entry in the outbox",
    )?;
    all.into_iter()
        .find(|(entry, _)| entry.event_id.0 == id)
        .ok_or_else(|| Failure::input(format!("there is no entry {id} in the outbox")))
}

fn show(desk: &mut Desk<'_, '_>, text: &str) -> Result<(), Failure> {
    let (entry, listed) = find(desk, text)?;
    let event = entry.event()?;
    let answer = json!({"entry": listed, "event": event});
    desk.show(&answer, || {
        let mut facts = vec![
            ("id", listed.id.clone()),
            ("horse", listed.horse.clone()),
            ("what", listed.kind.clone()),
            ("state", listed.state.clone()),
        ];
        if let Some(problem) = &listed.problem {
            facts.push(("why", words(problem)));
        }
        facts.push(("envelope", entry.envelope.clone()));
        facts.push(("content", entry.content.clone()));
        Sheet::new().facts(facts)
    })
}

fn retry(desk: &mut Desk<'_, '_>, text: Option<&str>) -> Result<(), Failure> {
    let chosen: Vec<Entry> = match text {
        Some(text) => vec![find(desk, text)?.0],
        None => listed(desk)?.into_iter().map(|(entry, _)| entry).collect(),
    };
    let mut conn = desk.database()?;
    let mut count = 0;
    for entry in chosen.iter().filter(|one| one.state.0 == State::Refused) {
        outbox::retry(&mut conn, entry.event_id.0)?;
        count += 1;
    }
    attachments::retry(&mut conn)?;
    desk.show(&json!({"waiting_again": count}), || {
        Sheet::new().line(format!(
            "Waiting for the next push again: {}.",
            counted(count, "refused entry", "refused entries")
        ))
    })
}

fn drop_entry(desk: &mut Desk<'_, '_>, text: &str, yes: bool) -> Result<(), Failure> {
    let (entry, listed) = find(desk, text)?;
    if entry.state.0 != State::Refused {
        return Err(Failure::input(format!(
            "entry {} is {}; only a refused one can be dropped, and a retraction withdraws what is in the log",
            listed.id, listed.state
        )));
    }
    if !yes {
        let question = format!("Drop the {} of {}? (yes/no)", listed.kind, listed.horse);
        let answer = desk.ask(&question, "say --yes to drop it without being asked")?;
        if !answer.eq_ignore_ascii_case("yes") {
            return Err(Failure::input("nothing was dropped"));
        }
    }
    let event = entry.event()?;
    let bytes = serde_json::to_vec_pretty(&json!({"entry": listed, "event": event}))
        .map_err(|error| Failure::Device(error.to_string()))?;
    let place = desk.home()?.dropped(&format!("{}.json", listed.id))?;
    write_private(&place, &bytes)?;
    outbox::remove(&mut desk.database()?, entry.event_id.0)?;
    let kept = place.display().to_string();
    desk.show(&json!({"dropped": listed.id, "kept_in": kept}), || {
        Sheet::new().line(format!("Dropped; a copy is in {kept}."))
    })
}
