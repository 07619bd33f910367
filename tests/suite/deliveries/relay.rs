//! A mail relay of somebody else's making (aiosmtpd), in a process of its own.

use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use super::until;

/// A relay on loopback. It ends when this is dropped.
pub(super) struct Relay {
    folder: TempDir,
    child: Child,
    pub(super) port: u16,
}

impl Relay {
    /// Starts one; `plans` say what happens to the first attempts (see `smtp_relay.py`).
    pub(super) fn start(plans: &[&str]) -> Self {
        let folder = TempDir::new().expect("a folder");
        let python = std::env::var("WHORL_TEST_PYTHON").unwrap_or_else(|_| "python3".to_owned());
        let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("suite/smtp_relay.py");
        let child = Command::new(&python)
            .arg(script)
            .arg(folder.path())
            .args(plans)
            .stdin(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("{python}, with aiosmtpd installed, as WHORL_TEST_PYTHON: {error}")
            });
        let told = folder.path().join("port");
        let port = until("the relay listens", || {
            std::fs::read_to_string(&told).ok()?.trim().parse().ok()
        });
        Self {
            folder,
            child,
            port,
        }
    }

    /// The file of the authority that vouches for it, if it was told to have one.
    pub(super) fn authority(&self) -> PathBuf {
        self.folder.path().join("authority.pem")
    }

    /// The letters that it took so far, in order, as texts.
    pub(super) fn letters(&self) -> Vec<String> {
        (1..)
            .map(|n| std::fs::read_to_string(self.folder.path().join(format!("{n}.eml"))))
            .map_while(Result::ok)
            .collect()
    }

    /// The letters, once there are so many.
    pub(super) fn wait_for(&self, many: usize) -> Vec<String> {
        until("letters", || {
            Some(self.letters()).filter(|letters| letters.len() >= many)
        })
    }
}

impl Drop for Relay {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        let _ = self.child.wait();
    }
}

/// A header of a letter.
pub(super) fn header<'a>(letter: &'a str, name: &str) -> &'a str {
    let (head, _) = letter
        .split_once("\r\n\r\n")
        .or_else(|| letter.split_once("\n\n"))
        .expect("a head");
    head.lines()
        .find_map(|line| line.strip_prefix(&format!("{name}: ")))
        .unwrap_or_else(|| panic!("no {name} in {head}"))
}

/// A letter's text, as a mail program shows it.
pub(super) fn text(letter: &str) -> String {
    let encoding = letter.to_lowercase();
    let (_, body) = letter
        .split_once("\r\n\r\n")
        .or_else(|| letter.split_once("\n\n"))
        .expect("a body");
    if !encoding.contains("content-transfer-encoding: quoted-printable") {
        return body.replace("\r\n", "\n");
    }
    let joined = body.replace("=\r\n", "").replace("=\n", "");
    let mut bytes = Vec::new();
    let mut rest = joined.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'=' {
            let hex: String = rest.by_ref().take(2).map(char::from).collect();
            bytes.push(u8::from_str_radix(&hex, 16).expect("quoted-printable"));
        } else {
            bytes.push(byte);
        }
    }
    String::from_utf8(bytes)
        .expect("text")
        .replace("\r\n", "\n")
}
