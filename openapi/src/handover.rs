//! Handing over: when a server's key is replaced, the old one vouches for the new one, so that whoever knows the old one
//! learns the new one without taking anybody's word.

use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::key::{PublicKey, Purpose, SecretKey, Signature};

/// A server's key says which key follows it.
///
/// It helps nobody whose old key was stolen: the thief can sign such a statement, too. Then people must be told the new key by
/// another way.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Handover {
    /// The key that was replaced.
    pub from: PublicKey,
    /// The key that follows it.
    pub to: PublicKey,
    /// When.
    pub at: DateTime<Utc>,
    /// By `from`, over the bytes `whorl/handover/1`, a zero byte, and four lines, each with its end: `from`, `to`, `at` (RFC 3339
    /// in UTC, to the microsecond) and the server's name.
    pub signature: Signature,
}

impl Handover {
    /// The statement of `from`, a key of the server `server`, that `to` follows it.
    #[must_use]
    pub fn sign(server: &str, from: &SecretKey, to: PublicKey, at: DateTime<Utc>) -> Self {
        let signature = from.sign(
            Purpose::Handover,
            &statement(server, &from.public(), &to, at),
        );
        Self {
            from: from.public(),
            to,
            at,
            signature,
        }
    }

    /// Whether it was signed by the key that it replaces, as a key of the server `server`.
    #[must_use]
    pub fn verifies(&self, server: &str) -> bool {
        let statement = statement(server, &self.from, &self.to, self.at);
        self.from
            .verifies(Purpose::Handover, &statement, &self.signature)
    }
}

/// Whether `known`, a key of the server `server`, has handed over to `shown`, in as many steps as there are.
#[must_use]
pub fn leads(server: &str, handovers: &[Handover], known: &PublicKey, shown: &PublicKey) -> bool {
    let mut at = *known;
    // No key follows itself in fewer steps than there are, so whatever goes in a circle ends here.
    for _ in handovers {
        let step = handovers
            .iter()
            .find(|step| step.from == at && step.verifies(server));
        match step {
            Some(step) if step.to == *shown => return true,
            Some(step) => at = step.to,
            None => return false,
        }
    }
    false
}

fn statement(server: &str, from: &PublicKey, to: &PublicKey, at: DateTime<Utc>) -> Vec<u8> {
    let at = at.to_rfc3339_opts(SecondsFormat::Micros, true);
    // The name comes last: whatever somebody calls a server, nothing in it passes for another line.
    format!("{from}\n{to}\n{at}\n{server}\n").into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(seed: u8) -> SecretKey {
        SecretKey::from_seed(&[seed; 32])
    }

    fn step(from: u8, to: u8) -> Handover {
        let at = "2027-03-04T14:20:00Z".parse().expect("a time");
        Handover::sign("saltmarsh.example", &key(from), key(to).public(), at)
    }

    fn known_to_shown(handovers: &[Handover], known: u8, shown: u8) -> bool {
        let (known, shown) = (key(known).public(), key(shown).public());
        leads("saltmarsh.example", handovers, &known, &shown)
    }

    #[test]
    fn what_is_signed_is_written_once_and_for_all() {
        let signed = step(1, 2);
        let statement = statement("saltmarsh.example", &signed.from, &signed.to, signed.at);
        let text = format!(
            "{}\n{}\n2027-03-04T14:20:00.000000Z\nsaltmarsh.example\n",
            key(1).public(),
            key(2).public()
        );
        assert_eq!(String::from_utf8(statement).expect("text"), text);
    }

    #[test]
    fn a_key_leads_to_those_that_follow_it_and_to_no_other() {
        // In any order, and with one that belongs to another line.
        let handovers = [step(2, 3), step(7, 8), step(1, 2)];
        for (known, shown) in [(1, 2), (2, 3), (1, 3), (7, 8)] {
            assert!(known_to_shown(&handovers, known, shown), "{known} {shown}");
        }
        for (known, shown) in [(3, 1), (2, 1), (1, 8), (4, 3), (1, 1)] {
            assert!(!known_to_shown(&handovers, known, shown), "{known} {shown}");
        }
        assert!(!known_to_shown(&[], 1, 2));
        assert!(!known_to_shown(&[step(1, 2), step(2, 1)], 1, 3));
    }

    #[test]
    fn a_changed_statement_leads_nowhere() {
        let good = step(1, 2);
        let other_server = Handover::sign("elsewhere.example", &key(1), key(2).public(), good.at);
        let by_another = Handover {
            signature: step(3, 2).signature,
            ..good.clone()
        };
        let to_another = Handover {
            to: key(3).public(),
            ..good.clone()
        };
        let later = Handover {
            at: good.at + chrono::TimeDelta::microseconds(1),
            ..good
        };
        for wrong in [other_server, by_another, later] {
            assert!(!known_to_shown(&[wrong], 1, 2));
        }
        assert!(!known_to_shown(&[to_another], 1, 3));
    }
}
