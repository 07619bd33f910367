//! A mail relay of somebody else's making (aiosmtpd), in a process of its own.

use std::path::PathBuf;

use whorl_tests::python::Service;

use super::until;

/// A relay on loopback. It ends when this is dropped.
pub(super) struct Relay(Service);

impl Relay {
    /// Starts one; `plans` say what happens to the first attempts (see `smtp_relay.py`).
    pub(super) fn start(plans: &[&str]) -> Self {
        Self(Service::start("smtp_relay.py", plans))
    }

    pub(super) fn port(&self) -> u16 {
        self.0.port
    }

    /// The file of the authority that vouches for it, if it was told to have one.
    pub(super) fn authority(&self) -> PathBuf {
        self.0.folder().join("authority.pem")
    }

    /// The letters that it took so far, in order, as texts.
    pub(super) fn letters(&self) -> Vec<String> {
        (1..)
            .map(|n| std::fs::read_to_string(self.0.folder().join(format!("{n}.eml"))))
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
