//! Whether one event of a log is what it claims to be: its content the one that was committed to, its signature by the
//! device that it names. Pure; both the field client and the reader of a bundle go by it.
//!
//! An event of a later vocabulary is checked like any other, byte for byte.

use chrono::{DateTime, FixedOffset};
use serde::Deserialize;
use serde_json::Value;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};

use crate::canonical;
use crate::event;
use crate::key::{Hash, PublicKey, Purpose, Salt, Signature};

/// What is wrong with an event.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// A part can't be read, or doesn't belong there.
    #[error("it is damaged ({0})")]
    Damaged(String),
    /// It stands in another horse's log than it was made for.
    #[error("it belongs to another horse")]
    OtherHorse,
    /// The content is another one than the envelope commits to.
    #[error("what it says was changed after it was signed")]
    OtherContent,
    /// The signature was not made by the device that the event names, or that device is not its author's.
    #[error("its signature is not by the device that it names")]
    OtherSignature,
    /// Nobody says whose key signed it.
    #[error("nobody says whose device {0} signed it")]
    UnknownSigner(DeviceId),
}

/// What of an envelope matters here, whatever its vocabulary.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Bare {
    /// The event.
    pub id: EventId,
    /// The horse.
    pub horse_id: HorseId,
    /// What it records, as its author's vocabulary calls it.
    pub kind: String,
    /// When it happened, by the wall clock there.
    pub performed_at: DateTime<FixedOffset>,
    /// Who wrote it down.
    pub author_id: AccountId,
    /// The device that signed.
    pub device_id: DeviceId,
    /// The capacity in which the author acted.
    pub role: String,
    /// How far it can be relied on.
    pub provenance: String,
    /// The event that it amends, retracts or countersigns.
    pub target_id: Option<EventId>,
    /// What commits to the content.
    pub content_hash: Hash,
}

/// An envelope that was read, and the bytes that were signed.
#[derive(Clone, Debug)]
pub struct Sealed {
    /// The envelope.
    pub bare: Bare,
    bytes: Vec<u8>,
}

/// Reads an envelope that came as strict JSON.
///
/// # Errors
///
/// [`Wrong::Damaged`]; [`Wrong::OtherHorse`] if it was not made for `horse`.
pub fn envelope(horse: HorseId, value: &Value) -> Result<Sealed, Wrong> {
    let bytes = canonical::write(value).map_err(|why| Wrong::Damaged(why.to_string()))?;
    let bare: Bare =
        whorl_care::fault::read(value).map_err(|why| Wrong::Damaged(why.to_string()))?;
    if bare.horse_id == horse {
        Ok(Sealed { bare, bytes })
    } else {
        Err(Wrong::OtherHorse)
    }
}

impl Sealed {
    /// Checks that `signer`, a key and its holder, made the signature. A good signature by somebody else's device is not
    /// the author's.
    ///
    /// # Errors
    ///
    /// [`Wrong::UnknownSigner`] if there is none; [`Wrong::OtherSignature`].
    pub fn signed_by(
        &self,
        signer: Option<(&PublicKey, AccountId)>,
        signature: &Signature,
    ) -> Result<(), Wrong> {
        let (key, account) = signer.ok_or(Wrong::UnknownSigner(self.bare.device_id))?;
        let good = key.verifies(Purpose::Event, &self.bytes, signature);
        if good && account == self.bare.author_id {
            Ok(())
        } else {
            Err(Wrong::OtherSignature)
        }
    }

    /// Checks that this is the content that was committed to.
    ///
    /// # Errors
    ///
    /// [`Wrong::OtherContent`]; [`Wrong::Damaged`] if it has no canonical form.
    pub fn commits_to(&self, content: &Value, salt: &Salt) -> Result<(), Wrong> {
        let hash =
            event::content_hash(salt, content).map_err(|why| Wrong::Damaged(why.to_string()))?;
        if hash == self.bare.content_hash {
            Ok(())
        } else {
            Err(Wrong::OtherContent)
        }
    }

    /// The leaf in the chain.
    #[must_use]
    pub fn leaf(&self, signature: &Signature) -> Hash {
        event::leaf(&self.bytes, signature)
    }
}
