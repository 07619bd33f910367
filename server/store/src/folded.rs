//! Envelopes as they are kept: what stands in the row's other columns, and what stands in every envelope, isn't written
//! again. It comes to a quarter of the disk. The text is given back byte for byte; one of another form is kept as it is.
//!
//! A device writes envelopes in canonical form, so that their fields stand in the order of their names. Each stretch of
//! one that is known beforehand is kept as one control character, which stands in no JSON text.

use std::borrow::Cow;

use crate::events::EventRow;

/// Stands before a control character that was in the text itself.
const ITSELF: char = '\u{1f}';

/// The stretches that are known beforehand, each with the character that stands for it.
fn stretches(row: &EventRow) -> [(char, Cow<'static, str>); 8] {
    let (author, device, horse, id) = (row.author_id, row.device_id, row.horse_id, row.id);
    [
        (
            '\u{1}',
            format!(r#"{{"author_id":"{author}","content_hash":""#).into(),
        ),
        (
            '\u{2}',
            format!(r#"","device_id":"{device}","horse_id":"{horse}","id":"{id}","kind":""#).into(),
        ),
        ('\u{3}', r#"","performed_at":""#.into()),
        ('\u{4}', r#"","provenance":""#.into()),
        ('\u{5}', r#"","recorded_at":""#.into()),
        ('\u{6}', r#"","role":""#.into()),
        (
            '\u{7}',
            r#"","target_id":null,"visit_id":null,"vocabulary":1}"#.into(),
        ),
        ('\u{8}', r#","vocabulary":1}"#.into()),
    ]
}

/// The envelope of a row as it is kept.
pub(crate) fn fold(row: &EventRow) -> String {
    let stretches = stretches(row);
    let mut folded = String::with_capacity(128);
    let mut rest = row.envelope.as_str();
    while let Some(next) = rest.chars().next() {
        let known = stretches
            .iter()
            .find_map(|(code, stretch)| Some((*code, rest.strip_prefix(stretch.as_ref())?)));
        if let Some((code, after)) = known {
            folded.push(code);
            rest = after;
            continue;
        }
        if next == ITSELF || stretches.iter().any(|(code, _)| *code == next) {
            folded.push(ITSELF);
        }
        folded.push(next);
        rest = &rest[next.len_utf8()..];
    }
    folded
}

/// The envelope of a row as it was received; `row.envelope` is as it is kept.
pub(crate) fn unfold(row: &EventRow) -> String {
    let stretches = stretches(row);
    let mut text = String::with_capacity(512);
    let mut kept = row.envelope.chars();
    while let Some(next) = kept.next() {
        if next == ITSELF {
            text.extend(kept.next());
            continue;
        }
        match stretches.iter().find(|(code, _)| *code == next) {
            Some((_, stretch)) => text.push_str(stretch),
            None => text.push(next),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use uuid::Uuid;
    use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
    use whorl_care::kind::Kind;

    use super::*;

    fn row(envelope: &str) -> EventRow {
        let at = DateTime::UNIX_EPOCH.naive_utc();
        EventRow {
            horse_id: HorseId(Uuid::from_u128(1)),
            seq: 1,
            id: EventId(Uuid::from_u128(2)),
            kind: Kind::Weight,
            performed_at: at,
            author_id: AccountId(Uuid::from_u128(3)),
            device_id: DeviceId(Uuid::from_u128(4)),
            target_id: None,
            received_at: at,
            envelope: envelope.to_owned(),
            content: None,
            salt: None,
            signature: Vec::new(),
            head: Vec::new(),
            shapes: false,
        }
    }

    fn kept(envelope: &str) -> String {
        let folded = fold(&row(envelope));
        assert_eq!(unfold(&row(&folded)), envelope);
        folded
    }

    fn canonical(end: &str) -> String {
        let id = |n| Uuid::from_u128(n);
        format!(
            r#"{{"author_id":"{}","content_hash":"MS3JvJ92LztO0Zsi5SN9-37YLhX2yLXsdcAyj-tcW8w","device_id":"{}","horse_id":"{}","id":"{}","kind":"weight","performed_at":"2026-05-04T09:20:00+01:00","provenance":"recorded","recorded_at":"2026-05-04T09:20:00+01:00","role":"owner"{end}"#,
            id(3),
            id(4),
            id(1),
            id(2)
        )
    }

    #[test]
    fn an_envelope_in_canonical_form_comes_to_a_third() {
        let plain = canonical(r#","target_id":null,"visit_id":null,"vocabulary":1}"#);
        assert_eq!(
            kept(&plain),
            "\u{1}MS3JvJ92LztO0Zsi5SN9-37YLhX2yLXsdcAyj-tcW8w\u{2}weight\u{3}2026-05-04T09:20:00+01:00\u{4}recorded\u{5}\
             2026-05-04T09:20:00+01:00\u{6}owner\u{7}"
        );
        let visit = canonical(r#","target_id":null,"visit_id":"x","vocabulary":1}"#);
        assert!(kept(&visit).ends_with("owner\",\"target_id\":null,\"visit_id\":\"x\"\u{8}"));
    }

    #[test]
    fn any_other_text_comes_back_as_it_was() {
        for text in [
            "",
            "{}",
            "{\n  \"id\": \"7\"}",
            "hoof \u{1}\u{1f}\u{8}\u{7} é",
            // Somebody else's ids don't fold.
            &canonical("}").replace("00003", "00009"),
            r#"","role":"","role":""#,
        ] {
            kept(text);
        }
    }
}
