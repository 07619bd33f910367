//! The client's folder: the device's key, the session, the database, and the lock. Readable by its user only.

mod key;
mod lock;
mod session;

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

pub use lock::Lock;
pub use session::{Membership, Tokens};

use crate::failure::Failure;

/// The folder, made and checked.
#[derive(Clone, Debug)]
pub struct Home {
    folder: PathBuf,
}

/// Where the folder is, by `WHORL_HOME`, else by what the system uses for programs' data; none if it doesn't say.
pub fn place(variable: impl Fn(&str) -> Option<OsString>) -> Option<PathBuf> {
    let set = |name: &str| variable(name).filter(|value| !value.is_empty());
    if let Some(folder) = set("WHORL_HOME") {
        return Some(folder.into());
    }
    let data = set("XDG_DATA_HOME")
        .or_else(|| set("LOCALAPPDATA"))
        .map(PathBuf::from)
        .or_else(|| set("HOME").map(|home| PathBuf::from(home).join(".local/share")))?;
    Some(data.join("whorl"))
}

/// What this machine calls itself, as a first name for the device.
pub fn machine_name(variable: impl Fn(&str) -> Option<OsString>) -> String {
    let set = |name: &str| variable(name).and_then(|text| text.into_string().ok());
    set("COMPUTERNAME")
        .or_else(|| fs::read_to_string("/proc/sys/kernel/hostname").ok())
        .or_else(|| set("HOSTNAME"))
        .map(|name| name.trim().chars().take(100).collect::<String>())
        .filter(|name| !name.is_empty())
        .unwrap_or_else(|| "field device".to_owned())
}

impl Home {
    /// Makes the folder if it isn't there, and refuses it if others can look into it.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] with what to do.
    pub fn open(folder: &Path) -> Result<Self, Failure> {
        make_folder(folder)
            .map_err(|error| Failure::file(format_args!("{}", folder.display()), &error))?;
        refuse_if_others_can_read(folder, "chmod 700")?;
        Ok(Self {
            folder: folder.to_owned(),
        })
    }

    /// The database with outbox and copies.
    #[must_use]
    pub fn database(&self) -> PathBuf {
        self.folder.join("record.db")
    }

    /// A file for an attachment's bytes, by their hash.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the folder for them can't be made.
    pub fn attachment(&self, sha256: &str) -> Result<PathBuf, Failure> {
        Ok(self.sub("attachments")?.join(sha256))
    }

    /// A file for what is taken out of the outbox.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the folder for them can't be made.
    pub fn dropped(&self, name: &str) -> Result<PathBuf, Failure> {
        Ok(self.sub("dropped")?.join(name))
    }

    fn sub(&self, name: &str) -> Result<PathBuf, Failure> {
        let folder = self.folder.join(name);
        make_folder(&folder)
            .map_err(|error| Failure::file(format_args!("{}", folder.display()), &error))?;
        Ok(folder)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }
}

fn make_folder(folder: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// A key or token that others can read is no secret any more; better to stop than to go on signing with it.
fn refuse_if_others_can_read(path: &Path, remedy: &str) -> Result<(), Failure> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let found = fs::metadata(path)
            .map_err(|error| Failure::file(format_args!("{}", path.display()), &error))?;
        if found.permissions().mode() & 0o077 != 0 {
            return Err(Failure::Device(format!(
                "others on this machine can read {}; if nobody has, run `{remedy} {}` and try again",
                path.display(),
                path.display()
            )));
        }
    }
    #[cfg(not(unix))]
    let _ = (path, remedy);
    Ok(())
}

/// Reads a file of secrets; none if it isn't there.
fn read_secret(path: &Path) -> Result<Option<String>, Failure> {
    match fs::read_to_string(path) {
        Ok(text) => {
            refuse_if_others_can_read(path, "chmod 600")?;
            Ok(Some(text))
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(Failure::file(path.display(), &error)),
    }
}

/// Writes a file that only its user can read: whole or not at all, and on the disk when this returns.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written; the file that was there before is as it was.
pub fn write_private(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let fail = |error: io::Error| Failure::file(path.display(), &error);
    let draft = path.with_extension("new");
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&draft).map_err(fail)?;
    file.write_all(bytes).map_err(fail)?;
    file.sync_all().map_err(fail)?;
    fs::rename(&draft, path).map_err(fail)?;
    // The rename itself is on the disk only once the folder is.
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        File::open(folder)
            .and_then(|folder| folder.sync_all())
            .map_err(fail)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_environment_says_where_the_folder_is() {
        let at = |pairs: &'static [(&str, &str)]| {
            place(move |name| {
                let pair = pairs.iter().find(|(known, _)| *known == name);
                pair.map(|(_, value)| OsString::from(value))
            })
        };
        assert_eq!(
            at(&[("WHORL_HOME", "/w"), ("HOME", "/h")]),
            Some("/w".into())
        );
        assert_eq!(
            at(&[("WHORL_HOME", ""), ("XDG_DATA_HOME", "/x"), ("HOME", "/h")]),
            Some("/x/whorl".into())
        );
        assert_eq!(at(&[("HOME", "/h")]), Some("/h/.local/share/whorl".into()));
        assert_eq!(at(&[]), None);
    }

    #[cfg(unix)]
    #[test]
    fn a_folder_or_key_that_others_can_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let outer = tempfile::tempdir().expect("a folder");
        let folder = outer.path().join("whorl");
        let home = Home::open(&folder).expect("made");
        let mode = |path: &Path| fs::metadata(path).expect("there").permissions().mode() & 0o777;
        assert_eq!(mode(&folder), 0o700);
        let secret = home.file("device.key");
        write_private(&secret, b"x").expect("written");
        assert_eq!(mode(&secret), 0o600);
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o640)).expect("set");
        let refused = read_secret(&secret).expect_err("others can read it");
        assert!(refused.to_string().contains("chmod 600"), "{refused}");
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).expect("set");
        let refused = Home::open(&folder).expect_err("others can look in");
        assert!(refused.to_string().contains("chmod 700"), "{refused}");
    }
}
