//! Passwords: one spelling, what a new one must be, and hashing that can't starve the rest of the server.
//!
//! A password is composed (NFC, as the profile for passwords of RFC 8265 does) where it is set and where it is checked,
//! so that the same keys pressed on another machine give the same password. ASVS 6.2.8 wants it verified exactly as
//! received; this is the one deviation.

use std::sync::Arc;

use actix_web::web;
use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use base64::Engine;
use base64::engine::general_purpose::STANDARD_NO_PAD;
use tokio::sync::{Semaphore, SemaphorePermit};
use unicode_normalization::UnicodeNormalization;
use whorl_care::fault::Faults;
use zxcvbn::{Score, zxcvbn};

use crate::problem::{Kind, Problem};

/// The fewest characters of a new password (NIST SP 800-63B-4, 3.1.1.2, for a password that stands alone).
const SHORTEST: usize = 15;

/// So many characters must stand in a password beside names that a guesser knows.
const BESIDE_NAMES: usize = 8;

/// The most characters of a password.
const LONGEST: usize = 256;

/// Argon2id with 19 MiB, two passes, one lane: the least that OWASP's Password Storage Cheat Sheet (2026-08) and ASVS
/// 5.0, appendix C, name.
const PARAMS: Params = Params::DEFAULT;

/// So many may wait for their turn to be hashed; others hear that they should come again.
const WAITING: usize = 20;

/// A password in its one spelling. Never printed.
#[derive(Clone)]
pub(crate) struct Password(String);

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password(***)")
    }
}

impl Password {
    /// Reads a password that is to be checked.
    ///
    /// # Errors
    ///
    /// A fault at `pointer` if it is longer than any password can be.
    pub(crate) fn read(pointer: &str, text: &str) -> Result<Self, Faults> {
        if text.chars().nth(LONGEST).is_some() {
            return Err(Faults::one(
                pointer,
                format!("a password may have at most {LONGEST} characters"),
            ));
        }
        Ok(Self(text.nfc().collect()))
    }

    /// Whether this may become somebody's password: long enough, and not among the first that a guesser tries.
    /// `context` are words that a guesser would begin with: the person's name and address, the barn's name.
    ///
    /// # Errors
    ///
    /// A fault at `pointer`.
    pub(crate) fn may_be_new(&self, pointer: &str, context: &[String]) -> Result<(), Faults> {
        if self.0.chars().count() < SHORTEST {
            return Err(Faults::one(
                pointer,
                format!(
                    "a password needs at least {SHORTEST} characters; a few unrelated words do well"
                ),
            ));
        }
        let words: Vec<&str> = context.iter().flat_map(|text| words(text)).collect();
        if is_easy(&self.0, &words)
            || beside(&self.0, &words).is_some_and(|count| count < BESIDE_NAMES)
        {
            return Err(Faults::one(
                pointer,
                "this password is too easy to guess; take a few unrelated words, not names, dates or rows of keys",
            ));
        }
        Ok(())
    }
}

/// Whether a guesser comes to `password` soon: as it stands, without the shift key, or as two rows that are walked by turns.
fn is_easy(password: &str, context: &[&str]) -> bool {
    // Only the first hundred characters are weighed; a long tail can only make it stronger.
    let score = |text: &str| zxcvbn(text, context).score();
    let plain: String = password.to_lowercase().chars().map(unshifted).collect();
    let by_turns = |first| -> String { plain.chars().skip(first).step_by(2).collect() };
    LEAKED.contains(&plain.as_str())
        || score(password) < Score::Four
        || score(&plain) < Score::Four
        || [0, 1]
            .iter()
            .all(|first| score(&by_turns(*first)) < Score::Two)
}

/// What the key of a character gives without shift, on the keyboard that most lists of passwords come from.
fn unshifted(one: char) -> char {
    let place = r#"!@#$%^&*()_+{}|:"<>?~"#.chars().position(|key| key == one);
    place
        .and_then(|place| r"1234567890-=[]\;',./`".chars().nth(place))
        .unwrap_or(one)
}

/// Passwords of fifteen characters and more that zxcvbn takes, though they have leaked and stand among the 20,000 commonest of the
/// list by Royce Williams that Django 5.2 carries; written as [`unshifted`] leaves them.
const LEAKED: &[&str] = &[
    "doomsayer.2.7mords.v",
    "doomsayer.2.7mords.vv",
    "friend of gerly",
    "john120130605at1753",
    "kartoffelpuffer",
    "mega-pizdetz666",
    "polniypizdec1102",
    "sdf7asdf6asdg8df",
    "somanypickles27",
    "stefangreil1983",
    "yfdbufnjh10305070",
];

/// How many characters that aren't space or punctuation stand in `password` beside the words of `context`; none if none
/// of these words is in it, since without a name even punctuation alone may make a password (ASVS 5.0, 6.2.5).
fn beside(password: &str, context: &[&str]) -> Option<usize> {
    let mut longest_first: Vec<String> = context.iter().map(|word| word.to_lowercase()).collect();
    longest_first.sort_by_key(|word| std::cmp::Reverse(word.len()));
    let whole = password.to_lowercase();
    let mut rest = whole.clone();
    for word in longest_first.iter().filter(|word| !word.is_empty()) {
        rest = rest.replace(word.as_str(), " ");
    }
    // Whatever is no space or plain punctuation counts: a password may be all emoji.
    let counts = |one: &char| !one.is_whitespace() && !one.is_ascii_punctuation();
    (rest != whole).then(|| rest.chars().filter(counts).count())
}

/// A text and the words in it.
fn words(text: &str) -> impl Iterator<Item = &str> {
    let parts = text.split(|one: char| !one.is_alphanumeric());
    std::iter::once(text).chain(parts.filter(|part| part.chars().count() > 2))
}

/// Whether a password fits a hash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fit {
    /// It doesn't.
    No,
    /// It does.
    Yes,
    /// It does, but the hash was made with weaker parameters than today's.
    YesButStale,
}

/// Hashes passwords, as many at a time as there are cores.
#[derive(Debug)]
pub struct Hashing {
    slots: Arc<Semaphore>,
    queue: Semaphore,
    /// What a password is checked against where there is no account, so that this takes as long.
    nobody: String,
}

impl Hashing {
    /// Hashing on `cores` cores.
    ///
    /// # Errors
    ///
    /// [`Problem`] if the machine gives no randomness.
    pub fn new(cores: usize) -> Result<Self, Problem> {
        Ok(Self {
            slots: Arc::new(Semaphore::new(cores)),
            queue: Semaphore::new(cores + WAITING),
            nobody: nobodys()?,
        })
    }

    /// A place in the queue; taken before anything is counted, so that a flood costs its victims nothing.
    ///
    /// # Errors
    ///
    /// [`Kind::Unavailable`] if the queue is full.
    pub(crate) fn queue(&self) -> Result<Place<'_>, Problem> {
        let place = self.queue.try_acquire().map_err(|_| {
            Problem::new(Kind::Unavailable, "too many people sign in right now").retry_after(2)
        })?;
        Ok(Place {
            hashing: self,
            _place: place,
        })
    }
}

/// A place in the queue of [`Hashing`].
#[derive(Debug)]
pub(crate) struct Place<'a> {
    hashing: &'a Hashing,
    _place: SemaphorePermit<'a>,
}

impl Place<'_> {
    /// The hash of a password, as a PHC string.
    pub(crate) async fn hash(&self, password: &Password) -> Result<String, Problem> {
        let password = password.clone();
        self.run(move || hash(password.0.as_bytes())).await?
    }

    /// Whether `password` fits `hash`; without one it takes as long and never fits.
    pub(crate) async fn fits(
        &self,
        password: &Password,
        hash: Option<&str>,
    ) -> Result<Fit, Problem> {
        let known = hash.is_some();
        let hash = hash.unwrap_or(&self.hashing.nobody).to_owned();
        let password = password.clone();
        let fit = self
            .run(move || fits(password.0.as_bytes(), &hash))
            .await??;
        Ok(if known { fit } else { Fit::No })
    }

    /// Whether `password` may become somebody's; weighing takes the processor too, so it waits its turn.
    pub(crate) async fn may_be_new(
        &self,
        password: &Password,
        pointer: &'static str,
        context: Vec<String>,
    ) -> Result<(), Problem> {
        let password = password.clone();
        self.run(move || password.may_be_new(pointer, &context))
            .await?
            .map_err(Problem::from)
    }

    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let slots = self.hashing.slots.clone();
        let slot = slots.acquire_owned().await.map_err(Problem::internal)?;
        // The slot goes along: a caller who hangs up doesn't free it before the work is done.
        let done = web::block(move || {
            let done = work();
            drop(slot);
            done
        });
        Ok(done.await?)
    }
}

fn argon2() -> Argon2<'static> {
    Argon2::new(Algorithm::Argon2id, Version::V0x13, PARAMS)
}

fn hash(password: &[u8]) -> Result<String, Problem> {
    let salt: [u8; 16] = crate::keys::random().map_err(Problem::internal)?;
    let hash = argon2()
        .hash_password_with_salt(password, &salt)
        .map_err(Problem::internal)?;
    Ok(hash.to_string())
}

/// A hash that no password has: random bytes stand where hashing would have put its own, since a server that starts needn't
/// wait for that.
fn nobodys() -> Result<String, Problem> {
    let salt: [u8; 16] = crate::keys::random().map_err(Problem::internal)?;
    let bytes: [u8; Params::DEFAULT_OUTPUT_LEN] =
        crate::keys::random().map_err(Problem::internal)?;
    let (salt, bytes) = (STANDARD_NO_PAD.encode(salt), STANDARD_NO_PAD.encode(bytes));
    let (memory, passes, lanes) = (PARAMS.m_cost(), PARAMS.t_cost(), PARAMS.p_cost());
    Ok(format!(
        "$argon2id$v=19$m={memory},t={passes},p={lanes}${salt}${bytes}"
    ))
}

fn fits(password: &[u8], hash: &str) -> Result<Fit, Problem> {
    use argon2::password_hash::Error;
    let hash = PasswordHash::new(hash).map_err(Problem::internal)?;
    match argon2().verify_password(password, &hash) {
        Ok(()) => {
            let made_with = Params::try_from(&hash).map_err(Problem::internal)?;
            let weaker = hash.algorithm.as_str() != Algorithm::Argon2id.as_str()
                || made_with.m_cost() < PARAMS.m_cost()
                || made_with.t_cost() < PARAMS.t_cost();
            Ok(if weaker { Fit::YesButStale } else { Fit::Yes })
        }
        Err(Error::PasswordInvalid) => Ok(Fit::No),
        Err(error) => Err(Problem::internal(error)),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nobodys_hash_is_of_the_same_make_as_everybodys() {
        let (nobodys, somebodys) = (nobodys().expect("one"), hash(b"tide").expect("a hash"));
        let make = |hash: &str| hash.rsplitn(3, '$').nth(2).map(str::to_owned);
        assert_eq!(make(&nobodys), make(&somebodys));
        assert_eq!(nobodys.len(), somebodys.len());
        assert_eq!(fits(b"tide", &nobodys).expect("it can be read"), Fit::No);
        assert_eq!(fits(b"tide", &somebodys).expect("it can be read"), Fit::Yes);
    }

    fn password(text: &str) -> Password {
        Password::read("/password", text).expect("a password")
    }

    fn judge(text: &str) -> Result<(), Faults> {
        let context = ["wren@saltmarsh.example", "Wren Halloran", "whorl"].map(str::to_owned);
        password(text).may_be_new("/password", &context)
    }

    #[test]
    fn takes_long_passwords_of_any_characters() {
        for good in [
            "tide over the grey flats",
            "samphire grows by the slipway",
            "Žluťoučký kůň úpěl ďábelské",
            "🐴 by the 🌊 at 🌅, nobody saw",
            "Ꙁᤀ:{[®:  𑊰:𝼀￼:®",
            "{]:;>~&#|)(+%<?'_*",
            &"heron weir gate otter ".repeat(12)[..256],
        ] {
            assert_eq!(judge(good), Ok(()), "{good}");
        }
    }

    #[test]
    fn refuses_the_short_and_the_first_guesses() {
        for wrong in [
            "",
            "fourteen chars",
            "aaaaaaaaaaaaaaaaaaaaaaaa",
            "123456789012345678",
            "passwordpassword",
            "password1234567890",
            "qwertyuiopasdfghjkl",
            "1q2w3e4r5t6y7u8i",
            "iloveyouiloveyou",
            "letmeinletmeinletmein",
            "wrenhalloran2027",
            "WrenHalloranWren",
            "wren@saltmarsh.example",
            "whorlwhorlwhorl",
            "saltmarshsaltmarsh1",
            "wren saltmarsh wren",
            "Halloran & the Wren!",
        ] {
            assert!(judge(wrong).is_err(), "{wrong}");
        }
        assert!(Password::read("/password", &"x".repeat(257)).is_err());
    }

    /// What people come to who must fill fifteen characters: words of lists of leaked passwords, doubled, counted on, walked
    /// along the keyboard or led into a phrase. Written down here from memory; no list was copied.
    #[test]
    fn refuses_what_is_common_at_this_length() {
        for wrong in [
            "111111111111111",
            "000000000000000000",
            "123123123123123123",
            "123456789123456789",
            "012345678901234",
            "987654321987654321",
            "112233445566778899",
            "1111222233334444",
            "abcdefghijklmnop",
            "abcdefghijklmnopqrstuvwxyz",
            "abcabcabcabcabc",
            "abc123abc123abc123",
            "abcd1234abcd1234",
            "aaaaabbbbbccccc",
            "qwertyqwertyqwerty",
            "qwerty123qwerty123",
            "qwertyuiop123456",
            "qwertyuiop1234567890",
            "asdfghjklasdfghjkl",
            "zxcvbnmzxcvbnmzxcvbnm",
            "qazwsxedcrfvtgb",
            "1qaz2wsx3edc4rfv",
            "zaq12wsxcde34rfv",
            "password12345678",
            "passw0rdpassw0rd",
            "P@ssw0rdP@ssw0rd",
            "Password123456789",
            "Password1Password1",
            "Password!Password!",
            "drowssapdrowssap",
            "mypasswordispassword",
            "passwordpasswordpassword",
            "adminadminadmin",
            "administrator123",
            "rootrootrootroot",
            "useruseruseruser",
            "guestguestguest1",
            "testtesttesttest",
            "changemechangeme",
            "changeme12345678",
            "welcomewelcome1",
            "welcome123456789",
            "letmein123456789",
            "iloveyou12345678",
            "iloveyou iloveyou",
            "dragondragondragon",
            "monkeymonkeymonkey",
            "princessprincess",
            "sunshinesunshine",
            "footballfootball",
            "baseballbaseball",
            "supermansuperman",
            "michaelmichael123",
            "charliecharlie1",
            "computercomputer",
            "masterpassword1",
            "whateverwhatever",
            "trustno1trustno1",
            "secretsecretsecret",
            "horsehorsehorse",
            "summer2027summer2027",
            "a1b2c3d4e5f6g7h8",
            "!QAZ2wsx#EDC4rfv",
        ] {
            assert!(
                wrong.chars().count() >= SHORTEST,
                "{wrong} is refused for its length"
            );
            assert!(judge(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn the_whole_password_counts_in_its_one_spelling() {
        let long = "grey heron on the weir by night ".repeat(8);
        let kept = hash(password(&long).0.as_bytes()).expect("a hash");
        let check = |text: &str| fits(password(text).0.as_bytes(), &kept).expect("a check");
        assert_eq!(check(&long), Fit::Yes);
        assert_eq!(check(&long[..255]), Fit::No);
        assert_eq!(check(&long.to_uppercase()), Fit::No);
        let composed = hash(password("caf\u{e9} by the slipway").0.as_bytes()).expect("a hash");
        let typed = password("cafe\u{301} by the slipway");
        assert_eq!(
            fits(typed.0.as_bytes(), &composed).expect("a check"),
            Fit::Yes
        );
    }

    /// The parameters of OWASP's Password Storage Cheat Sheet (2026-08) and ASVS 5.0, appendix C.
    #[test]
    fn hashes_are_as_strong_as_owasp_asks() {
        let made = hash(b"tide over the grey flats").expect("a hash");
        assert!(
            made.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{made}"
        );
        let weak = Argon2::new(
            Algorithm::Argon2id,
            Version::V0x13,
            Params::new(8192, 1, 1, None).expect("parameters"),
        );
        let weak = weak
            .hash_password_with_salt(b"tide over the grey flats", &[1; 16])
            .expect("a hash")
            .to_string();
        let fit = fits(b"tide over the grey flats", &weak).expect("a check");
        assert_eq!(fit, Fit::YesButStale);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Any fifteen characters at random are taken and come through hashing whole (ASVS 6.2.5).
        #[test]
        fn random_characters_make_a_password(text in "\\PC{15,40}") {
            prop_assume!(text.nfc().count() >= SHORTEST);
            prop_assert_eq!(judge(&text), Ok(()));
            let kept = hash(password(&text).0.as_bytes()).expect("a hash");
            prop_assert_eq!(fits(password(&text).0.as_bytes(), &kept).expect("a check"), Fit::Yes);
        }
    }
}
