//! What the token library signs and checks with: Ed25519, as everywhere in Whorl, and nothing else. The algorithms that it would bring
//! along are never asked for, and one of them, RSA, has a known weakness without a mend (RUSTSEC-2023-0071).

use ed25519_dalek::pkcs8::DecodePrivateKey;
use ed25519_dalek::{Signature, Signer as _, SigningKey, VerifyingKey};
use jsonwebtoken::crypto::{CryptoProvider, JwtSigner, JwtVerifier, KeyUtils};
use jsonwebtoken::errors::{Error, ErrorKind};
use jsonwebtoken::signature::{self, Signer, Verifier};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey};

static ALONE: CryptoProvider = CryptoProvider {
    signer_factory: |algorithm, key| Ok(Box::new(Signs::with(*algorithm, key)?)),
    verifier_factory: |algorithm, key| Ok(Box::new(Checks::with(*algorithm, key)?)),
    // For keys as JSON, of which we have none.
    key_utils: KeyUtils::new_unimplemented(),
};

/// Lets the token library sign and check with this. Once for a process; every later time changes nothing.
pub(super) fn install() {
    let _ = ALONE.install_default();
}

fn only(algorithm: Algorithm) -> Result<(), Error> {
    if algorithm == Algorithm::EdDSA {
        return Ok(());
    }
    Err(ErrorKind::InvalidAlgorithm.into())
}

fn unusable<T>(_: T) -> Error {
    ErrorKind::InvalidEddsaKey.into()
}

struct Signs(SigningKey);

impl Signs {
    fn with(algorithm: Algorithm, key: &EncodingKey) -> Result<Self, Error> {
        only(algorithm)?;
        let key = SigningKey::from_pkcs8_der(key.as_bytes()).map_err(unusable)?;
        Ok(Self(key))
    }
}

impl Signer<Vec<u8>> for Signs {
    fn try_sign(&self, message: &[u8]) -> Result<Vec<u8>, signature::Error> {
        Ok(self.0.sign(message).to_vec())
    }
}

impl JwtSigner for Signs {
    fn algorithm(&self) -> Algorithm {
        Algorithm::EdDSA
    }
}

struct Checks(VerifyingKey);

impl Checks {
    fn with(algorithm: Algorithm, key: &DecodingKey) -> Result<Self, Error> {
        only(algorithm)?;
        let bytes = key.try_get_as_bytes()?.try_into().map_err(unusable)?;
        Ok(Self(VerifyingKey::from_bytes(bytes).map_err(unusable)?))
    }
}

impl Verifier<Vec<u8>> for Checks {
    fn verify(&self, message: &[u8], signature: &Vec<u8>) -> Result<(), signature::Error> {
        let refused = |_| signature::Error::new();
        let signature = Signature::from_slice(signature).map_err(refused)?;
        self.0.verify_strict(message, &signature).map_err(refused)
    }
}

impl JwtVerifier for Checks {
    fn algorithm(&self) -> Algorithm {
        Algorithm::EdDSA
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 32 bytes that are a secret, a key or both, as an attacker would hope.
    #[test]
    fn no_other_algorithm_signs_or_checks_whatever_the_key() {
        install();
        let bytes = SigningKey::from_bytes(&[7; 32]).verifying_key().to_bytes();
        for other in [
            Algorithm::HS256,
            Algorithm::HS512,
            Algorithm::ES256,
            Algorithm::RS256,
            Algorithm::PS512,
        ] {
            let key = EncodingKey::from_secret(&bytes);
            let signed = jsonwebtoken::crypto::sign(b"text", &key, other);
            assert!(signed.is_err(), "{other:?}");
            let key = DecodingKey::from_ed_der(&bytes);
            let checked = jsonwebtoken::crypto::verify("AAAA", b"text", &key, other);
            assert!(checked.is_err(), "{other:?}");
        }
        let short = DecodingKey::from_ed_der(&bytes[..31]);
        let checked = jsonwebtoken::crypto::verify("AAAA", b"text", &short, Algorithm::EdDSA);
        assert!(checked.is_err());
    }
}
