//! Short texts that people write: names, addresses.

use unicode_normalization::UnicodeNormalization;
use whorl_care::fault::Faults;

/// A text of one line, as it is kept: composed (NFC) and without white space around it.
///
/// # Errors
///
/// A fault at `pointer` if nothing is left, if it is longer than `longest` characters, or if it holds control
/// characters, which could break a log or a table apart.
pub(crate) fn line(pointer: &str, text: &str, longest: usize) -> Result<String, Faults> {
    let text: String = text.trim().nfc().collect();
    if text.is_empty() {
        return Err(Faults::one(pointer, "this must not be empty"));
    }
    if text.chars().count() > longest {
        return Err(Faults::one(
            pointer,
            format!("this may have at most {longest} characters"),
        ));
    }
    if text.chars().any(breaks_lines) {
        return Err(Faults::one(
            pointer,
            "this must be one line without control characters",
        ));
    }
    Ok(text)
}

fn breaks_lines(one: char) -> bool {
    one.is_control() || matches!(one, '\u{2028}' | '\u{2029}')
}

/// An e-mail address in its one spelling: composed, in lower case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Email(String);

impl Email {
    /// Reads an address; checked plainly, since only mail itself could prove it.
    ///
    /// # Errors
    ///
    /// A fault at `pointer`.
    pub(crate) fn read(pointer: &str, text: &str) -> Result<Self, Faults> {
        let wrong = || {
            Faults::one(
                pointer,
                "this is not an e-mail address like name@place.example",
            )
        };
        let text: String = text.nfc().collect::<String>().to_lowercase();
        let (name, place) = text.split_once('@').ok_or_else(wrong)?;
        let named = !name.is_empty()
            && name.len() <= 64
            && !name
                .chars()
                .any(|one| one.is_whitespace() || one.is_control());
        let label = |label: &str| {
            !label.is_empty()
                && !label.starts_with('-')
                && !label.ends_with('-')
                && label.chars().all(|one| one.is_alphanumeric() || one == '-')
        };
        if named && text.len() <= 254 && place.split('.').all(label) {
            Ok(Self(text))
        } else {
            Err(wrong())
        }
    }

    /// The address.
    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_trimmed_composed_and_bounded() {
        assert_eq!(line("/name", "  Wren\u{301} ", 10), Ok("Wreń".into()));
        for wrong in ["", "   ", "a\nb", "a\u{0}b", "a\u{2028}b", "12345678901"] {
            let faults = line("/name", wrong, 10).expect_err(wrong);
            assert_eq!(faults.0[0].pointer, "/name");
        }
    }

    #[test]
    fn an_address_has_one_spelling() {
        for (text, kept) in [
            ("Wren@Saltmarsh.Example", "wren@saltmarsh.example"),
            ("wren+yard@saltmarsh.example", "wren+yard@saltmarsh.example"),
            (
                "jose\u{301}@caf\u{e9}.example",
                "jos\u{e9}@caf\u{e9}.example",
            ),
            ("wren@yard", "wren@yard"),
        ] {
            let read = Email::read("/email", text).expect(text);
            assert_eq!(read.as_str(), kept);
        }
    }

    #[test]
    fn refuses_what_is_no_address() {
        let long = format!("{}@saltmarsh.example", "w".repeat(65));
        for wrong in [
            "",
            "wren",
            "@saltmarsh.example",
            "wren@",
            "wren@salt marsh.example",
            "wr en@saltmarsh.example",
            "wren@@saltmarsh.example",
            "wren@saltmarsh..example",
            "wren@.example",
            "wren@-salt.example",
            "wren\u{0}@saltmarsh.example",
            "wren@saltmarsh.example\n",
            &long,
        ] {
            assert!(Email::read("/email", wrong).is_err(), "{wrong}");
        }
    }
}
