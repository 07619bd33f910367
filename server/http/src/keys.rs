//! The server's own keys: one signs heads, one signs access tokens, one makes refresh tokens. The first two can be replaced.

use std::io::Write;
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use whorl_contract::handover::Handover;
use whorl_contract::key::SecretKey;

/// The keys. Never printed.
pub struct Keys {
    /// Signs the heads of horses' logs.
    pub heads: SecretKey,
    /// What earlier keys said of those that followed them.
    pub handovers: Vec<Handover>,
    /// Seed of the Ed25519 key that signs access tokens.
    pub tokens: [u8; 32],
    /// Seeds of earlier ones, whose tokens are taken until they expire.
    pub tokens_before: Vec<[u8; 32]>,
    /// Makes refresh tokens (HMAC-SHA256).
    pub refresh: [u8; 32],
}

impl std::fmt::Debug for Keys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Keys(***)")
    }
}

/// Why the keys can't be had.
#[derive(Debug, thiserror::Error)]
pub enum NoKeys {
    /// The file can't be read or written.
    #[error("the key file {path}: {why}")]
    File {
        /// Its path.
        path: String,
        /// What the system says.
        why: std::io::Error,
    },
    /// Others can read the file.
    #[error("the key file {0} can be read by others; `chmod 600` it")]
    Open(String),
    /// The file holds no keys.
    #[error("the key file {path} can't be used: {why}")]
    Unreadable {
        /// Its path.
        path: String,
        /// What is wrong.
        why: String,
    },
    /// The machine gives no randomness.
    #[error("the machine gives no randomness: {0}")]
    Randomness(getrandom::Error),
}

/// Which key is replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Replaced {
    /// The one that signs heads and bundles; the old one vouches for the new one, and is gone
    Heads,
    /// The one that signs access tokens; the old one's tokens are taken until they expire
    Tokens,
}

/// As many earlier keys of tokens are kept: tokens live for minutes only.
const TOKENS_BEFORE: usize = 2;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    heads: String,
    tokens: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    tokens_before: Vec<String>,
    refresh: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    handovers: Vec<Handover>,
}

impl File {
    fn new() -> Result<Self, NoKeys> {
        Ok(Self {
            heads: new_key()?,
            tokens: new_key()?,
            tokens_before: Vec::new(),
            refresh: new_key()?,
            handovers: Vec::new(),
        })
    }

    /// Reads the file of keys at `path`, which only this server's user can read.
    fn read(path: &Path) -> Result<Self, NoKeys> {
        let shown = || path.display().to_string();
        let failed = |why| NoKeys::File { path: shown(), why };
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let file = std::fs::metadata(path).map_err(failed)?;
            if !kept_close(file.uid(), file.mode()) {
                return Err(NoKeys::Open(shown()));
            }
        }
        let text = std::fs::read_to_string(path).map_err(failed)?;
        toml::from_str(&text).map_err(|error| NoKeys::Unreadable {
            path: shown(),
            why: error.message().to_owned(),
        })
    }

    /// Writes a file that only its user can read and that isn't there yet; it is on the disk when this answers.
    fn write(&self, path: &Path) -> Result<(), NoKeys> {
        let failed = |why| NoKeys::File {
            path: path.display().to_string(),
            why,
        };
        let keys = toml::to_string(self).map_err(|why| failed(std::io::Error::other(why)))?;
        let mut options = std::fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        {
            use std::os::unix::fs::OpenOptionsExt;
            options.mode(0o600);
        }
        let mut file = options.open(path).map_err(failed)?;
        write!(
            file,
            "# The server's keys. Keep a copy apart from the database's backups.\n{keys}"
        )
        .and_then(|()| file.sync_all())
        .map_err(failed)
    }
}

fn new_key() -> Result<String, NoKeys> {
    Ok(URL_SAFE_NO_PAD.encode(random::<32>()?))
}

/// Whether nobody but this server's user, and whoever owns the machine, can read a file of that owner and mode.
#[cfg(unix)]
#[expect(clippy::verbose_bit_mask, reason = "modes are written and read so")]
const fn kept_close(owner: u32, mode: u32) -> bool {
    // An orchestrator hands secrets out as files of root's that one group may read; nobody else can make such a file.
    mode & 0o077 == 0 || (owner == 0 && mode & 0o037 == 0)
}

impl Keys {
    /// Reads the key file, or makes it (readable by its user only) if there is none and `create` says so.
    ///
    /// # Errors
    ///
    /// [`NoKeys`].
    pub fn load(path: &Path, create: bool) -> Result<Self, NoKeys> {
        if create && !path.exists() {
            File::new()?.write(path)?;
        }
        Self::of(&File::read(path)?, path)
    }

    fn of(file: &File, path: &Path) -> Result<Self, NoKeys> {
        let key = |name: &str, text: &str| -> Result<[u8; 32], NoKeys> {
            let bytes = URL_SAFE_NO_PAD
                .decode(text)
                .ok()
                .and_then(|bytes| bytes.try_into().ok());
            bytes.ok_or_else(|| NoKeys::Unreadable {
                path: path.display().to_string(),
                why: format!("`{name}` is not 32 bytes of base64url"),
            })
        };
        Ok(Self {
            heads: SecretKey::from_seed(&key("heads", &file.heads)?),
            handovers: file.handovers.clone(),
            tokens: key("tokens", &file.tokens)?,
            tokens_before: file
                .tokens_before
                .iter()
                .map(|text| key("tokens_before", text))
                .collect::<Result<_, _>>()?,
            refresh: key("refresh", &file.refresh)?,
        })
    }

    /// Replaces a key of the server `server` in its file, whole or not at all, and answers the keys of now. Servers that run go on
    /// with the old one until they are started again.
    ///
    /// # Errors
    ///
    /// [`NoKeys`]; the file is then what it was.
    pub fn replace(
        path: &Path,
        which: Replaced,
        server: &str,
        now: DateTime<Utc>,
    ) -> Result<Self, NoKeys> {
        let mut file = File::read(path)?;
        let old = Self::of(&file, path)?;
        let new = new_key()?;
        match which {
            Replaced::Heads => {
                file.heads = new;
                let new = Self::of(&file, path)?.heads.public();
                file.handovers
                    .push(Handover::sign(server, &old.heads, new, now));
            }
            Replaced::Tokens => {
                let before = std::mem::replace(&mut file.tokens, new);
                file.tokens_before.insert(0, before);
                file.tokens_before.truncate(TOKENS_BEFORE);
            }
        }
        let beside = path.with_extension("new");
        file.write(&beside)?;
        std::fs::rename(&beside, path).map_err(|why| NoKeys::File {
            path: path.display().to_string(),
            why,
        })?;
        Self::of(&file, path)
    }
}

/// Random bytes from the system.
pub(crate) fn random<const N: usize>() -> Result<[u8; N], NoKeys> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(NoKeys::Randomness)?;
    Ok(bytes)
}

#[cfg(all(test, unix))]
mod tests {
    use std::collections::HashSet;
    use std::os::unix::fs::PermissionsExt;

    use whorl_contract::handover::leads;

    use super::*;

    fn now() -> DateTime<Utc> {
        "2027-03-04T14:20:00Z".parse().expect("a time")
    }

    /// Refresh tokens, links, calendars, codes and webhooks all have their secrets from here.
    #[test]
    fn no_two_of_many_secrets_are_alike_and_every_bit_is_as_often_one_as_zero() {
        const MANY: u32 = 100_000;
        let secrets: HashSet<[u8; 32]> =
            (0..MANY).map(|_| random().expect("random bytes")).collect();
        assert_eq!(secrets.len(), MANY as usize);
        for bit in 0..256 {
            let is_one = |secret: &&[u8; 32]| secret[bit / 8] >> (bit % 8) & 1 == 1;
            let ones = secrets.iter().filter(is_one).count();
            // Six standard deviations of a fair coin: one run in two million is further off with any of its 256 bits.
            let off = (2.0 * f64::from(u32::try_from(ones).expect("few")) - f64::from(MANY)).abs();
            assert!(off < 6.0 * f64::from(MANY).sqrt(), "bit {bit}: {ones}");
        }
    }

    #[test]
    fn keys_that_others_can_read_are_refused() {
        for (owner, mode, kept) in [
            (1000, 0o600, true),
            (1000, 0o400, true),
            (1000, 0o640, false),
            (1000, 0o604, false),
            (0, 0o440, true),
            (0, 0o640, true),
            (0, 0o660, false),
            (0, 0o444, false),
        ] {
            assert_eq!(kept_close(owner, mode), kept, "{owner} {mode:o}");
        }
    }

    #[test]
    fn a_key_is_replaced_alone_and_its_secret_is_gone() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let path = folder.path().join("whorl.keys");
        let first = Keys::load(&path, true).expect("keys");
        let server = "saltmarsh.example";
        let second = Keys::replace(&path, Replaced::Heads, server, now()).expect("replaced");
        let text = std::fs::read_to_string(&path).expect("the file");
        assert!(
            !text.contains(&URL_SAFE_NO_PAD.encode(first.heads.seed())),
            "{text}"
        );
        assert_eq!(
            (second.tokens, second.refresh),
            (first.tokens, first.refresh)
        );
        let (old, new) = (first.heads.public(), second.heads.public());
        assert!(leads(server, &second.handovers, &old, &new));
        assert!(!leads("elsewhere.example", &second.handovers, &old, &new));

        let third = Keys::replace(&path, Replaced::Tokens, server, now()).expect("replaced");
        assert_eq!(third.heads.public(), new);
        assert_eq!(
            (third.tokens_before, third.refresh),
            (vec![first.tokens], first.refresh)
        );
        assert_eq!(third.handovers, second.handovers);
        let mode = std::fs::metadata(&path)
            .expect("the file")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
        let files = std::fs::read_dir(folder.path())
            .expect("the folder")
            .count();
        assert_eq!(files, 1, "nothing is left lying about");
    }

    #[test]
    fn what_cant_be_replaced_stays_what_it_was() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let path = folder.path().join("whorl.keys");
        let server = "saltmarsh.example";
        assert!(
            Keys::replace(&path, Replaced::Heads, server, now()).is_err(),
            "none to replace"
        );
        let first = Keys::load(&path, true).expect("keys");
        // As if another replacement were under way, or had been cut short.
        let beside = path.with_extension("new");
        std::fs::write(&beside, "half").expect("written");
        assert!(Keys::replace(&path, Replaced::Heads, server, now()).is_err());
        let still = Keys::load(&path, false).expect("keys");
        assert_eq!(still.heads.public(), first.heads.public());
        assert_eq!(std::fs::read_to_string(&beside).expect("the file"), "half");
    }
}
