//! Signed heads in the form of C2SP's signed notes: what the server says a horse's log is, for anyone to keep.
//!
//! The text has the origin, the size of the log, the head in base64, the epoch and the time, then the server's signature.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, SecondsFormat, Utc};
use uuid::Uuid;
use whorl_care::ids::HorseId;

use crate::key::{Hash, PublicKey, SecretKey, Signature};

/// The algorithm byte of Ed25519 in a signed note's key.
const ED25519: u8 = 1;

/// What a signed head says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// The name of the server that signed.
    pub server: String,
    /// The horse.
    pub horse_id: HorseId,
    /// The number of events.
    pub seq: i64,
    /// The head of the chain after them.
    pub head: Hash,
    /// The ledger's epoch.
    pub epoch: Uuid,
    /// When it was signed.
    pub at: DateTime<Utc>,
}

/// Why a signed head is not taken.
#[derive(Debug, thiserror::Error)]
pub enum NotTheServers {
    /// It has not the form of a signed head.
    #[error("this is no signed head of a horse's log")]
    Malformed,
    /// No signature by the expected server's key fits.
    #[error("the head is not signed by this server's key")]
    OtherSignature,
}

/// The short hash by which a signed note names a key.
fn key_id(server: &str, key: &PublicKey) -> [u8; 4] {
    let hash = Hash::of(&[server.as_bytes(), b"\n", &[ED25519], &key.0]);
    [hash.0[0], hash.0[1], hash.0[2], hash.0[3]]
}

impl Head {
    fn text(&self) -> String {
        format!(
            "{}/horse/{}\n{}\n{}\nepoch {}\ntime {}\n",
            self.server,
            self.horse_id,
            self.seq,
            STANDARD.encode(self.head.0),
            self.epoch.hyphenated(),
            self.at.to_rfc3339_opts(SecondsFormat::Micros, true),
        )
    }

    /// The signed note.
    #[must_use]
    pub fn sign(&self, key: &SecretKey) -> String {
        let text = self.text();
        let signature = key.sign_bytes(text.as_bytes());
        let line = [key_id(&self.server, &key.public()).as_slice(), &signature.0].concat();
        format!(
            "{text}\n\u{2014} {} {}\n",
            self.server,
            STANDARD.encode(line)
        )
    }

    /// Reads a signed note and checks it against the server's key.
    ///
    /// # Errors
    ///
    /// [`NotTheServers`].
    pub fn verify(note: &str, key: &PublicKey) -> Result<Self, NotTheServers> {
        let (body, signatures) = note.split_once("\n\n").ok_or(NotTheServers::Malformed)?;
        let body = format!("{body}\n");
        let head = Self::parse(&body).ok_or(NotTheServers::Malformed)?;
        let expected = key_id(&head.server, key);
        let good = signatures.lines().any(|line| {
            let Some(line) = line.strip_prefix("\u{2014} ") else {
                return false;
            };
            let Some((name, signature)) = line.rsplit_once(' ') else {
                return false;
            };
            let Ok(bytes) = STANDARD.decode(signature) else {
                return false;
            };
            let Some((id, signature)) = bytes.split_first_chunk::<4>() else {
                return false;
            };
            let Ok(signature) = Signature::try_from(signature) else {
                return false;
            };
            name == head.server
                && *id == expected
                && key.verifies_bytes(body.as_bytes(), &signature)
        });
        if good {
            Ok(head)
        } else {
            Err(NotTheServers::OtherSignature)
        }
    }

    fn parse(body: &str) -> Option<Self> {
        let mut lines = body.lines();
        let (server, horse) = lines.next()?.rsplit_once("/horse/")?;
        let head = Self {
            server: server.to_owned(),
            horse_id: horse.parse().ok()?,
            seq: lines.next()?.parse().ok()?,
            head: Hash::try_from(STANDARD.decode(lines.next()?).ok()?.as_slice()).ok()?,
            epoch: lines.next()?.strip_prefix("epoch ")?.parse().ok()?,
            at: DateTime::parse_from_rfc3339(lines.next()?.strip_prefix("time ")?)
                .ok()?
                .to_utc(),
        };
        // One spelling only, else the same head could be signed twice with different bytes.
        (head.text() == body).then_some(head)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_changed_byte_is_found() {
        let key = SecretKey::from_seed(&[3; 32]);
        let head = Head {
            server: "saltmarsh.example".into(),
            horse_id: HorseId(Uuid::from_u128(9)),
            seq: 12,
            head: Hash::of(&[b"x"]),
            epoch: Uuid::from_u128(4),
            at: DateTime::from_timestamp(1_790_000_000, 0).expect("a time"),
        };
        let note = head.sign(&key);
        assert_eq!(Head::verify(&note, &key.public()).expect("good"), head);
        assert!(Head::verify(&note, &SecretKey::from_seed(&[4; 32]).public()).is_err());
        for at in 0..note.len() {
            let mut bytes = note.clone().into_bytes();
            bytes[at] ^= 1;
            if let Ok(changed) = String::from_utf8(bytes) {
                assert!(Head::verify(&changed, &key.public()).is_err(), "byte {at}");
            }
        }
    }
}
