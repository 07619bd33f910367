//! How long sessions live, and how their refresh tokens turn.
//!
//! A refresh token is good once: using it makes its successor. The successor grows from the server's secret, the
//! session's seed and its number, so it can be made again without being kept. If an answer is lost on a bad line, the
//! device asks again with the token it has, proves its key, and gets the same successor, as long as nobody has used
//! that. A token that comes back after its successor was used has been copied: then the session ends.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use whorl_care::ids::SessionId;
use whorl_store::sessions::{Seat, SessionRow};

/// A session that isn't renewed for so long ends.
pub(crate) const IDLE: TimeDelta = TimeDelta::days(30);

/// A session ends after so long, however it is used.
pub(crate) const ABSOLUTE: TimeDelta = TimeDelta::days(180);

/// For so long after it was last made, an unused successor is made again.
const AGAIN: TimeDelta = TimeDelta::days(7);

/// Begins every refresh token of this form.
const FORM: &str = "wr1";

/// Keeps what is made here from passing for anything else that grows from the secret.
const PURPOSE: &[u8] = b"whorl/refresh-token/1\0";

/// Whether a session is open at `now`: not ended, not run out, its device not revoked, its account not disabled.
pub(crate) fn is_open(seat: &Seat, now: DateTime<Utc>) -> bool {
    let revoked = seat
        .device
        .as_ref()
        .is_some_and(|device| device.revoked_at.is_some());
    is_alive(&seat.session, now) && !revoked && seat.account.disabled_at.is_none()
}

/// Whether a session has neither ended nor run out at `now`.
pub(crate) fn is_alive(session: &SessionRow, now: DateTime<Utc>) -> bool {
    let now = now.naive_utc();
    session.ended_at.is_none() && now < session.ends_at && now < session.last_used_at + IDLE
}

/// A refresh token. Never printed but to its holder.
#[derive(Clone, PartialEq, Eq)]
pub(crate) struct RefreshToken {
    /// The session that it renews.
    pub(crate) session: SessionId,
    /// Its number in that session, from 0.
    pub(crate) generation: i64,
    code: [u8; 32],
}

impl fmt::Debug for RefreshToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "RefreshToken({}, {})", self.session, self.generation)
    }
}

/// A text that is no refresh token.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NoRefreshToken;

impl RefreshToken {
    /// The token of `session` with the number `generation`.
    pub(crate) fn of(session: &SessionRow, generation: i64, secret: &[u8; 32]) -> Option<Self> {
        let code = code(session, generation, secret)?.finalize().into_bytes();
        Some(Self {
            session: session.id,
            generation,
            code: code.into(),
        })
    }

    /// Whether this is the token that this server made for `session`; takes as long wherever it differs.
    pub(crate) fn is_of(&self, session: &SessionRow, secret: &[u8; 32]) -> bool {
        self.session == session.id
            && code(session, self.generation, secret)
                .is_some_and(|made| made.verify_slice(&self.code).is_ok())
    }

    /// The token as its holder keeps it.
    pub(crate) fn text(&self) -> String {
        let code = URL_SAFE_NO_PAD.encode(self.code);
        format!("{FORM}.{}.{}.{code}", self.session, self.generation)
    }
}

fn code(session: &SessionRow, generation: i64, secret: &[u8; 32]) -> Option<Hmac<Sha256>> {
    let mut made = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    made.update(PURPOSE);
    made.update(session.id.0.as_bytes());
    made.update(&generation.to_be_bytes());
    made.update(&session.seed);
    Some(made)
}

impl FromStr for RefreshToken {
    type Err = NoRefreshToken;

    fn from_str(text: &str) -> Result<Self, NoRefreshToken> {
        let parts: Vec<&str> = text.split('.').collect();
        let [FORM, session, generation, code] = parts[..] else {
            return Err(NoRefreshToken);
        };
        let code = URL_SAFE_NO_PAD.decode(code).ok();
        let token = Self {
            session: session.parse().map_err(|_| NoRefreshToken)?,
            generation: generation.parse().map_err(|_| NoRefreshToken)?,
            code: code
                .and_then(|code| code.try_into().ok())
                .ok_or(NoRefreshToken)?,
        };
        // One token, one spelling: the proof of the device is over the text.
        if token.text() == text {
            Ok(token)
        } else {
            Err(NoRefreshToken)
        }
    }
}

/// What a genuine refresh token leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// The latest one, used for the first time: its successor is made.
    Next,
    /// The one before, whose successor nobody used: the answer was lost, and the same successor is made again.
    Again,
    /// Its successor was used: somebody has a copy, and the session ends.
    Copied,
    /// The successor waited unused for too long, or this number was never given out (the database came back from a
    /// backup): its holder signs in anew.
    Stale,
}

/// What the token with the number `generation` leads to.
pub(crate) fn turn(session: &SessionRow, generation: i64, now: DateTime<Utc>) -> Turn {
    let behind = session.generation.saturating_sub(generation);
    let proves_its_key = session.device_id.is_some();
    match behind {
        0 => Turn::Next,
        1 if !proves_its_key => Turn::Copied,
        1 if now.naive_utc() < session.last_used_at + AGAIN => Turn::Again,
        1 => Turn::Stale,
        behind if behind < 0 => Turn::Stale,
        _ => Turn::Copied,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use uuid::Uuid;
    use whorl_care::ids::{AccountId, DeviceId};
    use whorl_store::Key;

    use super::*;

    const SECRET: [u8; 32] = [5; 32];

    fn at(days: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::days(days)
    }

    fn session(with_device: bool) -> SessionRow {
        SessionRow {
            id: SessionId(Uuid::from_u128(1)),
            account_id: AccountId(Uuid::from_u128(2)),
            device_id: with_device.then_some(Key(DeviceId(Uuid::from_u128(3)))),
            created_at: at(0).naive_utc(),
            authenticated_at: at(0).naive_utc(),
            last_used_at: at(0).naive_utc(),
            ends_at: (at(0) + ABSOLUTE).naive_utc(),
            generation: 0,
            seed: vec![9; 32],
            ended_at: None,
            ended_why: None,
        }
    }

    #[test]
    fn a_token_is_good_for_its_session_and_number_only() {
        let one = session(true);
        let token = RefreshToken::of(&one, 4, &SECRET).expect("a token");
        assert!(token.is_of(&one, &SECRET));
        assert!(!token.is_of(&one, &[6; 32]));
        assert!(
            !RefreshToken {
                generation: 5,
                ..token.clone()
            }
            .is_of(&one, &SECRET)
        );
        let mut other = session(true);
        other.seed = vec![8; 32];
        assert!(!token.is_of(&other, &SECRET));
        other = session(true);
        other.id = SessionId(Uuid::from_u128(7));
        assert!(!token.is_of(&other, &SECRET));
    }

    #[test]
    fn a_token_has_one_spelling() {
        let token = RefreshToken::of(&session(true), 12, &SECRET).expect("a token");
        let text = token.text();
        assert_eq!(text.parse(), Ok(token));
        for wrong in [
            String::new(),
            text.replace(".12.", ".+12."),
            text.replace(".12.", ".012."),
            text.replace("wr1.", "wr2."),
            text.to_uppercase(),
            format!("{text}="),
            format!("{text}.x"),
            format!(" {text}"),
            text[..text.len() - 1].to_owned(),
        ] {
            assert_eq!(
                wrong.parse::<RefreshToken>(),
                Err(NoRefreshToken),
                "{wrong}"
            );
        }
    }

    #[test]
    fn refuses_a_token_with_any_bit_changed() {
        let one = session(true);
        let text = RefreshToken::of(&one, 3, &SECRET).expect("a token").text();
        for place in 0..text.len() {
            for bit in 0..8 {
                let mut bytes = text.clone().into_bytes();
                bytes[place] ^= 1 << bit;
                let Ok(changed) = String::from_utf8(bytes) else {
                    continue;
                };
                let taken = changed
                    .parse::<RefreshToken>()
                    .is_ok_and(|token| token.is_of(&one, &SECRET));
                assert!(!taken, "{changed}");
            }
        }
    }

    #[test]
    fn a_session_ends_when_idle_and_at_its_end() {
        let mut one = session(true);
        assert!(is_alive(&one, at(30) - TimeDelta::seconds(1)));
        assert!(!is_alive(&one, at(30)));
        one.last_used_at = at(179).naive_utc();
        assert!(is_alive(&one, at(180) - TimeDelta::seconds(1)));
        assert!(!is_alive(&one, at(180)));
        one.ended_at = Some(at(1).naive_utc());
        assert!(!is_alive(&one, at(2)));
    }

    #[test]
    fn an_unused_successor_is_made_again_for_seven_days() {
        let mut one = session(true);
        one.generation = 5;
        assert_eq!(turn(&one, 5, at(0)), Turn::Next);
        assert_eq!(turn(&one, 4, at(7) - TimeDelta::seconds(1)), Turn::Again);
        assert_eq!(turn(&one, 4, at(7)), Turn::Stale);
        assert_eq!(turn(&one, 3, at(0)), Turn::Copied);
        assert_eq!(turn(&one, 6, at(0)), Turn::Stale);
        one.device_id = None;
        assert_eq!(turn(&one, 5, at(0)), Turn::Next);
        assert_eq!(turn(&one, 4, at(0)), Turn::Copied);
    }

    /// A model of the server's side: what the route does with a [`Turn`].
    struct Server(SessionRow);

    impl Server {
        /// The number of the token that the answer carries, if there is one.
        fn refresh(&mut self, generation: i64, now: DateTime<Utc>) -> Option<i64> {
            if !is_alive(&self.0, now) {
                return None;
            }
            match turn(&self.0, generation, now) {
                Turn::Next => self.0.generation += 1,
                Turn::Again => {}
                Turn::Copied => {
                    self.0.ended_at = Some(now.naive_utc());
                    return None;
                }
                Turn::Stale => return None,
            }
            self.0.last_used_at = now.naive_utc();
            Some(self.0.generation)
        }
    }

    #[derive(Clone, Copy, Debug)]
    enum Step {
        /// The device renews; whether the answer arrives.
        Renew { arrives: bool },
        /// The device sends the same request several times at once.
        RenewTogether,
        /// A thief copies the device with all that it holds.
        Steal,
        /// The thief renews with what it copied or has got since.
        ThiefRenews,
    }

    fn steps(with_thief: bool) -> impl Strategy<Value = Vec<Step>> {
        let honest = prop_oneof![
            Just(Step::Renew { arrives: true }),
            Just(Step::Renew { arrives: false }),
            Just(Step::RenewTogether),
        ];
        let any = prop_oneof![
            3 => honest.clone(),
            1 => Just(Step::Steal),
            2 => Just(Step::ThiefRenews),
        ];
        let one = if with_thief {
            any.boxed()
        } else {
            honest.boxed()
        };
        proptest::collection::vec(one, 1..60)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        /// However many answers are lost, the holder is never signed out, and there is never more than one successor.
        #[test]
        fn lost_answers_never_sign_anybody_out(steps in steps(false)) {
            let mut server = Server(session(true));
            let mut held = 0;
            for (hour, step) in steps.into_iter().enumerate() {
                let now = at(0) + TimeDelta::hours(i64::try_from(hour).expect("few"));
                let before = server.0.generation;
                let times = if matches!(step, Step::RenewTogether) { 8 } else { 1 };
                let got: Vec<_> = (0..times).map(|_| server.refresh(held, now)).collect();
                prop_assert!(got.iter().all(|one| *one == Some(server.0.generation)));
                prop_assert!(server.0.generation <= before + 1);
                if !matches!(step, Step::Renew { arrives: false }) {
                    held = server.0.generation;
                }
            }
            prop_assert!(is_alive(&server.0, at(5)));
        }

        /// Once a thief and the holder have both moved on from the same token, the session is over.
        #[test]
        fn two_holders_of_one_session_always_end_it(steps in steps(true)) {
            let mut server = Server(session(true));
            let (mut held, mut stolen) = (0, None);
            for (hour, step) in steps.into_iter().enumerate() {
                let now = at(0) + TimeDelta::hours(i64::try_from(hour).expect("few"));
                match step {
                    Step::Renew { arrives } => {
                        if let (Some(next), true) = (server.refresh(held, now), arrives) {
                            held = next;
                        }
                    }
                    Step::RenewTogether => held = server.refresh(held, now).unwrap_or(held),
                    Step::Steal => stolen = Some(held),
                    Step::ThiefRenews => {
                        stolen = stolen.map(|old| server.refresh(old, now).unwrap_or(old));
                    }
                }
                // Whoever is two steps behind the other must find the session ended when they come.
                let behind = stolen.map_or(0, |stolen| (stolen - held).abs());
                if behind >= 2 {
                    let slower = held.min(stolen.unwrap_or(held));
                    prop_assert_eq!(server.refresh(slower, now), None);
                    prop_assert!(!is_alive(&server.0, now));
                }
            }
        }
    }
}
