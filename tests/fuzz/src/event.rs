//! An event as it comes: the first line is its envelope, the rest its content. It is made genuine here, since no mutation
//! finds a hash or a signature.

use chrono::DateTime;
use serde_json::value::RawValue;
use serde_json::{Map, Value, json};
use uuid::Uuid;
use whorl_care::details::Details;
use whorl_contract::canonical;
use whorl_contract::event::{Content, Opened, SignedEvent, care_event, content_hash};
use whorl_contract::key::{Purpose, Salt, SecretKey};

use crate::halves;

/// An event opens for whom it was signed, and for nobody once a byte is changed. What of it is taken reads the same written
/// again: whoever signed it and whoever reads it mean one thing.
pub(crate) fn run(bytes: &[u8]) {
    let Some((key, event)) = halves(bytes).and_then(|(envelope, content)| sign(envelope, content))
    else {
        return;
    };
    let Ok(opened) = event.open() else {
        return;
    };
    opened
        .signed_by(&key.public(), &event.signature)
        .expect("its own signature");
    assert!(
        opened
            .signed_by(&other().public(), &event.signature)
            .is_err()
    );
    changed_bytes(&key, &event, &opened);
    let envelope = serde_json::to_value(&opened.envelope).expect("an envelope");
    let read: Result<Value, _> = serde_json::from_slice(&opened.canonical_envelope);
    assert_eq!(filled(&read.expect("JSON")), filled(&envelope));
    let Ok(content) = Content::read(&opened.content) else {
        return;
    };
    let written = serde_json::to_value(&content).expect("a content");
    assert_eq!(
        filled(&opened.content),
        filled(&written),
        "read as another shape"
    );
    assert!(care_event(event.envelope.get(), event.content.get()).is_some());
    let Ok(details) = Details::parse(opened.envelope.kind, &content.details) else {
        return;
    };
    assert!(content.details.is_object(), "{}", content.details);
    let again = Details::parse(opened.envelope.kind, &details.to_value());
    assert_eq!(again.expect("details that were read"), details);
}

fn key() -> SecretKey {
    SecretKey::from_seed(&[7; 32])
}

fn other() -> SecretKey {
    SecretKey::from_seed(&[8; 32])
}

/// The event with the right hash in its envelope, signed.
fn sign(envelope: &str, content: &str) -> Option<(SecretKey, SignedEvent)> {
    let salt = Salt([3; 32]);
    let mut envelope = canonical::read(envelope).ok()?;
    let hash = content_hash(&salt, &canonical::read(content).ok()?).ok()?;
    envelope
        .as_object_mut()?
        .insert("content_hash".into(), json!(hash));
    let envelope = canonical::write(&envelope).ok()?;
    let key = key();
    let signature = key.sign(Purpose::Event, &envelope);
    let raw = |text: String| RawValue::from_string(text).ok();
    let event = SignedEvent {
        envelope: raw(String::from_utf8(envelope).ok()?)?,
        content: raw(content.to_owned())?,
        salt,
        signature,
    };
    Some((key, event))
}

/// One byte of the envelope changed, for each of a few places: it must not verify.
fn changed_bytes(key: &SecretKey, event: &SignedEvent, opened: &Opened) {
    for place in (0..opened.canonical_envelope.len()).step_by(97) {
        let mut changed = opened.canonical_envelope.clone();
        changed[place] ^= 1;
        assert!(
            !key.public()
                .verifies(Purpose::Event, &changed, &event.signature)
        );
    }
}

/// Without the fields that hold nothing, since whether they are written or left out means the same; instants and ids in their one
/// spelling.
fn filled(value: &Value) -> Value {
    match value {
        Value::Object(fields) => {
            let fields = fields.iter().filter(|(_, field)| !is_nothing(field));
            fields
                .map(|(name, field)| (name.clone(), filled(field)))
                .collect::<Map<_, _>>()
                .into()
        }
        Value::Array(items) => items.iter().map(filled).collect(),
        Value::String(text) => spelled(text).into(),
        other => other.clone(),
    }
}

fn spelled(text: &str) -> String {
    let instant = DateTime::parse_from_rfc3339(text).map(|at| at.to_rfc3339());
    let id = || Uuid::parse_str(text).map(|id| id.to_string());
    instant
        .or_else(|_| id())
        .unwrap_or_else(|_| text.to_owned())
}

fn is_nothing(field: &Value) -> bool {
    field.is_null() || field.as_array().is_some_and(Vec::is_empty)
}
