//! What somebody wants written down of a horse, before it is an event: the details and what stands beside them.

use std::path::PathBuf;

use chrono::{DateTime, FixedOffset};
use chrono_tz::Tz;
use diesel::sqlite::SqliteConnection;
use serde_json::{Map, Value};
use whorl_care::details::to_metric;
use whorl_care::ids::{BarnId, VisitId};
use whorl_care::kind::{Kind, Role};
use whorl_contract::event::{Content, PerformedBy};

use crate::attachments;
use crate::author::Draft;
use crate::failure::Failure;
use crate::form::{Form, Shape};
use crate::herd::{self, Known};
use crate::home::Home;
use crate::visit;
use crate::when;
use crate::world::Machine;

/// What stands beside the details of any kind.
#[derive(Clone, Debug, Default, clap::Args)]
#[command(next_help_heading = "For every kind")]
pub struct Beside {
    /// When it was done, by the clock where the horse stands: 09:20, 2027-03-04, "2027-03-04 09:20"; now if left out
    #[arg(long, value_name = "WHEN")]
    pub at: Option<String>,
    /// Free text
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// A photo or document that belongs to it; may be given several times
    #[arg(long = "photo", value_name = "FILE")]
    pub photos: Vec<PathBuf>,
    /// Leave in photos what the camera wrote beside the picture: where and when it was taken, and with what
    #[arg(long, requires = "photos")]
    pub photo_as_it_is: bool,
    /// It is copied from paper
    #[arg(long)]
    pub transcribed: bool,
    /// Who did the work, if that was not you
    #[arg(long, value_name = "NAME")]
    pub performed_by: Option<String>,
    /// Their licence, as it stands on the paper
    #[arg(long, value_name = "NUMBER", requires = "performed_by")]
    pub licence: Option<String>,
    /// In which of your roles you did it: owner, `barn_staff`, farrier or vet
    #[arg(long)]
    pub role: Option<Role>,
    /// It belongs to today's trip to this barn, or to the trip with this id
    #[arg(long, value_name = "ID", num_args = 0..=1, require_equals = true, default_missing_value = "")]
    pub visit: Option<String>,
}

/// What somebody wants written down.
#[derive(Clone, Debug)]
pub struct Jotting {
    /// The kind.
    pub kind: Kind,
    /// The horse.
    pub horse: Known,
    /// The details by the form's names, in the record's units or the trade's.
    pub details: Map<String, Value>,
    /// What stands beside them.
    pub beside: Beside,
}

impl Jotting {
    /// The clock of the place where the horse stands; none if this device doesn't know it.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the database can't be read.
    pub fn zone(&self, conn: &mut SqliteConnection) -> Result<Option<Tz>, Failure> {
        zone(conn, &self.horse)
    }

    /// When it was done: as given, else `now`, by the clock of the place.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if the text is no moment.
    pub fn performed_at(
        &self,
        now: DateTime<FixedOffset>,
        zone: Option<Tz>,
    ) -> Result<DateTime<FixedOffset>, Failure> {
        match &self.beside.at {
            Some(text) => moment(text, now, zone),
            None => Ok(by_clock(now, zone)),
        }
    }

    /// The draft of the event, and what was taken off its photos. Files are copied into the client's folder.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] or [`Failure::Invalid`] with what is wrong.
    pub fn draft(
        &self,
        conn: &mut SqliteConnection,
        home: &Home,
        machine: Machine<'_>,
    ) -> Result<(Draft, Vec<String>), Failure> {
        let now = machine.now();
        let zone = self.zone(conn)?;
        let performed_at = self.performed_at(now, zone)?;
        let mut details = to_metric(self.kind, Value::Object(self.details.clone()))?;
        settle_moments(self.kind, &mut details, now, zone)?;
        let as_it_is = self.beside.photo_as_it_is;
        let (mut files, mut taken_off) = (Vec::new(), Vec::new());
        for photo in &self.beside.photos {
            let copied = attachments::copy(home, photo, None, as_it_is)?;
            files.push(copied.file);
            taken_off.extend(copied.taken_off);
        }
        let draft = Draft {
            horse_id: self.horse.id,
            kind: self.kind,
            performed_at,
            role: self.beside.role,
            transcribed: self.beside.transcribed,
            visit_id: self.visit(conn, machine, performed_at)?,
            target_id: None,
            content: Content {
                performed_by: self.beside.performer(),
                note: self.beside.note.clone(),
                attachments: files,
                details,
            },
        };
        Ok((draft, taken_off))
    }

    fn visit(
        &self,
        conn: &mut SqliteConnection,
        machine: Machine<'_>,
        at: DateTime<FixedOffset>,
    ) -> Result<Option<VisitId>, Failure> {
        let barn = self.horse.horse.as_ref().map(|horse| horse.barn_id);
        match (self.beside.visit.as_deref(), barn) {
            (None, _) => Ok(None),
            (Some(""), Some(barn)) => visit::on(conn, machine, barn, at.date_naive()).map(Some),
            (Some(""), None) => Err(Failure::input(
                "this device doesn't know where the horse stands; give the trip's id with --visit=ID",
            )),
            (Some(id), _) => id.parse().map(Some).map_err(|_| {
                Failure::input(format!(
                    "`{id}` is no id of a trip; --visit alone means today's"
                ))
            }),
        }
    }
}

impl Beside {
    /// Who did the work, if that was not the author.
    #[must_use]
    pub fn performer(&self) -> Option<PerformedBy> {
        self.performed_by.as_ref().map(|name| PerformedBy {
            name: name.trim().to_owned(),
            licence: self.licence.clone(),
        })
    }
}

/// The clock of the place where a horse stands; none if this device doesn't know it.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn zone(conn: &mut SqliteConnection, horse: &Known) -> Result<Option<Tz>, Failure> {
    let Some(barn_id) = horse.horse.as_ref().map(|horse| horse.barn_id) else {
        return Ok(None);
    };
    zone_of(conn, barn_id)
}

/// The time zone of a barn, if it is known here.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn zone_of(conn: &mut SqliteConnection, barn_id: BarnId) -> Result<Option<Tz>, Failure> {
    let barn = herd::barns(conn)?
        .into_iter()
        .find(|barn| barn.id == barn_id);
    Ok(barn.and_then(|barn| barn.time_zone.parse().ok()))
}

/// The same instant by the clock of the place, if that is known.
#[must_use]
pub fn by_clock(now: DateTime<FixedOffset>, zone: Option<Tz>) -> DateTime<FixedOffset> {
    zone.map_or(now, |zone| now.with_timezone(&zone).fixed_offset())
}

/// A moment by the clock of the place, else by the clock here.
///
/// # Errors
///
/// [`Failure::Input`] if the text is no moment.
pub fn moment(
    text: &str,
    now: DateTime<FixedOffset>,
    zone: Option<Tz>,
) -> Result<DateTime<FixedOffset>, Failure> {
    match zone {
        Some(zone) => when::moment_at(text, now, zone),
        None => when::moment(text, now),
    }
}

/// Moments among the details get the offset of the place.
fn settle_moments(
    kind: Kind,
    details: &mut Value,
    now: DateTime<FixedOffset>,
    zone: Option<Tz>,
) -> Result<(), Failure> {
    let fields = Form::of(kind).fields().iter();
    for field in fields.filter(|field| matches!(field.shape, Shape::Moment)) {
        if let Some(value) = details.get_mut(&field.name)
            && let Some(text) = value.as_str()
        {
            *value = moment(text, now, zone)?.to_rfc3339().into();
        }
    }
    Ok(())
}
