//! What a browser holds of a session: a pass in a cookie, and a token in every form.
//!
//! Both grow from the server's secret and the session's seed, each for its own purpose: neither can be told from the
//! other, from a refresh token, or from what the database holds.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use subtle::ConstantTimeEq;
use whorl_care::ids::SessionId;
use whorl_store::sessions::SessionRow;

use crate::keys;
use crate::problem::Problem;

/// Begins every pass of this form.
const FORM: &str = "wp1";

const OF_PASS: &[u8] = b"whorl/page-pass/1\0";
const OF_FORM: &[u8] = b"whorl/page-form/1\0";
const OF_SIGN_IN: &[u8] = b"whorl/sign-in-form/1\0";

fn mac(secret: &[u8; 32], purpose: &[u8], parts: &[&[u8]]) -> Option<[u8; 32]> {
    let mut made = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    made.update(purpose);
    for part in parts {
        made.update(part);
    }
    Some(made.finalize().into_bytes().into())
}

/// The pass of one session. Never printed but to its holder.
#[derive(Clone)]
pub(super) struct Pass {
    /// The session.
    pub(super) session: SessionId,
    code: [u8; 32],
}

impl fmt::Debug for Pass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Pass({})", self.session)
    }
}

/// A text that is no pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct NoPass;

impl Pass {
    /// The pass of a session.
    pub(super) fn of(session: &SessionRow, secret: &[u8; 32]) -> Option<Self> {
        let code = mac(secret, OF_PASS, &[session.id.0.as_bytes(), &session.seed])?;
        Some(Self {
            session: session.id,
            code,
        })
    }

    /// Whether this is the pass of `session`; takes as long wherever it differs.
    pub(super) fn is_of(&self, session: &SessionRow, secret: &[u8; 32]) -> bool {
        Self::of(session, secret).is_some_and(|made| {
            made.session == self.session && bool::from(made.code.ct_eq(&self.code))
        })
    }

    /// The pass as its holder keeps it.
    pub(super) fn text(&self) -> String {
        let code = URL_SAFE_NO_PAD.encode(self.code);
        format!("{FORM}.{}.{code}", self.session)
    }
}

impl FromStr for Pass {
    type Err = NoPass;

    fn from_str(text: &str) -> Result<Self, NoPass> {
        let parts: Vec<&str> = text.split('.').collect();
        let [FORM, session, code] = parts[..] else {
            return Err(NoPass);
        };
        Ok(Self {
            session: session.parse().map_err(|_| NoPass)?,
            code: decoded(code).ok_or(NoPass)?,
        })
    }
}

/// What a form must bring back to show that it came from a page of ours.
#[derive(Clone)]
pub(super) struct FormCode([u8; 32]);

impl fmt::Debug for FormCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("FormCode(***)")
    }
}

impl FormCode {
    /// The code of a session's forms.
    pub(super) fn of(session: &SessionRow, secret: &[u8; 32]) -> Option<Self> {
        mac(secret, OF_FORM, &[session.id.0.as_bytes(), &session.seed]).map(Self)
    }

    /// The code of a form for signing in, tied to the browser that holds `before`.
    pub(super) fn before(before: &str, secret: &[u8; 32]) -> Option<Self> {
        mac(secret, OF_SIGN_IN, &[before.as_bytes()]).map(Self)
    }

    /// The code as it stands in one form: behind a mask that is new each time, so that its bytes can't be guessed
    /// from the sizes of compressed answers.
    ///
    /// # Errors
    ///
    /// A failure of ours if the machine gives no randomness.
    pub(super) fn masked(&self) -> Result<String, Problem> {
        let mask: [u8; 32] = keys::random().map_err(Problem::internal)?;
        let mut both = mask.to_vec();
        both.extend(mask.iter().zip(self.0).map(|(mask, byte)| mask ^ byte));
        Ok(URL_SAFE_NO_PAD.encode(both))
    }

    /// Whether `text` is this code behind some mask; takes as long wherever it differs.
    pub(super) fn is(&self, text: &str) -> bool {
        let Some(both) = decoded::<64>(text) else {
            return false;
        };
        let (mask, masked) = both.split_at(32);
        let code: Vec<u8> = mask
            .iter()
            .zip(masked)
            .map(|(one, other)| one ^ other)
            .collect();
        bool::from(code.as_slice().ct_eq(self.0.as_slice()))
    }
}

/// A value that nobody can guess.
///
/// # Errors
///
/// A failure of ours if the machine gives no randomness.
pub(super) fn unguessable() -> Result<String, Problem> {
    let bytes: [u8; 32] = keys::random().map_err(Problem::internal)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

fn decoded<const N: usize>(text: &str) -> Option<[u8; N]> {
    // A size that can't fit needs no decoding.
    if text.len() > 2 * N {
        return None;
    }
    URL_SAFE_NO_PAD.decode(text).ok()?.try_into().ok()
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use uuid::Uuid;
    use whorl_care::ids::AccountId;

    use super::*;
    use crate::session::RefreshToken;

    const SECRET: [u8; 32] = [5; 32];

    fn session(id: u128, seed: u8) -> SessionRow {
        let at = DateTime::UNIX_EPOCH.naive_utc();
        SessionRow {
            id: SessionId(Uuid::from_u128(id)),
            account_id: AccountId(Uuid::from_u128(2)),
            device_id: None,
            created_at: at,
            authenticated_at: at,
            last_used_at: at,
            ends_at: at,
            generation: 0,
            seed: vec![seed; 32],
            ended_at: None,
            ended_why: None,
        }
    }

    #[test]
    fn a_pass_is_good_for_its_session_only() {
        let one = session(1, 9);
        let pass = Pass::of(&one, &SECRET).expect("a pass");
        let read: Pass = pass.text().parse().expect("a pass");
        assert!(read.is_of(&one, &SECRET));
        assert!(!read.is_of(&one, &[6; 32]));
        assert!(!read.is_of(&session(1, 8), &SECRET));
        assert!(!read.is_of(&session(3, 9), &SECRET));
        let refresh = RefreshToken::of(&one, 0, &SECRET).expect("a token").text();
        for wrong in [
            String::new(),
            refresh,
            pass.text().replace("wp1.", "wp2."),
            format!("{}.x", pass.text()),
            format!("{}A", pass.text()),
        ] {
            assert!(wrong.parse::<Pass>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_forms_code_is_masked_anew_and_known_behind_every_mask() {
        let one = session(1, 9);
        let code = FormCode::of(&one, &SECRET).expect("a code");
        let (first, second) = (code.masked().expect("text"), code.masked().expect("text"));
        assert_ne!(first, second);
        assert!(code.is(&first) && code.is(&second));
        assert!(
            !FormCode::of(&session(1, 8), &SECRET)
                .expect("a code")
                .is(&first)
        );
        assert!(!FormCode::before("x", &SECRET).expect("a code").is(&first));
        let pass = Pass::of(&one, &SECRET).expect("a pass").text();
        for wrong in ["", "AAAA", &first[1..], &pass, &format!("{first}A")] {
            assert!(!code.is(wrong), "{wrong}");
        }
    }
}
