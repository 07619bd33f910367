//! The project's own examples as inputs: where a corpus begins.

use std::sync::LazyLock;

use serde_json::{Map, Value, json};
use uuid::Uuid;
use whorl_care::details;
use whorl_care::figure;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_cli::sheet::template;
use whorl_contract::bundle::{Bundle, BundledEvent, BundledSigner, Exporter, FORMAT, NotedLicence};
use whorl_contract::event::{Content, Envelope, SignedEvent, VOCABULARY};
use whorl_contract::key::{Hash, Salt, SecretKey, Signature};
use whorl_contract::note::Head;
use whorl_contract::{canonical, chain};

/// An input with the name of its file.
pub type Example = (String, Vec<u8>);

/// What there is for a target.
#[must_use]
pub fn of(target: &str) -> Vec<Example> {
    let each = |input: fn(Kind) -> Vec<u8>| {
        let kinds = Kind::ALL.iter();
        kinds
            .map(|kind| (kind.code().to_owned(), input(*kind)))
            .collect()
    };
    match target {
        "canonical" => each(|kind| details::example(kind).to_string().into_bytes()),
        "event" => each(|kind| {
            let event = event_of(kind, 1);
            format!("{}\n{}", event.envelope, event.content).into_bytes()
        }),
        "figure" => {
            let mut asked: Vec<Example> =
                figure::NAMES.iter().map(|name| figure_of(name)).collect();
            asked.push((
                "due-log".to_owned(),
                format!("due\n{}", due_of_all()).into_bytes(),
            ));
            asked
        }
        "bundle" => {
            let bundles = bundles().iter().enumerate();
            bundles
                .map(|(n, bundle)| (n.to_string(), bundle.clone()))
                .collect()
        }
        "sheet" => {
            let horses = ["Marram".to_owned(), "Dunlin".to_owned()];
            let mut sheets: Vec<Example> = each(|kind| {
                format!(
                    "toml {kind}\n{}",
                    template::toml(kind, &[]).replace("\n# ", "\n")
                )
                .into_bytes()
            });
            sheets.extend(Kind::ALL.iter().filter_map(|kind| {
                let table = template::csv(*kind, &horses).ok()?;
                let sheet = [format!("csv {kind}\n").into_bytes(), table].concat();
                Some((format!("{}-table", kind.code()), sheet))
            }));
            sheets
        }
        _ => Vec::new(),
    }
}

/// The example that the published description has for a figure.
fn figure_of(name: &str) -> Example {
    let published: Value =
        serde_json::from_str(include_str!("../../../openapi/openapi.json")).expect("JSON");
    let mut schema = String::new();
    for word in name.split('-') {
        schema.push_str(&word[..1].to_uppercase());
        schema.push_str(&word[1..]);
    }
    let example = &published["components"]["schemas"][format!("{schema}Input")]["example"];
    (name.to_owned(), format!("{name}\n{example}").into_bytes())
}

/// The key of the server that signs bundles.
#[must_use]
pub fn server() -> SecretKey {
    SecretKey::from_seed(&[9; 32])
}

fn id(n: u128) -> Uuid {
    Uuid::from_u128(0x0199_f3a0_7c00_7000_8000_0000_0000_0000 + n)
}

fn vet() -> SecretKey {
    SecretKey::from_seed(&[1; 32])
}

fn event_of(kind: Kind, n: u8) -> SignedEvent {
    let envelope = Envelope {
        id: EventId(id(n.into())),
        horse_id: HorseId(id(1000)),
        kind,
        vocabulary: VOCABULARY,
        performed_at: "2026-05-04T09:20:00+01:00".parse().expect("a time"),
        recorded_at: "2026-05-04T19:02:11+01:00".parse().expect("a time"),
        author_id: AccountId(id(100)),
        device_id: DeviceId(id(200)),
        role: Role::Vet,
        provenance: Provenance::Attested,
        visit_id: None,
        target_id: kind.is_about_another().then(|| EventId(id(1))),
        content_hash: Hash([0; 32]),
        other: Map::new(),
    };
    let content = Content {
        performed_by: None,
        note: Some("Ærøskøbing, “sound”".to_owned()),
        attachments: Vec::new(),
        details: details::example(kind),
    };
    SignedEvent::sign(envelope, &content, Salt([n; 32]), &vet()).expect("a canonical form")
}

/// Bundles as a server makes them: all shown, a content kept back, only a leaf shown.
#[must_use]
pub fn bundles() -> &'static [Vec<u8>] {
    static BUNDLES: LazyLock<Vec<Vec<u8>>> =
        LazyLock::new(|| [whole, without_content, leaf_only].map(bundle).into());
    &BUNDLES
}

fn bundle(second: fn(i64, &SignedEvent) -> BundledEvent) -> Vec<u8> {
    let events = [
        event_of(Kind::Weight, 1),
        event_of(Kind::Deworming, 2),
        event_of(Kind::HoofCare, 3),
    ];
    let opened = events
        .iter()
        .map(|event| event.open().expect("genuine").leaf);
    let first = chain::start(HorseId(id(1000)));
    let head = Head {
        server: "saltmarsh.example".to_owned(),
        horse_id: HorseId(id(1000)),
        seq: 3,
        head: opened.fold(first, |head, leaf| chain::next(&head, &leaf)),
        epoch: id(300),
        at: "2027-03-04T14:20:00Z".parse().expect("a time"),
    };
    let [one, two, three] = &events;
    let licence = NotedLicence {
        role: Role::Vet,
        number: "SV-20418".to_owned(),
        jurisdiction: "gb".to_owned(),
        valid_until: None,
        seen_at: None,
    };
    let bundle = Bundle {
        format: FORMAT.to_owned(),
        server: "saltmarsh.example".to_owned(),
        server_key: server().public(),
        horse_id: head.horse_id,
        epoch: head.epoch,
        exported_at: head.at,
        exported_by: Exporter {
            account_id: AccountId(id(100)),
            name: "Maren Oduya".to_owned(),
        },
        events: vec![whole(1, one), second(2, two), whole(3, three)],
        signers: vec![BundledSigner {
            device_id: DeviceId(id(200)),
            public_key: vet().public(),
            account_id: AccountId(id(100)),
            name: "Maren Oduya".to_owned(),
            licences: vec![licence],
        }],
        note: head.sign(&server()),
        signature: Signature([0; 64]),
    };
    bundle.sign(&server()).expect("a canonical form")
}

fn whole(seq: i64, event: &SignedEvent) -> BundledEvent {
    let read = |text: &str| Some(canonical::read(text).expect("strict JSON"));
    BundledEvent {
        seq,
        received_at: Some("2026-05-05T08:00:00Z".parse().expect("a time")),
        envelope: read(event.envelope.get()),
        signature: Some(event.signature),
        content: read(event.content.get()),
        salt: Some(event.salt),
        leaf: None,
    }
}

fn without_content(seq: i64, event: &SignedEvent) -> BundledEvent {
    BundledEvent {
        content: None,
        salt: None,
        ..whole(seq, event)
    }
}

fn leaf_only(seq: i64, event: &SignedEvent) -> BundledEvent {
    BundledEvent {
        seq,
        leaf: Some(event.open().expect("genuine").leaf),
        ..BundledEvent::default()
    }
}

/// What is due by a log that holds every kind.
fn due_of_all() -> Value {
    let kinds = Kind::ALL.iter().filter(|kind| !kind.is_about_another());
    let entry = |kind| json!({"kind": kind, "performed_on": "2026-05-04", "details": details::example(kind)});
    let events: Value = kinds.map(|kind| entry(*kind)).collect();
    json!({"horse": {"sex": "mare", "foaled_on": "2015"}, "events": events, "on": "2026-11-25"})
}
