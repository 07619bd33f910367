//! The server's own keys: one signs heads, one signs access tokens, one makes refresh tokens.

use std::io::Write;
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};
use whorl_contract::key::SecretKey;

/// The keys. Never printed.
pub struct Keys {
    /// Signs the heads of horses' logs.
    pub heads: SecretKey,
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

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    heads: String,
    tokens: String,
    #[serde(default)]
    tokens_before: Vec<String>,
    refresh: String,
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
        let shown = || path.display().to_string();
        let failed = |why| NoKeys::File { path: shown(), why };
        if create && !path.exists() {
            let mut text = String::from(
                "# The server's keys. Keep a copy apart from the database's backups.\n",
            );
            for name in ["heads", "tokens", "refresh"] {
                let key = random::<32>()?;
                let key = URL_SAFE_NO_PAD.encode(key);
                text = format!(
                    "{text}{name} = \"{key}\"
"
                );
            }
            let mut options = std::fs::OpenOptions::new();
            options.write(true).create_new(true);
            #[cfg(unix)]
            {
                use std::os::unix::fs::OpenOptionsExt;
                options.mode(0o600);
            }
            let mut file = options.open(path).map_err(failed)?;
            file.write_all(text.as_bytes())
                .and_then(|()| file.sync_all())
                .map_err(failed)?;
        }
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let file = std::fs::metadata(path).map_err(failed)?;
            if !kept_close(file.uid(), file.mode()) {
                return Err(NoKeys::Open(shown()));
            }
        }
        let text = std::fs::read_to_string(path).map_err(failed)?;
        let unreadable = |why: String| NoKeys::Unreadable { path: shown(), why };
        let file: File =
            toml::from_str(&text).map_err(|error| unreadable(error.message().to_owned()))?;
        let key = |name: &str, text: &str| -> Result<[u8; 32], NoKeys> {
            let bytes = URL_SAFE_NO_PAD
                .decode(text)
                .ok()
                .and_then(|bytes| bytes.try_into().ok());
            bytes.ok_or_else(|| unreadable(format!("`{name}` is not 32 bytes of base64url")))
        };
        Ok(Self {
            heads: SecretKey::from_seed(&key("heads", &file.heads)?),
            tokens: key("tokens", &file.tokens)?,
            tokens_before: file
                .tokens_before
                .iter()
                .map(|text| key("tokens_before", text))
                .collect::<Result<_, _>>()?,
            refresh: key("refresh", &file.refresh)?,
        })
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
    use super::kept_close;

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
}
