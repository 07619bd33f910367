//! Notices as their readers see them: what each says is read from the log as it stands, within what the reader may see now.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Utc};
use whorl_care::alarm::Alarm;
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId, NoticeId};
use whorl_care::kind::Kind;
use whorl_care::notice::{State, is_urgent};
use whorl_care::profile;
use whorl_care::rules::Rules;
use whorl_care::sentence;
use whorl_contract::event::open_envelope;
use whorl_contract::horse::Horse;
use whorl_contract::notice::Notice;
use whorl_store::events::{self, EventRow};
use whorl_store::held_events::{self, HeldEventRow};
use whorl_store::horses::HorseRow;
use whorl_store::notices::{self, NoticeRow, Place};
use whorl_store::{Db, StoreError, accounts, signers};

use super::Reading;
use crate::access::{self, Access};
use crate::herd;
use crate::ledger::{care_events, read_envelope};

/// No more unread notices than this are counted.
pub(crate) const MOST_COUNTED: usize = 1_000;

/// Where a page ended: among what is unread or read, and the place there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cursor {
    read: bool,
    place: Place,
}

impl Cursor {
    /// As text for the wire.
    pub(crate) fn text(self) -> String {
        let part = if self.read { "r" } else { "u" };
        let (at, id) = self.place;
        format!("{part}.{}.{id}", at.and_utc().timestamp_micros())
    }

    /// Reads what [`Cursor::text`] wrote.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let mut parts = text.splitn(3, '.');
        let read = match parts.next()? {
            "r" => true,
            "u" => false,
            _ => return None,
        };
        let at = DateTime::from_timestamp_micros(parts.next()?.parse().ok()?)?.naive_utc();
        let id: NoticeId = parts.next()?.parse().ok()?;
        Some(at)
            .filter(|at| crate::history::can_be_asked(*at))
            .map(|at| Self {
                read,
                place: (at, id),
            })
    }
}

/// Which notices are wanted.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wanted {
    /// Whether those that were read are left out.
    pub(crate) only_unread: bool,
    /// Where the page before ended.
    pub(crate) cursor: Option<Cursor>,
    /// How many.
    pub(crate) limit: usize,
}

/// What somebody may see now, by horse.
type Visible = HashMap<HorseId, (HorseRow, Access)>;

/// One page of somebody's notices: what is unread first, the latest first. What their grants no more cover isn't shown.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn page(
    db: &mut Db,
    account: AccountId,
    (now, rules): (DateTime<Utc>, &Rules),
    wanted: Wanted,
) -> Result<(Vec<Notice>, Option<Cursor>), StoreError> {
    let (rows, more) = rows(db, account, now, wanted)?;
    let cursor = rows.last().filter(|_| more).map(|row| Cursor {
        read: row.read_at.is_some(),
        place: (row.changed_at, row.id),
    });
    let visible = visible(db, account, now)?;
    Ok((views(db, rules, rows, &visible)?, cursor))
}

/// How many notices of somebody's are unread.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn unread(
    db: &mut Db,
    account: AccountId,
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let wanted = Wanted {
        only_unread: true,
        cursor: None,
        limit: MOST_COUNTED,
    };
    Ok(rows(db, account, now, wanted)?.0.len())
}

/// One notice as its reader may see it now; none if they may not.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn one(
    db: &mut Db,
    row: NoticeRow,
    (now, rules): (DateTime<Utc>, &Rules),
) -> Result<Option<Notice>, StoreError> {
    let seen = match access::horse(db, row.account_id, row.horse_id, now) {
        Ok(seen) => seen,
        Err(StoreError::NotFound) => return Ok(None),
        Err(error) => return Err(error),
    };
    if !may_see(&seen.1, &row) {
        return Ok(None);
    }
    let visible = HashMap::from([(row.horse_id, seen)]);
    Ok(views(db, rules, vec![row], &visible)?.pop())
}

/// The rows of a page that may be seen, and whether there are more.
fn rows(
    db: &mut Db,
    account: AccountId,
    now: DateTime<Utc>,
    wanted: Wanted,
) -> Result<(Vec<NoticeRow>, bool), StoreError> {
    let batch = i64::try_from(wanted.limit + 1).unwrap_or(i64::MAX);
    let mut found: Vec<NoticeRow> = Vec::new();
    // Asked for once there is something to show: most people look when there is nothing.
    let mut seen: Option<Visible> = None;
    for read in [false, true] {
        let before_this = wanted.cursor.is_some_and(|cursor| cursor.read && !read);
        if before_this || (read && wanted.only_unread) {
            continue;
        }
        let mut after = wanted
            .cursor
            .filter(|cursor| cursor.read == read)
            .map(|cursor| cursor.place);
        loop {
            let rows = notices::page(db, account, read, after, batch)?;
            after = rows.last().map(|row| (row.changed_at, row.id));
            let ended = i64::try_from(rows.len()).unwrap_or(i64::MAX) < batch;
            if !rows.is_empty() && seen.is_none() {
                seen = Some(visible(db, account, now)?);
            }
            let shown = |row: &NoticeRow| {
                let horse = seen.as_ref().and_then(|seen| seen.get(&row.horse_id));
                horse.is_some_and(|(_, access)| may_see(access, row))
            };
            found.extend(rows.into_iter().filter(shown));
            if ended || found.len() > wanted.limit {
                break;
            }
        }
        if found.len() > wanted.limit {
            break;
        }
    }
    let more = found.len() > wanted.limit;
    found.truncate(wanted.limit);
    Ok((found, more))
}

fn visible(db: &mut Db, account: AccountId, now: DateTime<Utc>) -> Result<Visible, StoreError> {
    let horses = access::horses_visible(db, account, now)?;
    Ok(horses
        .into_iter()
        .map(|(horse, access)| (horse.id, (horse, access)))
        .collect())
}

/// Whether a notice is still for its reader: a former owner keeps what they could read, but is told nothing any more.
fn may_see(access: &Access, row: &NoticeRow) -> bool {
    if row.held {
        return access.is_owner();
    }
    access.is_in_force() && access.may_see(row.kind, row.seq)
}

/// Everything that notices are read from, fetched for all of them together.
struct Sources {
    horses: HashMap<HorseId, Horse>,
    shaping: HashMap<HorseId, Vec<CareEvent>>,
    entries: HashMap<EventId, EventRow>,
    held: HashMap<EventId, HeldEventRow>,
    signers: HashMap<DeviceId, String>,
    authors: HashMap<AccountId, String>,
}

impl Sources {
    fn of(db: &mut Db, rows: &[NoticeRow], visible: &Visible) -> Result<Self, StoreError> {
        let horses: BTreeSet<HorseId> = rows.iter().map(|row| row.horse_id).collect();
        let seen: Vec<(HorseRow, Access)> = horses
            .iter()
            .filter_map(|id| visible.get(id).cloned())
            .collect();
        let horses: Vec<HorseId> = horses.into_iter().collect();
        let ids = |held: bool| -> Vec<EventId> {
            let wanted = rows.iter().filter(|row| row.held == held);
            wanted.map(|row| row.event_id).collect()
        };
        let entries = events::by_ids(db, &ids(false))?;
        let held = held_events::by_ids(db, &ids(true))?;
        let devices: Vec<DeviceId> = entries.iter().map(|row| row.device_id).collect();
        let authors: Vec<AccountId> = held.iter().map(|row| row.author_id).collect();
        let mut shaping: HashMap<HorseId, Vec<CareEvent>> = HashMap::new();
        let telling = [
            Kind::Identity,
            Kind::Amendment,
            Kind::Retraction,
            Kind::Erasure,
        ];
        for row in events::of_kinds(db, &horses, &telling)? {
            let said = care_events(std::slice::from_ref(&row));
            shaping.entry(row.horse_id).or_default().extend(said);
        }
        Ok(Self {
            horses: herd::views(db, seen)?
                .into_iter()
                .map(|horse| (horse.id, horse))
                .collect(),
            shaping,
            signers: signers::by_ids(db, &devices)?
                .into_iter()
                .map(|signer| (signer.device_id, signer.name))
                .collect(),
            authors: accounts::names(db, &authors)?,
            entries: entries.into_iter().map(|row| (row.id, row)).collect(),
            held: held.into_iter().map(|row| (row.id, row)).collect(),
        })
    }
}

fn views(
    db: &mut Db,
    rules: &Rules,
    rows: Vec<NoticeRow>,
    visible: &Visible,
) -> Result<Vec<Notice>, StoreError> {
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let sources = Sources::of(db, &rows, visible)?;
    rows.into_iter()
        .map(|row| {
            let mut notice = bare(&row, &sources);
            if row.held {
                tell_held(&mut notice, &row, &sources);
            } else {
                tell_entry(&mut notice, &row, &sources, rules)?;
            }
            Ok(notice)
        })
        .collect()
}

/// A notice without what the record says.
fn bare(row: &NoticeRow, sources: &Sources) -> Notice {
    let profile = sources
        .horses
        .get(&row.horse_id)
        .map(|horse| &horse.profile);
    Notice {
        id: row.id,
        horse_id: row.horse_id,
        horse: profile.and_then(|one| one.name.clone().or_else(|| one.registered_name.clone())),
        event_id: row.event_id,
        kind: row.kind,
        topic: row.topic,
        state: row.state,
        urgent: false,
        text: Vec::new(),
        reason: None,
        by: None,
        role: None,
        performed_at: None,
        raised_at: row.raised_at.and_utc(),
        changed_at: row.changed_at.and_utc(),
        read_at: row.read_at.map(|at| at.and_utc()),
    }
}

/// Tells of an entry in the log.
fn tell_entry(
    notice: &mut Notice,
    row: &NoticeRow,
    sources: &Sources,
    rules: &Rules,
) -> Result<(), StoreError> {
    let none = Vec::new();
    let shaping = sources.shaping.get(&row.horse_id).unwrap_or(&none);
    let Some(entry) = sources.entries.get(&row.event_id) else {
        return Ok(());
    };
    let envelope = read_envelope(entry)?;
    notice.by = sources.signers.get(&entry.device_id).cloned();
    notice.role = Some(envelope.role);
    notice.performed_at = Some(envelope.performed_at);
    let withdrawn = row.state == State::Withdrawn;
    // Of a withdrawn one, what it had said: the entry as it was recorded.
    let heard = shaping.iter().filter(|_| !withdrawn);
    let foaled_on = profile::profile(shaping).foaled_on;
    let flags = Reading::of(heard, foaled_on, rules).flags(entry);
    notice.urgent = !withdrawn && is_urgent(&flags);
    notice.text = texts(flags, row);
    let erased = entry.content.is_none();
    if erased {
        let said = "What the entry said was erased since: find out before you rely on it.";
        notice.text.push(said.to_owned());
    }
    if erased || row.state != State::Raised {
        let said = shaping.iter().rev();
        notice.reason = said
            .filter(|one| one.target_id == Some(row.event_id))
            .find_map(|one| one.details.get("reason")?.as_str().map(str::to_owned));
    }
    Ok(())
}

/// What the red flags say; where the content was erased or the rules have changed since, what the notice is about.
fn texts(flags: Vec<Alarm>, row: &NoticeRow) -> Vec<String> {
    if flags.is_empty() {
        return vec![format!("{}.", sentence::capital(row.topic.headline()))];
    }
    flags.into_iter().map(|flag| flag.text).collect()
}

/// Tells an owner of a record that is held.
fn tell_held(notice: &mut Notice, row: &NoticeRow, sources: &Sources) {
    let Some(held) = sources.held.get(&row.event_id) else {
        return;
    };
    notice.by = sources.authors.get(&held.author_id).cloned();
    if let Ok((envelope, _)) = open_envelope(&held.envelope) {
        notice.role = Some(envelope.role);
        notice.performed_at = Some(envelope.performed_at);
    }
    notice.reason = Some(held.reason.clone());
    let what = sentence::words(row.kind.code());
    notice.text = vec![match held.accepted {
        None => format!(
            "A record ({what}) came in after its author's grant had ended. Accept it into the log, or refuse it: whorl held."
        ),
        Some(true) => format!("The record ({what}) that was held was accepted into the log."),
        Some(false) => {
            format!("The record ({what}) that was held was refused; it stays out of the log.")
        }
    }];
}
