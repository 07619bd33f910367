//! What a check of a bundle found, as programs read it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, EventId, HorseId};
use whorl_care::kind::Kind;
use whorl_care::profile;

use super::words;
use super::{Bundle, BundledSigner, NotedLicence};
use crate::event::Content;
use crate::genuine::Sealed;
use crate::key::PublicKey;
use crate::note::Head;

/// What is wrong with a bundle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultCode {
    /// The file is not in its one spelling.
    OtherSpelling,
    /// The server's signature doesn't fit the file.
    OtherFile,
    /// It is signed by another key than the reader expects.
    OtherServerKey,
    /// The signed head is not the server's, or of another horse or ledger.
    OtherHead,
    /// The signed head is of a longer or shorter log.
    OtherLength,
    /// The entries lead to another head.
    OtherChain,
    /// A device is introduced twice.
    SignerTwice,
    /// An entry stands in another's place.
    OutOfOrder,
    /// An entry stands there twice.
    EventTwice,
    /// A part of an entry can't be read, is missing or is too many.
    Damaged,
    /// An entry belongs to another horse.
    OtherHorse,
    /// An entry's content is not the one that was signed.
    OtherContent,
    /// An entry's signature is not its author's.
    OtherSignature,
    /// Nobody says whose key signed an entry.
    UnknownSigner,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// What.
    pub code: FaultCode,
    /// The entry's place in the log, where it is about one.
    pub seq: Option<i64>,
    /// In words.
    pub text: String,
}

/// How much of an entry is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    /// All of it.
    Whole,
    /// Kind, day and author, but not what it says.
    ContentWithheld,
    /// Only that it is there.
    LeafOnly,
}

/// One entry, in the order of the log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// Its place.
    pub seq: i64,
    /// How much of it is shown.
    pub shown: Shown,
    /// What it records.
    pub kind: Option<String>,
    /// When it happened, by the wall clock there.
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// Who signed it, as the server names them.
    pub author: Option<String>,
    /// In which capacity.
    pub role: Option<String>,
    /// How far it can be relied on.
    pub provenance: Option<String>,
}

/// Who signed entries in one capacity.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Author {
    /// Their account.
    pub account_id: AccountId,
    /// Their name, as the server has it.
    pub name: String,
    /// The capacity.
    pub role: String,
    /// How many entries of each provenance.
    pub entries: BTreeMap<String, usize>,
    /// Their licences for that capacity, as the server noted them.
    pub licences: Vec<NotedLicence>,
}

/// What is kept back.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Withheld {
    /// Entries whose content is withheld.
    pub content: usize,
    /// Of these, entries of which the owner erased the content for good: nobody has it.
    #[serde(default)]
    pub erased: usize,
    /// Entries of which only the leaf is there.
    pub leaf_only: usize,
    /// Of the former, how many of each kind.
    pub kinds: BTreeMap<String, usize>,
    /// The day of the first of them.
    #[schema(required)]
    pub first_day: Option<NaiveDate>,
    /// The day of the last of them.
    #[schema(required)]
    pub last_day: Option<NaiveDate>,
    /// The places of withheld words about entries that are shown: those entries may read differently by now.
    pub corrections: Vec<i64>,
}

impl Withheld {
    /// Counts one more entry whose content is withheld.
    pub fn note(&mut self, kind: &str, day: NaiveDate) {
        self.content += 1;
        *self.kinds.entry(kind.to_owned()).or_default() += 1;
        self.first_day = Some(self.first_day.map_or(day, |first| first.min(day)));
        self.last_day = Some(self.last_day.map_or(day, |last| last.max(day)));
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Report {
    /// Whether everything fits. If not, nothing in the file should be relied on.
    pub verified: bool,
    /// What doesn't fit.
    pub faults: Vec<Fault>,
    /// The server's name.
    pub server: String,
    /// Its key, as the file has it.
    pub server_key: PublicKey,
    /// Whether the reader gave the key to compare it with.
    pub key_was_given: bool,
    /// The horse.
    pub horse_id: HorseId,
    /// Its name, where an entry that is shown says it.
    pub horse: Option<String>,
    /// Which life of the ledger it comes from.
    pub epoch: Uuid,
    /// When the server signed the head.
    pub signed_at: Option<DateTime<Utc>>,
    /// When the file was made.
    pub exported_at: DateTime<Utc>,
    /// Who had it made.
    pub exported_by: String,
    /// The number of entries in the log.
    pub entries: usize,
    /// Who signed what is shown.
    pub authors: Vec<Author>,
    /// What is kept back.
    pub withheld: Withheld,
    /// The entries, in the order of the log.
    pub log: Vec<Line>,
    /// What is proven, in words; empty where something doesn't fit.
    pub proven: Vec<String>,
    /// What this file can't prove, in words.
    pub not_proven: Vec<String>,
}

/// An event that was checked.
#[derive(Debug)]
pub(super) struct Seen<'a> {
    pub(super) seq: i64,
    pub(super) shown: Shown,
    pub(super) sealed: Option<Sealed>,
    pub(super) signer: Option<&'a BundledSigner>,
    pub(super) content: Option<Content>,
}

impl Seen<'_> {
    /// An event of which only the leaf is there.
    pub(super) fn leaf(seq: i64) -> Self {
        Self {
            seq,
            shown: Shown::LeafOnly,
            sealed: None,
            signer: None,
            content: None,
        }
    }
}

/// Puts the report together.
pub(super) fn of(
    bundle: &Bundle,
    key_was_given: bool,
    seen: &[Seen<'_>],
    signed: Option<&Head>,
    faults: Vec<Fault>,
) -> Report {
    let mut report = Report {
        verified: faults.is_empty(),
        faults,
        server: bundle.server.clone(),
        server_key: bundle.server_key,
        key_was_given,
        horse_id: bundle.horse_id,
        horse: name(seen),
        epoch: bundle.epoch,
        signed_at: signed.map(|head| head.at),
        exported_at: bundle.exported_at,
        exported_by: bundle.exported_by.name.clone(),
        entries: bundle.events.len(),
        authors: authors(seen),
        withheld: withheld(seen),
        log: seen.iter().map(line).collect(),
        proven: Vec::new(),
        not_proven: Vec::new(),
    };
    if report.verified {
        report.proven = words::proven(&report);
        report.not_proven = words::not_proven(&report);
    }
    report
}

/// The horse's name, from what is shown.
fn name(seen: &[Seen<'_>]) -> Option<String> {
    let care = |one: &Seen<'_>| {
        let bare = &one.sealed.as_ref()?.bare;
        Some(CareEvent {
            kind: bare.kind.parse().ok()?,
            details: one.content.as_ref()?.details.clone(),
            performed_at: Some(bare.performed_at),
            performed_on: None,
            id: Some(bare.id),
            target_id: bare.target_id,
            role: bare.role.parse().ok(),
            provenance: bare.provenance.parse().ok()?,
            countersigned_by: None,
        })
    };
    let events: Vec<CareEvent> = seen.iter().filter_map(care).collect();
    profile::profile(&events).name
}

fn line(one: &Seen<'_>) -> Line {
    let bare = one.sealed.as_ref().map(|sealed| &sealed.bare);
    Line {
        seq: one.seq,
        shown: one.shown,
        kind: bare.map(|bare| bare.kind.clone()),
        performed_at: bare.map(|bare| bare.performed_at),
        author: one.signer.map(|signer| signer.name.clone()),
        role: bare.map(|bare| bare.role.clone()),
        provenance: bare.map(|bare| bare.provenance.clone()),
    }
}

fn authors(seen: &[Seen<'_>]) -> Vec<Author> {
    let mut authors: BTreeMap<(AccountId, String), Author> = BTreeMap::new();
    for one in seen {
        let (Some(sealed), Some(signer)) = (&one.sealed, one.signer) else {
            continue;
        };
        let bare = &sealed.bare;
        let author = authors
            .entry((signer.account_id, bare.role.clone()))
            .or_insert_with(|| Author {
                account_id: signer.account_id,
                name: signer.name.clone(),
                role: bare.role.clone(),
                entries: BTreeMap::new(),
                licences: signer
                    .licences
                    .iter()
                    .filter(|licence| licence.role.code() == bare.role)
                    .cloned()
                    .collect(),
            });
        *author.entries.entry(bare.provenance.clone()).or_default() += 1;
    }
    let mut authors: Vec<Author> = authors.into_values().collect();
    authors.sort_by(|one, other| (&one.name, &one.role).cmp(&(&other.name, &other.role)));
    authors
}

fn withheld(seen: &[Seen<'_>]) -> Withheld {
    let mut withheld = Withheld::default();
    let whole: BTreeSet<EventId> = seen
        .iter()
        .filter(|one| one.shown == Shown::Whole)
        .filter_map(|one| one.sealed.as_ref().map(|sealed| sealed.bare.id))
        .collect();
    let erased: BTreeSet<EventId> = seen
        .iter()
        .filter_map(|one| one.sealed.as_ref().map(|sealed| &sealed.bare))
        .filter(|bare| bare.kind == Kind::Erasure.code())
        .filter_map(|bare| bare.target_id)
        .collect();
    for one in seen {
        match (one.shown, &one.sealed) {
            (Shown::LeafOnly, _) => withheld.leaf_only += 1,
            (Shown::ContentWithheld, Some(sealed)) => {
                let bare = &sealed.bare;
                withheld.note(&bare.kind, bare.performed_at.date_naive());
                let gone = |id: &EventId| erased.contains(id);
                let is_erased = gone(&bare.id) || bare.target_id.as_ref().is_some_and(gone);
                withheld.erased += usize::from(is_erased);
                if bare.target_id.is_some_and(|target| whole.contains(&target)) {
                    withheld.corrections.push(one.seq);
                }
            }
            _ => {}
        }
    }
    withheld
}
