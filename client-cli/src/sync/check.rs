//! Whether a run of a log is what it claims to be: its places follow each other, its chain fits to what we hold, and
//! each event carries the signature of the device that it names. Pure.
//!
//! An event of a later vocabulary is checked like any other and kept as it is.

use std::collections::BTreeMap;
use std::fmt;

use serde_json::Value;
use serde_json::value::RawValue;
use whorl_care::ids::{DeviceId, HorseId};
use whorl_contract::canonical;
use whorl_contract::chain;
use whorl_contract::event::LoggedEvent;
use whorl_contract::genuine::{self, Sealed, Wrong};
use whorl_contract::key::Hash;
use whorl_contract::sync::{Run, Signer};

use crate::mirror::{self, Logged, Place};
use crate::stored::{At, Stored};

/// A log that is not what it claims to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// The horse.
    pub horse_id: HorseId,
    /// The first place that doesn't fit, as far as that can be told.
    pub seq: i64,
    /// What doesn't.
    pub why: Why,
}

/// What doesn't fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// Another place than the next one came.
    OutOfOrder {
        /// The place that came.
        came: i64,
    },
    /// A part can't be read, or doesn't belong there.
    Damaged(String),
    /// The content is another one than the envelope commits to.
    OtherContent,
    /// The signature was not made by the device that the event names.
    OtherSignature,
    /// Nobody says whose key signed it.
    UnknownSigner(DeviceId),
    /// Another key is given for a device than before.
    OtherKey {
        /// The device.
        device: DeviceId,
        /// Whose it is.
        name: String,
    },
    /// The chain ends in another head than the server states.
    OtherHead,
    /// The server signed another head for this place than it shows.
    OtherSignedHead,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfOrder { came } => write!(f, "entry {came} came in its place"),
            Self::Damaged(why) => write!(f, "it is damaged ({why})"),
            Self::OtherContent => f.write_str("what it says was changed after it was signed"),
            Self::OtherSignature => f.write_str("its signature is not by the device that it names"),
            Self::UnknownSigner(device) => {
                write!(f, "the server doesn't say whose device {device} signed it")
            }
            Self::OtherKey { device, name } => write!(
                f,
                "the server gives another key for the device {device} of {name} than before; ask {name} by another \
                 way whether they renewed it"
            ),
            Self::OtherHead => {
                f.write_str("from there on the chain leads to another head than the server states")
            }
            Self::OtherSignedHead => {
                f.write_str("the server once signed another state of the log at this place")
            }
        }
    }
}

impl From<Wrong> for Why {
    fn from(wrong: Wrong) -> Self {
        match wrong {
            Wrong::Damaged(why) => Self::Damaged(why),
            Wrong::OtherHorse => Self::Damaged(wrong.to_string()),
            Wrong::OtherContent => Self::OtherContent,
            Wrong::OtherSignature => Self::OtherSignature,
            Wrong::UnknownSigner(device) => Self::UnknownSigner(device),
        }
    }
}

/// The devices that may have signed: those that we knew, and those that the server introduces. For a device that we
/// knew, a new key or another person is not believed; such devices are answered beside.
#[must_use]
pub fn introduce(
    known: &BTreeMap<DeviceId, Signer>,
    new: &[Signer],
) -> (BTreeMap<DeviceId, Signer>, Vec<Why>) {
    let mut all = known.clone();
    let mut changed = Vec::new();
    for signer in new {
        match all.get(&signer.device_id) {
            Some(old)
                if old.public_key != signer.public_key || old.account_id != signer.account_id =>
            {
                changed.push(Why::OtherKey {
                    device: signer.device_id,
                    name: old.name.clone(),
                });
            }
            _ => drop(all.insert(signer.device_id, signer.clone())),
        }
    }
    (all, changed)
}

/// Checks a run that goes on from `base`; answers its entries as they are kept.
///
/// # Errors
///
/// [`Misfit`] with the first place that doesn't fit. A chain that ends in another head than stated may have parted
/// anywhere in the run, so its first place is named.
pub fn run(
    run: &Run,
    base: Place,
    signers: &BTreeMap<DeviceId, Signer>,
) -> Result<Vec<Logged>, Misfit> {
    let misfit = |seq, why| Misfit {
        horse_id: run.horse_id,
        seq,
        why,
    };
    let mut place = base;
    let mut entries = Vec::with_capacity(run.events.len());
    for logged in &run.events {
        let seq = place.seq + 1;
        if logged.seq != seq {
            return Err(misfit(seq, Why::OutOfOrder { came: logged.seq }));
        }
        let mut entry = one(run.horse_id, logged, signers).map_err(|why| misfit(seq, why))?;
        place = Place {
            seq,
            head: chain::next(&place.head, &entry.leaf.0),
        };
        entry.head = Stored(place.head);
        if entry.envelope.is_none() && !run.kinds.is_empty() {
            entry.open_kinds = Some(mirror::codes(&run.kinds));
        }
        entries.push(entry);
    }
    if place.head != run.head {
        return Err(misfit(base.seq + 1, Why::OtherHead));
    }
    Ok(entries)
}

/// Checks one entry by itself. Its head is filled in by the caller.
fn one(
    horse_id: HorseId,
    logged: &LoggedEvent,
    signers: &BTreeMap<DeviceId, Signer>,
) -> Result<Logged, Why> {
    let mut entry = Logged {
        horse_id: Stored(horse_id),
        seq: logged.seq,
        event_id: None,
        kind: None,
        received_at: Stored(At(logged.received_at)),
        envelope: None,
        content: None,
        salt: None,
        signature: None,
        leaf: Stored(Hash([0; 32])),
        head: Stored(Hash([0; 32])),
        open_kinds: None,
    };
    match (&logged.envelope, &logged.signature, logged.leaf) {
        (Some(envelope), Some(signature), _) => {
            let sealed = genuine::envelope(horse_id, &read(envelope)?)?;
            let signer = signers.get(&sealed.bare.device_id);
            sealed.signed_by(
                signer.map(|signer| (&signer.public_key, signer.account_id)),
                signature,
            )?;
            content(&sealed, logged, &mut entry)?;
            entry.leaf = Stored(sealed.leaf(signature));
            entry.event_id = Some(Stored(sealed.bare.id));
            entry.kind = Some(sealed.bare.kind);
            entry.envelope = Some(envelope.get().to_owned());
            entry.signature = Some(Stored(*signature));
        }
        (None, None, Some(leaf)) => entry.leaf = Stored(leaf),
        _ => return Err(Why::Damaged("a part of it is missing".to_owned())),
    }
    Ok(entry)
}

fn read(text: &RawValue) -> Result<Value, Why> {
    canonical::read(text.get()).map_err(|why| Why::Damaged(why.to_string()))
}

fn content(sealed: &Sealed, logged: &LoggedEvent, entry: &mut Logged) -> Result<(), Why> {
    match (&logged.content, &logged.salt) {
        (Some(content), Some(salt)) => {
            sealed.commits_to(&read(content)?, salt)?;
            entry.content = Some(content.get().to_owned());
            entry.salt = Some(Stored(*salt));
            Ok(())
        }
        (None, None) => Ok(()),
        _ => Err(Why::Damaged(
            "content and salt come together or not at all".to_owned(),
        )),
    }
}
