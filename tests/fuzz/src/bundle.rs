//! A bundle: as it comes, and signed anew by the server's key, since no mutation finds a signature.

use serde_json::{Value, json};
use whorl_contract::bundle::{Report, verify};
use whorl_contract::canonical;
use whorl_contract::key::{Purpose, SecretKey};

use crate::examples;

/// As it comes, nothing verifies but what the server signed, byte for byte. Signed by somebody who holds the server's key, it
/// may say what it likes, but the devices' signatures and the chain still tell a changed entry.
pub(crate) fn run(bytes: &[u8]) {
    let server = examples::server().public();
    if let Ok(report) = verify(bytes, Some(&server)) {
        tell(&report);
        assert_eq!(report.verified, report.faults.is_empty());
        if report.verified {
            assert!(
                examples::bundles().iter().any(|one| one == bytes),
                "a forgery"
            );
        }
    }
    let Some(signed) = std::str::from_utf8(bytes).ok().and_then(resigned) else {
        return;
    };
    if let Ok(report) = verify(&signed, Some(&server)) {
        tell(&report);
        if report.verified {
            let genuine = entries(&examples::bundles()[0]);
            for (entry, genuine) in entries(&signed).iter().zip(&genuine) {
                for (part, genuine) in entry.iter().zip(genuine) {
                    assert!(part.is_null() || part == genuine, "a changed entry: {part}");
                }
            }
        }
    }
}

/// What a person reads of it; in words whatever it says.
fn tell(report: &Report) {
    let _ = report.withheld.words();
    for author in &report.authors {
        let _ = author.entries_in_words();
        let _ = author.licences_in_words();
    }
}

/// The document in its one spelling, with the key and the signature of the server.
fn resigned(text: &str) -> Option<Vec<u8>> {
    let server: SecretKey = examples::server();
    let mut document = canonical::read_to_depth(text, 64).ok()?;
    let fields = document.as_object_mut()?;
    fields.insert("server_key".into(), json!(server.public()));
    fields.remove("signature");
    let signature = server.sign(Purpose::Bundle, &canonical::write(&document).ok()?);
    document["signature"] = json!(signature);
    canonical::write(&document).ok()
}

/// What devices signed in it: null where it is kept back.
fn entries(bytes: &[u8]) -> Vec<[Value; 3]> {
    let document: Value = serde_json::from_slice(bytes).expect("a bundle");
    let events = document["events"].as_array().into_iter().flatten();
    let signed =
        events.map(|event| ["envelope", "content", "signature"].map(|part| event[part].clone()));
    signed.collect()
}
