//! A horse's events as the care engine reads them: our verified copy of the log, then what waits in the outbox.

use std::collections::BTreeSet;

use diesel::sqlite::SqliteConnection;
use whorl_care::horse::CareEvent;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_contract::event::{Envelope, care_event};

use crate::failure::Failure;
use crate::mirror;
use crate::outbox::{self, State};

/// Every event whose content is known here, in the order of the log, then of recording. What the server refused is
/// left out; a kind that this version doesn't know is, too.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn events(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<CareEvent>, Failure> {
    let mut events = Vec::new();
    for entry in mirror::log(conn, horse)? {
        if let (Some(envelope), Some(content)) = (&entry.envelope, &entry.content) {
            events.extend(care_event(envelope, content));
        }
    }
    for entry in outbox::of_horse(conn, horse)? {
        if entry.state.0 != State::Refused {
            events.extend(care_event(&entry.envelope, &entry.content));
        }
    }
    Ok(events)
}

/// What of a horse's record this account may not see.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Withheld {
    /// Where there are entries of which not even the kind may be known: the kinds that none of them is of.
    unnamed: Option<BTreeSet<Kind>>,
    /// Kinds of entries whose content is withheld.
    kinds: BTreeSet<Kind>,
}

impl Withheld {
    /// What is withheld of a horse's log.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the database can't be read.
    pub fn of(conn: &mut SqliteConnection, horse: HorseId) -> Result<Self, Failure> {
        let mut withheld = Self::default();
        for entry in mirror::log(conn, horse)? {
            let kind = entry
                .envelope
                .as_deref()
                .and_then(|envelope| serde_json::from_str::<Envelope>(envelope).ok())
                .map(|envelope| envelope.kind);
            match (kind, &entry.content) {
                (None, _) => withheld.add_unnamed(entry.open_kinds.as_deref().unwrap_or_default()),
                (Some(kind), None) => drop(withheld.kinds.insert(kind)),
                (Some(_), Some(_)) => {}
            }
        }
        Ok(withheld)
    }

    /// Adds an entry that is of none of these kinds; a code that this version doesn't know says nothing.
    fn add_unnamed(&mut self, open: &str) {
        let open: BTreeSet<Kind> = open
            .split(',')
            .filter_map(|code| code.parse().ok())
            .collect();
        self.unnamed = Some(match self.unnamed.take() {
            None => open,
            Some(before) => before.intersection(&open).copied().collect(),
        });
    }

    /// Whether all is seen.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        self.unnamed.is_none() && self.kinds.is_empty()
    }

    /// Whether an entry of this kind, or a correction of one, may be among it. A correction whose content alone is withheld
    /// may be of any kind.
    #[must_use]
    pub fn may_hold(&self, kind: Kind) -> bool {
        self.unnamed
            .as_ref()
            .is_some_and(|open| !open.contains(&kind))
            || self.kinds.contains(&kind)
            || Kind::ABOUT_OTHERS
                .iter()
                .any(|kind| self.kinds.contains(kind))
    }
}

/// The envelope of an event, from the log or from the outbox; none if it isn't here or is sealed.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn envelope(conn: &mut SqliteConnection, id: EventId) -> Result<Option<Envelope>, Failure> {
    let text = match mirror::find(conn, id)? {
        Some(entry) => entry.envelope,
        None => outbox::find(conn, id)?.map(|entry| entry.envelope),
    };
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

/// The ids of every event on this device.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn ids(conn: &mut SqliteConnection) -> Result<Vec<EventId>, Failure> {
    let mut ids = mirror::event_ids(conn)?;
    let waiting = outbox::all(conn)?.into_iter().map(|entry| entry.event_id.0);
    ids.extend(waiting);
    ids.sort_unstable();
    ids.dedup();
    Ok(ids)
}

/// Which horse an event on this device is about.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn horse_of(conn: &mut SqliteConnection, id: EventId) -> Result<Option<HorseId>, Failure> {
    if let Some(entry) = mirror::find(conn, id)? {
        return Ok(Some(entry.horse_id.0));
    }
    Ok(outbox::find(conn, id)?.map(|entry| entry.horse_id.0))
}
