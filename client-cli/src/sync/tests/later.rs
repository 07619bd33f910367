//! What a later version wrote: checked like anything else, and kept byte for byte.

use serde_json::json;
use serde_json::value::RawValue;
use whorl_contract::event::{content_hash, leaf};
use whorl_contract::key::{Purpose, Salt, SecretKey};
use whorl_contract::sync::{Run, Signer};
use whorl_contract::{canonical, chain};

use super::*;
use crate::mirror::Place;
use crate::sync::{apply, check};

#[test]
fn a_later_kind_with_unknown_fields_is_verified_and_kept_byte_for_byte() {
    let mut model = Model::new();
    let client = Client::new(&mut model);
    let (horse_id, key) = (horse(0), SecretKey::from_seed(&[4; 32]));
    let signer = Signer {
        device_id: whorl_care::ids::DeviceId(Uuid::from_u128(41)),
        public_key: key.public(),
        account_id: whorl_care::ids::AccountId(Uuid::from_u128(42)),
        name: "Senna Quill".to_owned(),
    };
    // Neither the kind nor the fields are this version's, and their order is no version's.
    let content =
        json!({"zeal": {"depth_m": 1.25}, "minutes": 12, "after": [null, "½ × “quoted”"]});
    let salt = Salt([3; 32]);
    let envelope = json!({
        "vocabulary": 9, "kind": "water_treadmill", "id": Uuid::from_u128(43), "horse_id": horse_id,
        "author_id": signer.account_id, "device_id": signer.device_id, "mood": ["ears forward"],
        "role": "physiotherapist", "provenance": "measured",
        "content_hash": content_hash(&salt, &content).expect("a hash"),
        "performed_at": "2031-05-04T09:20:00+01:00",
    });
    let bytes = canonical::write(&envelope).expect("a canonical form");
    let signature = key.sign(Purpose::Event, &bytes);
    let text =
        |value: &serde_json::Value| RawValue::from_string(format!(" {value:#}\n")).expect("JSON");
    let event = whorl_contract::event::LoggedEvent {
        seq: 1,
        received_at: chrono::DateTime::UNIX_EPOCH,
        envelope: Some(text(&envelope)),
        content: Some(text(&content)),
        salt: Some(salt),
        signature: Some(signature),
        leaf: None,
    };
    let start = Place::start(horse_id);
    let run = Run {
        kinds: Vec::new(),
        horse_id,
        events: vec![event.clone()],
        head: chain::next(&start.head, &leaf(&bytes, &signature)),
        more: false,
    };
    let signers = std::collections::BTreeMap::from([(signer.device_id, signer.clone())]);

    let entries = check::run(&run, start, &signers).expect("genuine");
    let mut conn = client.open();
    let now = chrono::DateTime::UNIX_EPOCH;
    apply::page(&mut conn, &entries, &[signer], now).expect("kept");

    let kept = mirror::log(&mut conn, horse_id).expect("a log");
    assert_eq!(kept[0].kind.as_deref(), Some("water_treadmill"));
    let as_it_came = |text: &Option<Box<RawValue>>| text.as_ref().map(|text| text.get().to_owned());
    assert_eq!(kept[0].envelope, as_it_came(&event.envelope));
    assert_eq!(kept[0].content, as_it_came(&event.content));
    // A byte of an unknown field counts like any other.
    let mut forged = run.clone();
    let changed = as_it_came(&event.content)
        .expect("there")
        .replace("1.25", "1.26");
    forged.events[0].content = Some(RawValue::from_string(changed).expect("JSON"));
    assert!(check::run(&forged, start, &signers).is_err());
}
