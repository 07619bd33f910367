//! Recording one jotting: filled in, asked for where something is missing, checked, signed, and queued.

use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use serde_json::{Map, Value};
use whorl_care::alarm::{self, Alarm, Around};
use whorl_care::details::Details;
use whorl_care::fault::{Fault, Faults};
use whorl_care::figure::dose;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::sentence;
use whorl_care::unit::plain;

use crate::author::{Author, Signed};
use crate::care_log;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::dosing::{self, Verdict};
use crate::failure::Failure;
use crate::form::{Field, Form};
use crate::herd::{self, Known};
use crate::home::Home;
use crate::jotting::Jotting;
use crate::render::Sheet;

/// What was recorded.
#[derive(Debug, Serialize)]
pub struct Recorded {
    /// The event.
    pub id: EventId,
    /// Its horse.
    pub horse_id: HorseId,
    /// What the horse is called.
    pub horse: String,
    /// What it records.
    pub kind: Kind,
    /// When it happened, by the clock there.
    pub performed_at: String,
    /// In which capacity.
    pub role: Role,
    /// How far it can be relied on.
    pub provenance: Provenance,
    /// The details as they were signed.
    pub details: Value,
    /// The details in a line.
    pub what: String,
    /// What a person should know about it.
    pub warnings: Vec<String>,
    /// What the care engine computed, for a deworming.
    pub dose: Option<dose::Answer>,
}

impl Recorded {
    /// What was recorded, told from the signed event.
    #[must_use]
    pub fn new(signed: &Signed, horse: &Known, details: Value, verdict: Option<Verdict>) -> Self {
        let envelope = &signed.envelope;
        let (dose, says) =
            verdict.map_or((None, Vec::new()), |verdict| (verdict.answer, verdict.says));
        Self {
            id: envelope.id,
            horse_id: envelope.horse_id,
            horse: horse.label(),
            kind: envelope.kind,
            performed_at: envelope.performed_at.to_rfc3339(),
            role: envelope.role,
            provenance: envelope.provenance,
            what: sentence::of(envelope.kind, &details),
            details,
            warnings: signed.warnings.iter().cloned().chain(says).collect(),
            dose,
        }
    }

    /// The same for a person.
    #[must_use]
    pub fn sheet(&self) -> Sheet {
        let when = self
            .performed_at
            .get(..16)
            .unwrap_or_default()
            .replace('T', " ");
        let mut sheet = Sheet::new().line(format!(
            "Recorded for {}, {when}, {}: {}.",
            self.horse,
            sentence::words(self.kind.code()),
            self.what.trim_end_matches('.')
        ));
        for warning in &self.warnings {
            sheet = sheet.line(format!("- {warning}"));
        }
        sheet.line(format!(
            "{}, as {}; it waits for the next push. Id {}",
            sentence::capital(self.provenance.code()),
            sentence::words(self.role.code()),
            self.id
        ))
    }
}

/// The dose in a line.
fn dose_line(dose: &dose::Answer) -> Option<String> {
    let (mg, per_kg) = dose.dose_mg.zip(dose.dose_mg_per_kg)?;
    let days = match dose.days {
        Some(1) => "once".to_owned(),
        Some(days) => format!("on {days} days in a row"),
        None => "every day".to_owned(),
    };
    Some(format!(
        "The label's dose for {} kg: {} mg of {} ({} mg/kg), {days}.",
        plain(dose.weight_kg),
        plain(mg),
        sentence::words(&dose.active),
        plain(per_kg)
    ))
}

/// Records one jotting. What is missing is asked for on a terminal.
///
/// # Errors
///
/// [`Failure::Input`] naming the flags that are wrong or missing; nothing is recorded, then.
pub fn record(
    desk: &mut Desk<'_, '_>,
    conn: &mut SqliteConnection,
    home: &Home,
    author: &Author<'_>,
    mut jotting: Jotting,
) -> Result<Recorded, Failure> {
    loop {
        match prepare(conn, home, author, desk.machine(), &mut jotting) {
            Ok(ready) => {
                if let Some(line) = ready.recorded.dose.as_ref().and_then(dose_line) {
                    desk.say(&line);
                }
                author.queue(conn, std::slice::from_ref(&ready.signed))?;
                return Ok(ready.recorded);
            }
            Err(Failure::Invalid(faults)) => {
                let missing = missing(jotting.kind, &jotting.details, &faults);
                if !desk.world.asks || missing.len() < faults.0.len() {
                    return Err(named(jotting.kind, &faults));
                }
                for field in missing {
                    ask(desk, &mut jotting, &field)?;
                }
            }
            Err(other) => return Err(other),
        }
    }
}

/// An event that may be queued.
#[derive(Debug)]
pub struct Ready {
    /// The signed event.
    pub signed: Signed,
    /// What there is to say about it.
    pub recorded: Recorded,
}

/// Fills in, checks and signs; writes nothing.
///
/// # Errors
///
/// [`Failure::Invalid`] with pointers into the details; [`Failure::Input`] if the policy or the care engine is against
/// it.
pub fn prepare(
    conn: &mut SqliteConnection,
    home: &Home,
    author: &Author<'_>,
    machine: crate::world::Machine<'_>,
    jotting: &mut Jotting,
) -> Result<Ready, Failure> {
    let mut chart = None;
    if jotting.kind == Kind::Deworming {
        let zone = jotting.zone(conn)?;
        let on = jotting.performed_at(machine.now(), zone)?.date_naive();
        let mut read = Chart::of(conn, &jotting.horse, on)?;
        read.ask_yard(conn, &jotting.horse, on, author.rules())?;
        dosing::fill(&mut jotting.details, &read);
        chart = Some(read);
    }
    let (draft, taken_off) = jotting.draft(conn, home, machine)?;
    let signed = author.sign(conn, &draft)?;
    let details = draft.content.details;
    let verdict = match (&chart, Details::parse(jotting.kind, &details)) {
        (Some(chart), Ok(Details::Deworming(given))) => Some(dosing::judge(
            &given,
            chart,
            &signed.envelope,
            author.rules(),
        )?),
        _ => None,
    };
    let alarms = match Details::parse(jotting.kind, &details) {
        Ok(details) => {
            let events = care_log::events(conn, draft.horse_id)?;
            let around = Around {
                on: draft.performed_at.date_naive(),
                foaled_on: herd::foaled_on(conn, draft.horse_id, &events)?,
                rules: author.rules(),
            };
            alarm::of(&details, &around)
        }
        Err(_) => Vec::new(),
    };
    let mut recorded = Recorded::new(&signed, &jotting.horse, details, verdict);
    recorded.warnings.splice(0..0, alarms.iter().map(said));
    recorded.warnings.extend(taken_off);
    Ok(Ready { signed, recorded })
}

/// An alarm as it is said to whoever raises it.
fn said(alarm: &Alarm) -> String {
    let lead = if alarm.red_flag {
        "TELL VET AND OWNER: "
    } else {
        ""
    };
    format!("{lead}{}", alarm.text)
}

/// A field that is missing, and its path.
struct Missing {
    field: &'static Field,
    path: String,
    why: String,
}

/// The faults that point to where nothing is.
fn missing(kind: Kind, details: &Map<String, Value>, faults: &Faults) -> Vec<Missing> {
    let absent = |fault: &Fault| {
        let mut steps = fault.pointer.split('/').skip(1);
        let first = steps.next().and_then(|step| details.get(step));
        let value = steps.try_fold(first?, |value, step| value.get(step));
        Some(
            value
                .is_none_or(|value| value.is_null() || value.as_array().is_some_and(Vec::is_empty)),
        )
    };
    faults
        .0
        .iter()
        .filter(|fault| absent(fault).unwrap_or(true))
        .filter_map(|fault| {
            Some(Missing {
                field: Form::of(kind).at(&fault.pointer)?,
                path: fault.pointer.trim_start_matches('/').replace('/', "."),
                why: fault.detail.clone(),
            })
        })
        .collect()
}

/// Asks a person until the answer can be read.
fn ask(desk: &mut Desk<'_, '_>, jotting: &mut Jotting, missing: &Missing) -> Result<(), Failure> {
    let field = missing.field;
    let codes: Vec<&str> = field
        .shape
        .codes()
        .iter()
        .map(|one| one.code.as_str())
        .collect();
    let hint = if codes.is_empty() {
        field.hint.clone()
    } else {
        codes.join(", ")
    };
    let otherwise = format!("give it with --{}", field.flag);
    loop {
        let text = desk.ask(&format!("{} [{hint}]", field.about), &otherwise)?;
        if text.is_empty() {
            return Err(Failure::input(format!("--{}: {}", field.flag, missing.why)));
        }
        // Named by its short name, so that a number needs its unit.
        let path = if missing.path == field.name {
            &field.short
        } else {
            &missing.path
        };
        match Form::of(jotting.kind).set(&mut jotting.details, path, &text) {
            Ok(()) => return Ok(()),
            Err(why) => desk.say(&why),
        }
    }
}

/// The faults by the flags that set the fields.
#[must_use]
pub fn named(kind: Kind, faults: &Faults) -> Failure {
    let lines: Vec<String> = faults
        .0
        .iter()
        .map(|fault| format!("{}: {}", flag(kind, &fault.pointer), fault.detail))
        .collect();
    Failure::Input(lines.join("; "))
}

/// The faults of a figure's input by the flags that gave it: `flag` knows the flag of a field.
#[must_use]
pub fn spoken(faults: &Faults, flag: impl Fn(&str) -> String) -> Failure {
    let lines: Vec<String> = faults
        .0
        .iter()
        .map(|fault| {
            let field = fault.pointer.split('/').nth(1).unwrap_or_default();
            if field.is_empty() {
                fault.detail.clone()
            } else {
                format!("--{}: {}", flag(field), fault.detail)
            }
        })
        .collect();
    Failure::Input(lines.join("; "))
}

/// The flag that sets what a pointer names.
fn flag(kind: Kind, pointer: &str) -> String {
    if pointer == "/performed_at" {
        return "--at".to_owned();
    }
    let path = pointer.trim_start_matches('/');
    match Form::of(kind).at(pointer) {
        Some(field) if !path.contains('/') => format!("--{}", field.flag),
        _ if path.is_empty() => kind.code().to_owned(),
        _ => format!("--set {}", path.replace('/', ".")),
    }
}
