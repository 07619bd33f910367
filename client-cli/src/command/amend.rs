//! `whorl amend`, `whorl retract`, `whorl countersign`, `whorl erase`: saying something about an earlier entry.

use std::path::PathBuf;

use diesel::sqlite::SqliteConnection;
use serde_json::{Map, Value, json};
use whorl_care::details::{Details, to_metric};
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::sentence;
use whorl_contract::event::Content;
use whorl_contract::history::Standing;

use super::pick;
use crate::author::{Author, Draft};
use crate::care_log;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::form::Form;
use crate::herd;
use crate::history::{self, Entry};
use crate::jotting;
use crate::recording::named;
use crate::render::Sheet;
use crate::sync::label;

/// Correct an entry of your own: the new details replace the old, and the old stay in the log
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Its id, or the beginning or end of it
    id: String,
    /// Why
    #[arg(long)]
    reason: Option<String>,
    /// Change a field, such as `weight=512kg` or `feet.LF.after.toe=85mm`
    #[arg(long = "set", value_name = "FIELD=VALUE")]
    set: Vec<String>,
    /// Take a field out
    #[arg(long = "unset", value_name = "FIELD")]
    unset: Vec<String>,
    /// A JSON file with the whole new details
    #[arg(long, value_name = "FILE.json")]
    details: Option<PathBuf>,
    #[command(flatten)]
    as_whom: AsWhom,
}

/// Withdraw an entry of your own: it stays in the log, marked as withdrawn
#[derive(Debug, clap::Args)]
pub struct RetractArgs {
    /// Its id, or the beginning or end of it
    id: String,
    /// Why
    #[arg(long)]
    reason: Option<String>,
    #[command(flatten)]
    as_whom: AsWhom,
}

/// Vouch, as a vet or farrier, for an entry that was copied from paper or recorded by others
#[derive(Debug, clap::Args)]
pub struct CountersignArgs {
    /// Its id, or the beginning or end of it
    id: String,
    /// What you vouch for, and on what grounds
    #[arg(long)]
    statement: Option<String>,
    #[command(flatten)]
    as_whom: AsWhom,
}

/// Erase, as the owner, what an entry says: here, on the server and on every device that syncs
///
/// For what the law or a promise says must go. What was said about the entry goes with it, and files that nothing else
/// names. That there was an entry, of which kind, on which day and by whom stays, or the log couldn't be verified; so
/// does the reason. Copies that were printed or exported before are beyond reach. It can't be taken back: to correct
/// something, use `whorl amend` or `whorl retract`.
#[derive(Debug, clap::Args)]
pub struct EraseArgs {
    /// Its id, or the beginning or end of it
    id: String,
    /// Why; it stays in the record, so don't repeat what is to go
    #[arg(long)]
    reason: Option<String>,
    /// You know that it can't be taken back
    #[arg(long)]
    for_good: bool,
    #[command(flatten)]
    as_whom: AsWhom,
}

#[derive(Debug, clap::Args)]
struct AsWhom {
    /// In which of your roles: owner, `barn_staff`, farrier or vet
    #[arg(long)]
    role: Option<Role>,
    /// It is copied from paper
    #[arg(long)]
    transcribed: bool,
}

/// An earlier entry as it reads now.
struct Target {
    id: EventId,
    horse_id: HorseId,
    kind: Kind,
    entry: Entry,
}

impl Args {
    /// Amends.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, if it isn't yours, or if the new details can't stand.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let target = Target::find(&mut conn, &self.id)?;
        let details = self.changed(&target)?;
        let reason = reason(desk, self.reason, "Why is it amended")?;
        let content = json!({"reason": reason, "details": details});
        let told = format!(
            "it reads now: {}",
            sentence::of(target.kind, &content["details"])
        );
        record(
            desk,
            &mut conn,
            &target,
            Kind::Amendment,
            content,
            &self.as_whom,
            &told,
        )
    }

    /// The whole new details.
    fn changed(&self, target: &Target) -> Result<Value, Failure> {
        let form = Form::of(target.kind);
        let old = target.entry.details.clone().unwrap_or_default();
        let mut details = match &self.details {
            Some(file) => {
                let fault = |why: &dyn std::fmt::Display| {
                    Failure::input(format!("{}: {why}", file.display()))
                };
                let text = std::fs::read_to_string(file).map_err(|error| fault(&error))?;
                let document: Value = serde_json::from_str(&text).map_err(|error| fault(&error))?;
                form.read(&document).map_err(|faults| fault(&faults))?
            }
            None => old.as_object().cloned().unwrap_or_default(),
        };
        for pair in &self.set {
            let (path, text) = pair
                .split_once('=')
                .ok_or_else(|| Failure::input(format!("--set {pair}: write it as FIELD=VALUE")))?;
            replace(form, &mut details, path, text)
                .map_err(|why| Failure::input(format!("--set {path}: {why}")))?;
        }
        for path in &self.unset {
            if !take_out(&mut details, path) {
                return Err(Failure::input(format!(
                    "--unset {path}: there is no such field in it"
                )));
            }
        }
        let details = to_metric(target.kind, Value::Object(details))?;
        let same =
            Details::parse(target.kind, &details).ok() == Details::parse(target.kind, &old).ok();
        if same && Details::parse(target.kind, &details).is_ok() {
            return Err(Failure::input(
                "nothing is changed; say what with --set, --unset or --details",
            ));
        }
        Ok(details)
    }
}

impl RetractArgs {
    /// Withdraws.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or if it isn't yours.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let target = Target::find(&mut conn, &self.id)?;
        let reason = reason(desk, self.reason, "Why is it withdrawn")?;
        let told = format!("it is withdrawn: {}", target.entry.what);
        let content = json!({"reason": reason});
        record(
            desk,
            &mut conn,
            &target,
            Kind::Retraction,
            content,
            &self.as_whom,
            &told,
        )
    }
}

impl CountersignArgs {
    /// Countersigns.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or if there is nothing to vouch for.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let target = Target::find(&mut conn, &self.id)?;
        if target.entry.provenance == Some(Provenance::Attested) {
            return Err(Failure::input(
                "it is attested already, on its author's own licence; there is nothing to countersign",
            ));
        }
        let statement = match self.statement {
            Some(text) => text,
            None => desk.ask(
                &format!("What do you vouch for, of \"{}\"", target.entry.what),
                "give it with --statement",
            )?,
        };
        let told = format!("you vouch for: {}", target.entry.what);
        let content = json!({"statement": statement});
        record(
            desk,
            &mut conn,
            &target,
            Kind::Countersign,
            content,
            &self.as_whom,
            &told,
        )
    }
}

impl EraseArgs {
    /// Erases.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such entry, or if it isn't said that it may go for good.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut conn = desk.database()?;
        let target = Target::even_withdrawn(&mut conn, &self.id)?;
        if !self.for_good {
            return Err(Failure::input(format!(
                "erasing can't be taken back; add --for-good if this is to go: {}",
                target.entry.what
            )));
        }
        let reason = reason(desk, self.reason, "Why is it erased")?;
        let content = json!({"reason": reason});
        record(
            desk,
            &mut conn,
            &target,
            Kind::Erasure,
            content,
            &self.as_whom,
            "what it says goes for good once the server has taken this, and from other devices at their next sync",
        )
    }
}

impl Target {
    fn find(conn: &mut SqliteConnection, text: &str) -> Result<Self, Failure> {
        let target = Self::even_withdrawn(conn, text)?;
        if target.entry.standing == Standing::Retracted {
            return Err(Failure::input("it is withdrawn already"));
        }
        Ok(target)
    }

    fn even_withdrawn(conn: &mut SqliteConnection, text: &str) -> Result<Self, Failure> {
        let id = pick(care_log::ids(conn)?.into_iter(), text, "entry")?;
        let horse_id = care_log::horse_of(conn, id)?
            .ok_or_else(|| Failure::input(format!("there is no entry {id} on this device")))?;
        let entry = history::of_horse(conn, horse_id)?
            .into_iter()
            .find(|entry| entry.id == Some(id))
            .ok_or_else(|| {
                Failure::input(format!(
                    "the entry {id} is itself about another one; name that one (`whorl show {id}` tells which)"
                ))
            })?;
        if entry.state == Some("refused") {
            return Err(Failure::input(
                "the server refused it, so it is in no log; deal with it by `whorl outbox`",
            ));
        }
        let kind = entry.kind.as_deref().and_then(|code| code.parse().ok());
        match kind {
            Some(kind) if !entry.sealed => Ok(Self {
                id,
                horse_id,
                kind,
                entry,
            }),
            _ => Err(Failure::input(
                "its content can't be read here, so nothing can be said about it",
            )),
        }
    }
}

fn reason(
    desk: &mut Desk<'_, '_>,
    given: Option<String>,
    question: &str,
) -> Result<String, Failure> {
    match given {
        Some(text) => Ok(text),
        None => desk.ask(question, "give it with --reason"),
    }
}

/// A field that is set again loses what it held, under whichever of its names.
fn replace(
    form: &Form,
    details: &mut Map<String, Value>,
    path: &str,
    text: &str,
) -> Result<(), String> {
    let mut alone = Map::new();
    form.set(&mut alone, path, text)?;
    let metric = to_metric(form.kind, Value::Object(alone)).map_err(|faults| faults.to_string())?;
    if let Value::Object(new) = metric {
        lay_over(details, new);
    }
    Ok(())
}

/// Lays one object over another, field by field.
fn lay_over(old: &mut Map<String, Value>, new: Map<String, Value>) {
    for (name, value) in new {
        match (old.get_mut(&name), value) {
            (Some(Value::Object(old)), Value::Object(new)) if !new.is_empty() => lay_over(old, new),
            (_, value) => drop(old.insert(name, value)),
        }
    }
}

/// Takes a field out by its full path; false if it isn't there.
fn take_out(details: &mut Map<String, Value>, path: &str) -> bool {
    match path.split_once('.') {
        None => details.remove(path).is_some(),
        Some((first, rest)) => details
            .get_mut(first)
            .and_then(Value::as_object_mut)
            .is_some_and(|inner| take_out(inner, rest)),
    }
}

fn record(
    desk: &mut Desk<'_, '_>,
    conn: &mut SqliteConnection,
    target: &Target,
    kind: Kind,
    details: Value,
    as_whom: &AsWhom,
    told: &str,
) -> Result<(), Failure> {
    let author = Author::new(&desk.home()?, conn, desk.machine())?.by(desk.rules()?);
    let horse = herd::horse(conn, target.horse_id)?;
    let zone = horse.map(|horse| jotting::zone(conn, &horse)).transpose()?;
    let draft = Draft {
        horse_id: target.horse_id,
        kind,
        performed_at: jotting::by_clock(desk.machine().now(), zone.flatten()),
        role: as_whom.role,
        transcribed: as_whom.transcribed,
        visit_id: None,
        target_id: Some(target.id),
        content: Content {
            performed_by: None,
            note: None,
            attachments: Vec::new(),
            details,
        },
    };
    let signed = author.sign(conn, &draft).map_err(|failure| match failure {
        Failure::Invalid(faults) => named(kind, &faults),
        other => other,
    })?;
    author.queue(conn, std::slice::from_ref(&signed))?;
    let horse = label(conn, target.horse_id);
    let id = signed.envelope.id;
    let answer = json!({
        "id": id, "kind": kind, "target_id": target.id, "horse_id": target.horse_id, "horse": horse,
        "provenance": signed.envelope.provenance, "role": signed.envelope.role,
        "details": draft.content.details, "warnings": signed.warnings,
    });
    desk.show(&answer, || {
        let sheet = Sheet::new().line(format!(
            "Recorded for {horse}, {} of {}: {}.",
            kind.code(),
            sentence::words(target.kind.code()),
            told.trim_end_matches('.')
        ));
        let sheet = signed
            .warnings
            .iter()
            .fold(sheet, |sheet, warning| sheet.line(format!("- {warning}")));
        sheet.line(format!("It waits for the next push. Id {id}"))
    })
}
