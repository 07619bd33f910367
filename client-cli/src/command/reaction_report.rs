//! `whorl reaction-report`: everything on record about an adverse reaction, for a vet to send on.

use whorl_care::ids::EventId;
use whorl_care::kind::Kind;
use whorl_care::reaction::{self, Given, Report};

use crate::care_log;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::history;

/// Gather the report of an adverse reaction: product, lot, dose, times, signs, outcome, and what is missing
///
/// Works from this device's copy of the record, with what waits in the outbox. The vet decides what is sent; makers and
/// the competent authority say how they want it.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// The reaction's id, or the beginning or end of it; the latest if left out
    event: Option<String>,
}

impl Args {
    /// Gathers.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse or reaction.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let mut conn = desk.database()?;
        let horse = herd::named(&mut conn, &self.horse)?;
        let entries = history::of_horse(&mut conn, horse.id)?;
        let reactions: Vec<EventId> = entries
            .iter()
            .filter(|entry| entry.kind.as_deref() == Some(Kind::AdverseReaction.code()))
            .filter_map(|entry| entry.id)
            .collect();
        let event = match &self.event {
            Some(text) => super::pick(reactions.into_iter(), text, "adverse reaction")?,
            None => *reactions.first().ok_or_else(|| {
                Failure::input(format!(
                    "no adverse reaction of {} is on record here",
                    horse.label()
                ))
            })?,
        };
        let events = care_log::events(&mut conn, horse.id)?;
        let mut report = reaction::report(&events, event, &rules)?;
        if let Some(described) = &horse.horse {
            complete(&mut report, &described.profile);
        }
        let who = |id: Option<EventId>| {
            let entry = entries
                .iter()
                .find(|entry| entry.id.is_some() && entry.id == id)?;
            let other = entry.performed_by.as_ref().map(|by| by.name.clone());
            other.or_else(|| entry.author.clone())
        };
        report.reported_by = who(Some(event));
        let given = report.after.iter_mut().chain(&mut report.also_given);
        given.for_each(|one: &mut Given| one.given_by = who(one.event_id));
        if desk.is_json() {
            return desk.show(&report, crate::render::Sheet::new);
        }
        desk.print(reaction::text(&report).as_bytes())
    }
}

/// By what to know the horse, from the server's description, where its identity isn't in this device's copy.
fn complete(report: &mut Report, described: &whorl_care::horse::Horse) {
    let ours = &mut report.horse;
    let mut known = Vec::new();
    if ours.name.is_none() {
        ours.name.clone_from(&described.name);
    }
    if ours.sex.is_none() && described.sex.is_some() {
        ours.sex = described.sex;
        known.push("the horse's sex");
    }
    if ours.breed_type.is_none() && described.breed_type.is_some() {
        ours.breed_type = described.breed_type;
        known.push("the horse's breed or build");
    }
    if ours.foaled_on.is_none()
        && let Some(foaled) = described.foaled_on
    {
        ours.foaled_on = Some(foaled);
        report.age = Some(format!("foaled {foaled}"));
        known.push("the horse's age");
    }
    report.missing.retain(|one| !known.contains(&one.as_str()));
}
