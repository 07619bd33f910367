//! Putting a horse's log together for somebody else: which entries are kept back, and the signed file.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, NaiveDate, Utc};
use whorl_care::ids::{AccountId, DeviceId, EventId};
use whorl_care::kind::Kind as EventKind;
use whorl_contract::bundle::{
    Bundle, BundledEvent, BundledSigner, Exporter, FORMAT, LARGEST, NotedLicence, Seal,
};
use whorl_contract::canonical;
use whorl_contract::key::{Hash, Signature};
use whorl_store::events::{self, EventRow};
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError, accounts, ledger, licences, signers};

use crate::ledger::read_envelope;
use crate::log_view;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// A horse's log, and which of its events are kept back.
pub(crate) struct SealedLog {
    /// The events, in order.
    pub(crate) rows: Vec<EventRow>,
    /// For each of them, whether it is kept back.
    pub(crate) sealed: Vec<bool>,
}

impl SealedLog {
    /// Reads the log up to where the horse stands.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub(crate) fn read(db: &mut Db, horse: &HorseRow, seal: &Seal) -> Result<Self, StoreError> {
        let rows = events::range(db, horse.id, 0, horse.head_seq, i64::MAX)?;
        let sealed = sealed(&rows, seal)?;
        Ok(Self { rows, sealed })
    }
}

/// Which events are kept back. What is about another event goes with it, however far: a correction is never hidden
/// where the entry is shown, nor shown where the entry is hidden.
fn sealed(rows: &[EventRow], seal: &Seal) -> Result<Vec<bool>, StoreError> {
    let mut roots: HashMap<EventId, (EventKind, NaiveDate)> = HashMap::new();
    let mut sealed = Vec::with_capacity(rows.len());
    for row in rows {
        let envelope = read_envelope(row)?;
        // What an event is about stands before it in the log.
        let root = envelope
            .target_id
            .and_then(|target| roots.get(&target).copied())
            .unwrap_or((row.kind, envelope.performed_at.date_naive()));
        roots.insert(row.id, root);
        sealed.push(seal.covers(root.0, root.1));
    }
    Ok(sealed)
}

/// Checks that a seal can be kept.
///
/// # Errors
///
/// A problem that points to what can't stand.
pub(crate) fn check_seal(seal: &Seal) -> Result<(), Problem> {
    if let Some(n) = seal.kinds.iter().position(|kind| kind.is_about_another()) {
        return Err(Problem::invalid(
            format!("/seal/kinds/{n}"),
            "what amends, withdraws or countersigns an entry is kept back with that entry, and only with it",
        ));
    }
    for (name, day) in [("before", seal.before), ("after", seal.after)] {
        if day.is_some_and(|day| !(1900..=9998).contains(&chrono::Datelike::year(&day))) {
            return Err(Problem::invalid(
                format!("/seal/{name}"),
                "this is no day of a record",
            ));
        }
    }
    Ok(())
}

/// A bundle that lacks nothing but the server's signatures.
pub(crate) struct Unsigned {
    exporter: Exporter,
    horse: HorseRow,
    head: Hash,
    epoch: uuid::Uuid,
    events: Vec<BundledEvent>,
    signers: Vec<BundledSigner>,
}

impl Unsigned {
    /// Puts it together as the horse stands now.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub(crate) fn read(
        db: &mut Db,
        horse: HorseRow,
        exporter: AccountId,
        seal: &Seal,
    ) -> Result<Self, StoreError> {
        let log = SealedLog::read(db, &horse, seal)?;
        let mut devices = BTreeSet::new();
        let mut events = Vec::with_capacity(log.rows.len());
        for (row, sealed) in log.rows.iter().zip(log.sealed) {
            let event = if sealed && seal.leaf_only {
                BundledEvent {
                    seq: row.seq,
                    leaf: log_view::logged_event(row, false)?.leaf,
                    ..BundledEvent::default()
                }
            } else {
                devices.insert(row.device_id);
                whole(row, !sealed)?
            };
            events.push(event);
        }
        let exporter = Exporter {
            account_id: exporter,
            name: accounts::get(db, exporter)?.name,
        };
        Ok(Self {
            exporter,
            head: log_view::head_at(db, horse.id, horse.head_seq)?,
            epoch: ledger::epoch(db)?,
            signers: bundled_signers(db, devices)?,
            events,
            horse,
        })
    }

    /// Signs the head and the file; answers the file.
    ///
    /// # Errors
    ///
    /// [`Kind::TooLarge`] if no reader would take it.
    pub(crate) fn sign(self, state: &State, now: DateTime<Utc>) -> Result<Vec<u8>, Problem> {
        let (horse, seq) = (self.horse.id, self.horse.head_seq);
        let bundle = Bundle {
            format: FORMAT.to_owned(),
            server: state.config.name.clone(),
            server_key: state.keys.heads.public(),
            horse_id: horse,
            epoch: self.epoch,
            exported_at: now,
            exported_by: self.exporter,
            events: self.events,
            signers: self.signers,
            note: log_view::signed_head(state, self.epoch, horse, seq, self.head).note,
            signature: Signature([0; 64]),
        };
        let bytes = bundle.sign(&state.keys.heads).map_err(Problem::internal)?;
        if bytes.len() > LARGEST {
            return Err(Problem::new(
                Kind::TooLarge,
                format!("the history has more than {LARGEST} bytes as one file"),
            ));
        }
        Ok(bytes)
    }
}

/// An event with its envelope, and with its content unless that is kept back or erased.
fn whole(row: &EventRow, with_content: bool) -> Result<BundledEvent, StoreError> {
    let event = log_view::logged_event(row, true)?;
    let strict = |text: &str| {
        canonical::read(text).map_err(|why| {
            StoreError::Unreadable(format!(
                "event {} of horse {}: {why}",
                row.seq, row.horse_id
            ))
        })
    };
    let content = row.content.as_deref().filter(|_| with_content);
    Ok(BundledEvent {
        seq: row.seq,
        received_at: Some(event.received_at),
        envelope: Some(strict(&row.envelope)?),
        signature: event.signature,
        salt: event.salt.filter(|_| content.is_some()),
        content: content.map(strict).transpose()?,
        leaf: None,
    })
}

fn bundled_signers(
    db: &mut Db,
    devices: BTreeSet<DeviceId>,
) -> Result<Vec<BundledSigner>, StoreError> {
    let devices: Vec<DeviceId> = devices.into_iter().collect();
    let mut rows = signers::by_ids(db, &devices)?;
    rows.sort_by_key(|row| row.device_id);
    let people: BTreeSet<AccountId> = rows.iter().map(|row| row.account_id).collect();
    let people: Vec<AccountId> = people.into_iter().collect();
    let licences = licences::of(db, &people)?;
    rows.into_iter()
        .map(|row| {
            let licences = licences
                .iter()
                .filter(|(licence, _)| licence.account_id == row.account_id)
                .map(|(licence, _)| NotedLicence {
                    role: licence.role,
                    number: licence.number.clone(),
                    jurisdiction: licence.jurisdiction.clone(),
                    valid_until: licence.valid_until,
                    seen_at: licence.seen_at.map(|at| at.and_utc()),
                })
                .collect();
            let signer = log_view::signer(row)?;
            Ok(BundledSigner {
                device_id: signer.device_id,
                public_key: signer.public_key,
                account_id: signer.account_id,
                name: signer.name,
                licences,
            })
        })
        .collect()
}
