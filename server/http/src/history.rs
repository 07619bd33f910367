//! The history of a horse for people: what the log says now, entry by entry.
//!
//! An entry is an event that is about no other; amendments, retractions and countersignatures are folded into it.

mod csv;

use std::collections::{BTreeSet, HashMap};

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime};
use serde_json::Value;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_contract::event::{Content, Envelope};
use whorl_contract::history::{Countersignature, HistoryEntry, Standing};
use whorl_store::events::{self, EventRow, Window};
use whorl_store::{Db, StoreError, signers};

use crate::access::Access;
use crate::ledger::read_envelope;
pub(crate) use csv::table;

/// Which entries are wanted.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    /// Only these kinds; all if empty.
    pub(crate) kinds: Vec<Kind>,
    /// Only what happened from then on.
    pub(crate) from: Option<Edge>,
    /// Only what happened until then.
    pub(crate) until: Option<Edge>,
    /// Whether withdrawn entries are shown.
    pub(crate) retracted: bool,
    /// Where the page before ended.
    pub(crate) cursor: Option<Cursor>,
    /// How many entries a page has.
    pub(crate) limit: usize,
}

/// An end of the time that is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Edge {
    /// An instant, in UTC: what happened at it is later than it.
    Instant(NaiveDateTime),
    /// A day, by the wall clock where something happened; it is within what is asked for.
    Day(NaiveDate),
}

impl Edge {
    /// An instant before all that begins here: no wall clock is a day ahead of UTC.
    fn earliest(self) -> Option<NaiveDateTime> {
        match self {
            Self::Instant(at) => Some(at),
            Self::Day(day) => {
                Some(day.pred_opt()?.and_time(NaiveTime::MIN)).filter(|at| can_be_asked(*at))
            }
        }
    }

    /// An instant after all that ends here: no wall clock is a day behind UTC.
    fn latest(self) -> Option<NaiveDateTime> {
        match self {
            Self::Instant(at) => Some(at),
            Self::Day(day) => {
                let after = day.checked_add_days(Days::new(2))?;
                Some(after.and_time(NaiveTime::MIN)).filter(|at| can_be_asked(*at))
            }
        }
    }
}

impl Wanted {
    /// Whether an entry is wanted by the day on which it happened, by the wall clock there.
    fn fits(&self, entry: &HistoryEntry) -> bool {
        let day = entry.performed_at.map(|at| at.date_naive());
        let within = |edge: Option<Edge>, fits: fn(NaiveDate, NaiveDate) -> bool| match (edge, day)
        {
            (Some(Edge::Day(edge)), Some(day)) => fits(day, edge),
            _ => true,
        };
        (self.retracted || entry.standing != Standing::Retracted)
            && within(self.from, |day, from| day >= from)
            && within(self.until, |day, until| day <= until)
    }
}

/// Where a page ended: the instant and place of its last entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cursor(pub(crate) NaiveDateTime, pub(crate) i64);

impl Cursor {
    /// As text for the wire.
    pub(crate) fn text(self) -> String {
        format!("{}.{}", self.0.and_utc().timestamp_micros(), self.1)
    }

    /// Reads what [`Cursor::text`] wrote.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let (micros, seq) = text.split_once('.')?;
        let at = chrono::DateTime::from_timestamp_micros(micros.parse().ok()?)?;
        let at = Some(at.naive_utc()).filter(|at| can_be_asked(*at))?;
        Some(Self(at, seq.parse().ok()?))
    }
}

/// Whether both databases can compare a column with this instant.
pub(crate) fn can_be_asked(at: NaiveDateTime) -> bool {
    (1..=9999).contains(&at.year())
}

/// One page: the latest entries first by when they happened.
///
/// # Errors
///
/// [`StoreError`].
pub(crate) fn page(
    db: &mut Db,
    horse: HorseId,
    head_seq: i64,
    access: &Access,
    wanted: &Wanted,
) -> Result<(Vec<HistoryEntry>, Option<Cursor>), StoreError> {
    let until_seq = access.until_seq(head_seq);
    let all = !access.is_limited() && wanted.kinds.is_empty();
    let kinds = (!all).then(|| {
        let seen = access.kinds().into_iter();
        seen.filter(|kind| !kind.is_about_another())
            .filter(|kind| wanted.kinds.is_empty() || wanted.kinds.contains(kind))
            .collect()
    });
    let mut window = Window {
        until_seq,
        kinds,
        from: wanted.from.and_then(Edge::earliest),
        before: wanted.until.and_then(Edge::latest),
        cursor: wanted.cursor.map(|Cursor(at, seq)| (at, seq)),
    };
    let mut entries = Vec::new();
    let batch = wanted.limit + 1;
    // Withdrawn entries, and those of another day by the wall clock there, leave holes in a page; read on until it is full.
    loop {
        let rows = events::page(db, horse, &window, i64::try_from(batch).unwrap_or(i64::MAX))?;
        let ended = rows.len() < batch;
        window.cursor = rows.last().map(|row| (row.performed_at, row.seq));
        for (row, entry) in resolve(db, horse, rows, until_seq)? {
            if wanted.fits(&entry) {
                entries.push((Cursor(row.performed_at, row.seq), entry));
            }
        }
        if ended || entries.len() > wanted.limit {
            break;
        }
    }
    let more = entries.len() > wanted.limit;
    entries.truncate(wanted.limit);
    let cursor = entries.last().map(|(cursor, _)| *cursor).filter(|_| more);
    Ok((
        entries.into_iter().map(|(_, entry)| entry).collect(),
        cursor,
    ))
}

/// Folds what was said about each event into its entry.
fn resolve(
    db: &mut Db,
    horse: HorseId,
    rows: Vec<EventRow>,
    until_seq: i64,
) -> Result<Vec<(EventRow, HistoryEntry)>, StoreError> {
    let ids: Vec<EventId> = rows.iter().map(|row| row.id).collect();
    let upon = events::upon(db, horse, &ids, until_seq)?;
    let devices: BTreeSet<DeviceId> = rows.iter().chain(&upon).map(|row| row.device_id).collect();
    let devices: Vec<DeviceId> = devices.into_iter().collect();
    let names: HashMap<DeviceId, String> = signers::by_ids(db, &devices)?
        .into_iter()
        .map(|signer| (signer.device_id, signer.name))
        .collect();
    let mut about: HashMap<String, Vec<EventRow>> = HashMap::new();
    for row in upon {
        // What is said about an entry is seen by whoever may see the entry: it belongs to it.
        if let Some(target) = row.target_id.clone() {
            about.entry(target).or_default().push(row);
        }
    }
    rows.into_iter()
        .map(|row| {
            let said = about.remove(&row.id.to_string()).unwrap_or_default();
            let entry = entry(&row, &said, &names)?;
            Ok((row, entry))
        })
        .collect()
}

fn entry(
    row: &EventRow,
    said: &[EventRow],
    names: &HashMap<DeviceId, String>,
) -> Result<HistoryEntry, StoreError> {
    let envelope = read_envelope(row)?;
    let content = content(row)?;
    let sealed = content.is_none();
    let (performed_by, note, attachments, details) = match content {
        Some(content) => (
            content.performed_by,
            content.note,
            content.attachments,
            Some(content.details),
        ),
        None => (None, None, Vec::new(), None),
    };
    let mut entry = HistoryEntry {
        seq: row.seq,
        id: Some(row.id),
        kind: Some(row.kind),
        performed_at: Some(envelope.performed_at),
        recorded_at: Some(envelope.recorded_at),
        received_at: row.received_at.and_utc(),
        author_id: Some(envelope.author_id),
        author: names.get(&row.device_id).cloned(),
        device_id: Some(row.device_id),
        role: Some(envelope.role),
        provenance: Some(envelope.provenance),
        visit_id: envelope.visit_id,
        performed_by,
        note,
        attachments,
        details,
        standing: Standing::AsRecorded,
        amended_by: Vec::new(),
        retracted_by: None,
        reason: None,
        countersignatures: Vec::new(),
        sealed,
    };
    for one in said {
        fold(&mut entry, one, names)?;
    }
    Ok(entry)
}

/// Folds one amendment, retraction or countersignature into an entry, in the order of the log.
fn fold(
    entry: &mut HistoryEntry,
    row: &EventRow,
    names: &HashMap<DeviceId, String>,
) -> Result<(), StoreError> {
    let envelope: Envelope = read_envelope(row)?;
    let details = content(row)?
        .map(|content| content.details)
        .unwrap_or_default();
    let text = |name: &str| details.get(name).and_then(Value::as_str).map(str::to_owned);
    match row.kind {
        Kind::Amendment => {
            // Two people's amendments contradict each other until the first amends again.
            let others =
                entry.standing == Standing::Amended && entry.author_id != Some(envelope.author_id);
            if entry.standing != Standing::Retracted {
                entry.standing = if others {
                    Standing::Contested
                } else {
                    Standing::Amended
                };
                entry.reason = text("reason");
            }
            entry.details = details.get("details").cloned().or(entry.details.take());
            entry.provenance = entry.provenance.max(Some(envelope.provenance));
            entry.amended_by.push(row.id);
            // What was vouched for was the entry as it read before.
            entry.countersignatures.clear();
        }
        Kind::Retraction => {
            entry.standing = Standing::Retracted;
            entry.retracted_by = Some(row.id);
            entry.reason = text("reason");
        }
        Kind::Erasure => {
            entry.standing = Standing::Erased;
            entry.reason = text("reason");
        }
        Kind::Countersign => entry.countersignatures.push(Countersignature {
            event_id: row.id,
            by: names.get(&row.device_id).cloned().unwrap_or_default(),
            role: envelope.role,
            at: envelope.performed_at,
            statement: text("statement"),
        }),
        _ => {}
    }
    Ok(())
}

/// The content of an event; `None` once it was erased.
fn content(row: &EventRow) -> Result<Option<Content>, StoreError> {
    row.content
        .as_deref()
        .map(serde_json::from_str)
        .transpose()
        .map_err(|error| {
            StoreError::Unreadable(format!(
                "event {} of horse {}: {error}",
                row.seq, row.horse_id
            ))
        })
}
