//! How webhooks are signed: as the Standard Webhooks specification (version 1) says, with HMAC-SHA256.
//!
//! A secret is in no table: it is made from the server's keys and the webhook's seed. Whoever reads a backup can sign nothing.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, TimeDelta, Utc};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use whorl_store::webhooks::WebhookRow;

/// Keeps what is made here from passing for anything else that grows from the server's secret.
const PURPOSE: &[u8] = b"whorl/webhook-secret/1\0";

/// After a rotation, the secret before it signs too for so long.
pub(crate) const OLD_SIGNS_FOR: TimeDelta = TimeDelta::hours(24);

/// A webhook's secret. Never printed but to its owner, once.
pub(crate) struct Secret([u8; 32]);

impl Secret {
    /// The secret that grows from a seed.
    pub(crate) fn of(row: &WebhookRow, seed: &[u8], server: &[u8; 32]) -> Option<Self> {
        let mut made = Hmac::<Sha256>::new_from_slice(server).ok()?;
        made.update(PURPOSE);
        made.update(row.id.0.as_bytes());
        made.update(seed);
        Some(Self(made.finalize().into_bytes().into()))
    }

    /// As its owner keeps it.
    pub(crate) fn text(&self) -> String {
        format!("whsec_{}", STANDARD.encode(self.0))
    }

    fn sign(&self, id: &str, at: i64, body: &str) -> Option<String> {
        let mut made = Hmac::<Sha256>::new_from_slice(&self.0).ok()?;
        made.update(format!("{id}.{at}.").as_bytes());
        made.update(body.as_bytes());
        Some(format!(
            "v1,{}",
            STANDARD.encode(made.finalize().into_bytes())
        ))
    }
}

/// The signatures of a message: by the secret in force and, for a while after a rotation, by the one before.
pub(super) fn signatures(
    row: &WebhookRow,
    server: &[u8; 32],
    (id, body): (&str, &str),
    now: DateTime<Utc>,
) -> Option<String> {
    let turned = row.rotated_at.map(|at| at.and_utc() + OLD_SIGNS_FOR);
    let old = row
        .seed_before
        .as_ref()
        .filter(|_| turned.is_some_and(|until| now < until));
    let seeds = std::iter::once(&row.seed).chain(old);
    let signed = seeds.map(|seed| Secret::of(row, seed, server)?.sign(id, now.timestamp(), body));
    Some(signed.collect::<Option<Vec<String>>>()?.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_is_signed_as_the_specification_signs_its_example() {
        // The example secret, message and signature of the Standard Webhooks libraries' own tests.
        let secret = STANDARD
            .decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
            .expect("base64");
        let mut made = Hmac::<Sha256>::new_from_slice(&secret).expect("a key");
        made.update(b"msg_p5jXN8AQM9LWM0D4loKWxJek.1614265330.{\"test\": 2432232314}");
        let theirs = STANDARD.encode(made.finalize().into_bytes());
        assert_eq!(theirs, "g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
        let mut padded = [0; 32];
        padded[..24].copy_from_slice(&secret);
        // A key shorter than a block is filled up with zeros (RFC 2104), so the longer one signs the same.
        let ours = Secret(padded).sign(
            "msg_p5jXN8AQM9LWM0D4loKWxJek",
            1_614_265_330,
            "{\"test\": 2432232314}",
        );
        assert_eq!(ours, Some(format!("v1,{theirs}")));
    }
}
