//! Envelopes as they are kept: what stands in the row's other columns, and what stands in every envelope, isn't written
//! again. It comes to a quarter of the disk. The text is given back byte for byte; one of another form is kept as it is.
//!
//! A device writes envelopes in canonical form, so that their fields stand in the order of their names. Each stretch of
//! one that is known beforehand is kept as one control character, which stands in no JSON text.

use std::borrow::Cow;
use std::ops::RangeInclusive;

use crate::events::EventRow;

/// Stands before a control character that was in the text itself.
const ITSELF: u8 = 0x1f;

/// The characters that stand for a stretch.
const CODES: RangeInclusive<u8> = 1..=8;

/// The stretch that a character stands for; each begins with one of [`BEGINNINGS`].
fn stretch(code: u8, row: &EventRow) -> Option<Cow<'static, str>> {
    let (author, device, horse, id) = (row.author_id, row.device_id, row.horse_id, row.id);
    Some(match code {
        1 => format!(r#"{{"author_id":"{author}","content_hash":""#).into(),
        2 => {
            format!(r#"","device_id":"{device}","horse_id":"{horse}","id":"{id}","kind":""#).into()
        }
        3 => r#"","performed_at":""#.into(),
        4 => r#"","provenance":""#.into(),
        5 => r#"","recorded_at":""#.into(),
        6 => r#"","role":""#.into(),
        7 => r#"","target_id":null,"visit_id":null,"vocabulary":1}"#.into(),
        8 => r#","vocabulary":1}"#.into(),
        _ => return None,
    })
}

const BEGINNINGS: &[u8] = br#"{","#;

/// The envelope of a row as it is kept.
pub(crate) fn fold(row: &EventRow) -> String {
    let stretches: Vec<(u8, Cow<'static, str>)> = CODES
        .filter_map(|code| Some((code, stretch(code, row)?)))
        .collect();
    let special = |byte: u8| BEGINNINGS.contains(&byte) || CODES.contains(&byte) || byte == ITSELF;
    let mut folded = String::with_capacity(128);
    let mut rest = row.envelope.as_str();
    // What is special is one byte long, so that no character is cut.
    while let Some(at) = rest.bytes().position(special) {
        folded.push_str(&rest[..at]);
        rest = &rest[at..];
        let known = stretches
            .iter()
            .find_map(|(code, stretch)| Some((*code, rest.strip_prefix(stretch.as_ref())?)));
        if let Some((code, after)) = known {
            folded.push(code.into());
            rest = after;
            continue;
        }
        let byte = rest.as_bytes()[0];
        if !BEGINNINGS.contains(&byte) {
            folded.push(ITSELF.into());
        }
        folded.push(byte.into());
        rest = &rest[1..];
    }
    folded.push_str(rest);
    folded
}

/// The envelope of a row as it was received; `row.envelope` is as it is kept.
pub(crate) fn unfold(row: &EventRow) -> String {
    let special = |byte: u8| CODES.contains(&byte) || byte == ITSELF;
    let mut text = String::with_capacity(512);
    let mut rest = row.envelope.as_str();
    while let Some(at) = rest.bytes().position(special) {
        text.push_str(&rest[..at]);
        let code = rest.as_bytes()[at];
        rest = &rest[at + 1..];
        if let Some(stretch) = stretch(code, row) {
            text.push_str(&stretch);
        } else if let Some(itself) = rest.chars().next() {
            text.push(itself);
            rest = &rest[itself.len_utf8()..];
        }
    }
    text.push_str(rest);
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
