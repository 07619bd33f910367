//! A notice as a letter: which horse, what, when, by whom, and what to do in cautious words. The subject tells nothing of the
//! horse's state: it stands on locked screens.

use std::time::SystemTime;

use chrono::{DateTime, Utc};
use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message};
use whorl_care::ids::DeliveryId;
use whorl_care::notice::{State, Topic};
use whorl_care::sentence::{capital, words};
use whorl_contract::notice::Notice;

/// What a letter is written from.
#[derive(Debug)]
pub(super) struct Letter<'a> {
    pub(super) id: DeliveryId,
    pub(super) from: &'a Mailbox,
    /// The reader's address.
    pub(super) to: &'a str,
    pub(super) notice: &'a Notice,
    /// The server's name.
    pub(super) server: &'a str,
    /// At which address people reach it.
    pub(super) url: Option<&'a str>,
    pub(super) now: DateTime<Utc>,
}

impl Letter<'_> {
    /// The letter as it leaves. Its id is the same at each attempt, so that a reader's mail program can tell a repetition.
    ///
    /// # Errors
    ///
    /// What is wrong with it, in words.
    pub(super) fn write(&self) -> Result<Message, String> {
        let to = self
            .to
            .parse()
            .map_err(|error| format!("the address: {error}"))?;
        // A port has no place in a message's id.
        let host = self.server.replace(':', ".");
        Message::builder()
            .from(self.from.clone())
            .to(Mailbox::new(None, to))
            .subject(self.subject())
            .message_id(Some(format!("<{}@{host}>", self.id)))
            .date(SystemTime::from(self.now))
            .header(AutoSubmitted)
            .header(ContentType::TEXT_PLAIN)
            .body(self.text())
            .map_err(|error| error.to_string())
    }

    fn subject(&self) -> String {
        let notice = self.notice;
        let what = match (notice.topic, notice.state) {
            (Topic::Held, _) => notice.topic.headline(),
            (_, State::Withdrawn) => "a notice is withdrawn",
            (_, State::Changed) => "a notice has changed",
            _ if notice.urgent => "please read now",
            _ => "please read",
        };
        format!("{}: {what}", line(self.horse()))
    }

    fn horse(&self) -> &str {
        self.notice
            .horse
            .as_deref()
            .unwrap_or("A horse without a name")
    }

    fn text(&self) -> String {
        let notice = self.notice;
        let mut parts = vec![format!("{}: {}.", self.horse(), notice.topic.headline())];
        let recorded = [
            Some(format!("Recorded ({})", words(notice.kind.code()))),
            notice.by.as_ref().map(|by| format!("by {by}")),
            notice.role.map(|role| format!("as {}", words(role.code()))),
            notice
                .performed_at
                .map(|at| format!("on {}", at.format("%-d %B %Y at %H:%M"))),
        ];
        let recorded: Vec<String> = recorded.into_iter().flatten().collect();
        parts.push(format!("{}.", recorded.join(" ")));
        let reason = notice.reason.as_deref();
        match notice.state {
            State::Withdrawn => parts.push(format!(
                "This no longer holds. The reason given: {}. It had said:",
                reason.unwrap_or("none")
            )),
            State::Changed => parts.push(format!(
                "The entry was amended. The reason given: {}. It says now:",
                reason.unwrap_or("none")
            )),
            State::Raised | State::Settled => {}
        }
        parts.extend(notice.text.iter().map(|text| capital(text)));
        if notice.topic.is_red_flag() {
            parts.push(
                "This was worked out from what was written down. It is no diagnosis and can be wrong: look at the horse, \
                 and call your vet, who decides what it is and what is done."
                    .to_owned(),
            );
        }
        if let Some(url) = self.url {
            parts.push(format!(
                "The record: {url}/horses/{}/history\nAll notices: {url}/notices",
                notice.horse_id
            ));
        }
        parts.push(format!(
            "--\nYou get this from {} since you own this horse or are its vet there. To get fewer letters, or none: sign in \
             and choose so under Notices, or run `whorl notices email none`.",
            self.server
        ));
        let parts: Vec<String> = parts.iter().map(|part| wrap(part)).collect();
        parts.join("\n\n") + "\n"
    }
}

/// A text on one line, whatever it holds.
fn line(text: &str) -> String {
    let plain = |one: char| if one.is_control() { ' ' } else { one };
    text.chars().map(plain).take(100).collect()
}

/// Breaks lines at blanks after some 76 characters; the breaks that are there stay.
fn wrap(text: &str) -> String {
    let lines = text.split('\n').map(|line| {
        let mut wrapped = String::new();
        let mut length = 0;
        for word in line.split(' ') {
            let long = word.chars().count();
            if length > 0 {
                let fits = length + 1 + long <= 76;
                wrapped.push(if fits { ' ' } else { '\n' });
                length = if fits { length + 1 } else { 0 };
            }
            wrapped.push_str(word);
            length += long;
        }
        wrapped
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Says that no person sent it, so that no program answers (RFC 3834).
#[derive(Clone, Copy, Debug)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    fn notice(horse: &str, text: &str) -> Notice {
        let at: DateTime<Utc> = "2027-03-04T07:24:10Z".parse().expect("an instant");
        Notice {
            id: Uuid::nil().into(),
            horse_id: Uuid::nil().into(),
            horse: Some(horse.to_owned()),
            event_id: Uuid::nil().into(),
            kind: whorl_care::kind::Kind::Vitals,
            topic: Topic::Vitals,
            state: State::Raised,
            urgent: true,
            text: vec![text.to_owned()],
            reason: None,
            by: Some("Tam Brisling".to_owned()),
            role: None,
            performed_at: Some(at.fixed_offset()),
            raised_at: at,
            changed_at: at,
            read_at: None,
        }
    }

    fn written(notice: &Notice) -> String {
        let from: Mailbox = "Whorl <whorl@horses.example>".parse().expect("a mailbox");
        let letter = Letter {
            id: Uuid::nil().into(),
            from: &from,
            to: "wren@saltmarsh.example",
            notice,
            server: "horses.example:8040",
            url: Some("https://horses.example"),
            now: notice.raised_at,
        };
        let bytes = letter.write().expect("a letter").formatted();
        String::from_utf8(bytes).expect("text")
    }

    #[test]
    fn the_subject_tells_nothing_of_the_horses_state() {
        let text = written(&notice("Plover", "Fever: 40.1 °C, above 38.6 °C."));
        let (head, _) = text.split_once("\r\n\r\n").expect("a head");
        assert!(
            head.contains("Subject: Plover: please read now\r\n"),
            "{head}"
        );
        assert!(!head.to_lowercase().contains("fever") && !head.contains("vital"));
        assert!(head.contains("Auto-Submitted: auto-generated"));
        assert!(
            head.contains("Message-ID: <00000000-0000-0000-0000-000000000000@horses.example.8040>")
        );
    }

    #[test]
    fn nothing_in_a_record_becomes_a_header() {
        let odd = "Plover\r\nBcc: everybody@elsewhere.example\r\n\r\nHello";
        let text = written(&notice(odd, "x\r\n.\r\nMAIL FROM:<a@b>"));
        let (head, _) = text.split_once("\r\n\r\n").expect("a head");
        let names: Vec<&str> = head
            .split("\r\n")
            .filter(|line| !line.starts_with([' ', '\t']))
            .filter_map(|line| line.split_once(':').map(|(name, _)| name))
            .collect();
        assert!(!names.contains(&"Bcc"), "{head}");
        assert_eq!(names.iter().filter(|name| **name == "To").count(), 1);
        assert_eq!(names.iter().filter(|name| **name == "Subject").count(), 1);
    }

    #[test]
    fn lines_are_short_and_lose_nothing() {
        let long = "word ".repeat(60);
        let wrapped = wrap(&long);
        assert!(wrapped.lines().all(|line| line.chars().count() <= 76));
        let again: Vec<&str> = wrapped.split_whitespace().collect();
        assert_eq!(again, long.split_whitespace().collect::<Vec<_>>());
    }
}
