//! An event as it arrives: its shape, its hash and its limits, before anything is asked of the store.

use chrono::Datelike;
use serde_json::value::RawValue;
use whorl_care::details::Details;
use whorl_care::fault::Faults;
use whorl_care::kind::Kind as EventKind;
use whorl_care::objects;
use whorl_contract::event::{Content, NotGenuine, Opened, SignedEvent, VOCABULARY};
use whorl_contract::key::PublicKey;

use crate::problem::{Kind, Problem};

/// Years that a record can be of. Beyond them the databases don't agree on what an instant is.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=9998;
/// The longest note, in characters.
const LONGEST_NOTE: usize = 4000;
/// The longest name, licence or caption, in characters.
const LONGEST_LINE: usize = 500;
/// The most attachments that one event may name.
const MOST_ATTACHMENTS: usize = 20;

/// An event whose shape and content hash are right.
#[derive(Clone, Debug)]
pub(crate) struct Arrival {
    /// The texts as they came.
    pub(crate) raw: SignedEvent,
    /// The same, read.
    pub(crate) opened: Opened,
    /// The details, typed by the event's kind.
    pub(crate) details: Details,
    /// The key by which its signature was found good. Where nothing is known, the ledger looks itself.
    pub(crate) signed_by: Option<PublicKey>,
}

impl Arrival {
    /// Reads one event of a push.
    ///
    /// # Errors
    ///
    /// The problem of this event alone; pointers are relative to it.
    pub(crate) fn read(text: &RawValue) -> Result<Self, Problem> {
        let raw: SignedEvent = objects::read(text.get()).map_err(|error| {
            if error.is_data() {
                Problem::invalid("", error.to_string())
            } else {
                Problem::new(Kind::Malformed, error.to_string())
            }
        })?;
        Self::of(raw)
    }

    /// What it records.
    pub(crate) fn kind(&self) -> EventKind {
        self.opened.envelope.kind
    }

    /// Reads an event that was taken apart already.
    ///
    /// # Errors
    ///
    /// As [`Arrival::read`].
    pub(crate) fn of(raw: SignedEvent) -> Result<Self, Problem> {
        let opened = raw.open().map_err(|error| match error {
            NotGenuine::Unreadable { part, why } => Problem::invalid(format!("/{part}"), why),
            other => Problem::new(Kind::NotGenuine, other.to_string()),
        })?;
        let envelope = &opened.envelope;
        let mut faults = Faults::default();
        for field in envelope.other.keys() {
            faults.add(format!("/envelope/{field}"), "this field is unknown");
        }
        if envelope.vocabulary != VOCABULARY {
            faults.add(
                "/envelope/vocabulary",
                format!("this server takes vocabulary {VOCABULARY}"),
            );
        }
        if envelope.id.0.get_version_num() != 7 {
            faults.add("/envelope/id", "an event's id is a UUIDv7");
        }
        for (field, at) in [
            ("performed_at", envelope.performed_at),
            ("recorded_at", envelope.recorded_at),
        ] {
            if !YEARS.contains(&at.year()) {
                faults.add(
                    format!("/envelope/{field}"),
                    format!("{} is no year of a record", at.year()),
                );
            }
        }
        match (envelope.kind.is_about_another(), envelope.target_id) {
            (true, None) => faults.add("/envelope/target_id", "say which event this is about"),
            (false, Some(_)) => faults.add(
                "/envelope/target_id",
                format!("{} is about no other event", envelope.kind),
            ),
            _ => {}
        }
        let content = Content::read(&opened.content).map_err(|faults| faults.under("/content"))?;
        check_lengths(&content, &mut faults);
        match Details::parse(envelope.kind, &content.details) {
            Ok(details) => faults
                .or(Self {
                    raw,
                    opened,
                    details,
                    signed_by: None,
                })
                .map_err(Into::into),
            Err(wrong) => {
                faults.0.extend(wrong.under("/content/details").0);
                Err(faults.into())
            }
        }
    }
}

fn check_lengths(content: &Content, faults: &mut Faults) {
    let mut longest = |pointer: String, text: &str, most: usize| {
        if text.chars().count() > most {
            faults.add(pointer, format!("longer than {most} characters"));
        }
    };
    if let Some(note) = &content.note {
        longest("/content/note".into(), note, LONGEST_NOTE);
    }
    if let Some(by) = &content.performed_by {
        longest("/content/performed_by/name".into(), &by.name, LONGEST_LINE);
        longest(
            "/content/performed_by/licence".into(),
            by.licence.as_deref().unwrap_or(""),
            LONGEST_LINE,
        );
    }
    for (n, attachment) in content.attachments.iter().enumerate() {
        longest(
            format!("/content/attachments/{n}/caption"),
            attachment.caption.as_deref().unwrap_or(""),
            LONGEST_LINE,
        );
    }
    for (n, attachment) in content.attachments.iter().enumerate() {
        let hex = attachment
            .sha256
            .bytes()
            .all(|byte| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte));
        if attachment.sha256.len() != 64 || !hex {
            faults.add(
                format!("/content/attachments/{n}/sha256"),
                "expected 64 lower-case hexadecimal digits",
            );
        }
    }
    if content.attachments.len() > MOST_ATTACHMENTS {
        faults.add(
            "/content/attachments",
            format!("more than {MOST_ATTACHMENTS} attachments"),
        );
    }
    if content
        .performed_by
        .as_ref()
        .is_some_and(|by| by.name.trim().is_empty())
    {
        faults.add(
            "/content/performed_by/name",
            "say who did the work, or leave performed_by out",
        );
    }
}
