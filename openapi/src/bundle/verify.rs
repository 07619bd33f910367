//! Checking a bundle: pure, with nothing but the file and, where the reader has it, the server's key.

use std::collections::BTreeMap;

use serde_json::Value;
use whorl_care::fault;
use whorl_care::ids::{DeviceId, EventId};
use whorl_care::sentence::counted;

use super::report::{self, Fault, FaultCode, Report, Seen, Shown};
use super::{Bundle, BundledEvent, BundledSigner, DEEPEST, FORMAT, LARGEST, signed_part};
use crate::canonical;
use crate::chain;
use crate::event::Content;
use crate::genuine::{self, Sealed, Wrong};
use crate::key::{Hash, PublicKey, Purpose};
use crate::note::Head;

/// Why there is nothing to check.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unread {
    /// It is something else than a bundle, or one of a later format.
    #[error("{0}")]
    NotABundle(String),
    /// It says that it is a bundle, and can't be read as one: something in it was changed.
    #[error("this was a bundle, but it is damaged: {0}")]
    Damaged(String),
}

/// Checks everything that can be checked of a bundle. `expected` is the server's key, where the reader knows it from
/// elsewhere. All faults are reported, not the first one only.
///
/// # Errors
///
/// [`Unread`] if the bytes are no bundle, or can't be read as one.
pub fn verify(bytes: &[u8], expected: Option<&PublicKey>) -> Result<Report, Unread> {
    let document = read(bytes)?;
    let bundle: Bundle =
        fault::read(&document).map_err(|faults| Unread::Damaged(faults.to_string()))?;
    let mut check = Check {
        bundle: &bundle,
        signers: BTreeMap::new(),
        faults: Vec::new(),
    };
    check.file(bytes, &document, expected);
    check.signers();
    let (seen, head) = check.log();
    let signed = check.head(&head);
    let faults = check.faults;
    Ok(report::of(
        &bundle,
        expected.is_some(),
        &seen,
        signed.as_ref(),
        faults,
    ))
}

/// The document, if it is strict JSON and says that it is a bundle of this format.
fn read(bytes: &[u8]) -> Result<Value, Unread> {
    if bytes.len() > LARGEST {
        return Err(Unread::NotABundle(format!(
            "this has more than {LARGEST} bytes; no bundle is so large"
        )));
    }
    let claims = bytes
        .windows(FORMAT.len())
        .any(|part| part == FORMAT.as_bytes());
    let unread = |why: String| {
        if claims {
            Unread::Damaged(why)
        } else {
            Unread::NotABundle(format!("this is no bundle ({why})"))
        }
    };
    let text = std::str::from_utf8(bytes).map_err(|why| unread(why.to_string()))?;
    let document =
        canonical::read_to_depth(text, DEEPEST).map_err(|why| unread(why.to_string()))?;
    match document.get("format").and_then(Value::as_str) {
        Some(FORMAT) => Ok(document),
        Some(other) if other.starts_with("whorl-bundle/") => Err(Unread::NotABundle(format!(
            "this says that it is a `{other}`; this version of whorl reads {FORMAT}"
        ))),
        _ => Err(unread("it doesn't say that it is one".to_owned())),
    }
}

struct Check<'a> {
    bundle: &'a Bundle,
    signers: BTreeMap<DeviceId, &'a BundledSigner>,
    faults: Vec<Fault>,
}

impl<'a> Check<'a> {
    fn fault(&mut self, code: FaultCode, seq: Option<i64>, text: impl Into<String>) {
        let text = text.into();
        self.faults.push(Fault { code, seq, text });
    }

    /// The file as a whole: one spelling, the server's signature, the key that the reader knows.
    fn file(&mut self, bytes: &[u8], document: &Value, expected: Option<&PublicKey>) {
        if canonical::write(document).ok().as_deref() != Some(bytes) {
            let text = "the file is not spelled as a bundle is: something was added or rewritten";
            self.fault(FaultCode::OtherSpelling, None, text);
        }
        let key = &self.bundle.server_key;
        let signed = signed_part(document)
            .is_ok_and(|part| key.verifies(Purpose::Bundle, &part, &self.bundle.signature));
        if !signed {
            let text = "the server's signature doesn't fit the file: something was changed";
            self.fault(FaultCode::OtherFile, None, text);
        }
        if expected.is_some_and(|expected| expected != key) {
            let text = format!("the file is signed by the key {key}, not by the one that you gave");
            self.fault(FaultCode::OtherServerKey, None, text);
        }
    }

    fn signers(&mut self) {
        for signer in &self.bundle.signers {
            if self.signers.insert(signer.device_id, signer).is_some() {
                let text = format!("the device {} is introduced twice", signer.device_id);
                self.fault(FaultCode::SignerTwice, None, text);
            }
        }
    }

    /// Goes along the log; answers what is seen of each event, and the head of the chain.
    fn log(&mut self) -> (Vec<Seen<'a>>, Hash) {
        let bundle = self.bundle;
        let mut head = chain::start(bundle.horse_id);
        let mut places: BTreeMap<EventId, i64> = BTreeMap::new();
        let mut all = Vec::with_capacity(bundle.events.len());
        for (event, place) in bundle.events.iter().zip(1_i64..) {
            if event.seq != place {
                let text = format!("entry {} stands where entry {place} belongs", event.seq);
                self.fault(FaultCode::OutOfOrder, Some(event.seq), text);
            }
            match self.event(event) {
                Ok((seen, leaf)) => {
                    head = chain::next(&head, &leaf);
                    let id = seen.sealed.as_ref().map(|sealed| sealed.bare.id);
                    if let Some(first) = id.and_then(|id| places.insert(id, event.seq)) {
                        let text = format!("entry {} is entry {first} once more", event.seq);
                        self.fault(FaultCode::EventTwice, Some(event.seq), text);
                    }
                    all.push(seen);
                }
                // The chain can't be followed past it, so the head won't fit either; this fault says more.
                Err(wrong) => {
                    let text = format!("entry {}: {wrong}", event.seq);
                    self.fault(code(&wrong), Some(event.seq), text);
                }
            }
        }
        (all, head)
    }

    fn event(&self, event: &'a BundledEvent) -> Result<(Seen<'a>, Hash), Wrong> {
        let odd = || Wrong::Damaged("a part of it is missing, or one too many is there".to_owned());
        let (Some(envelope), Some(signature)) = (&event.envelope, &event.signature) else {
            let bare = BundledEvent {
                seq: event.seq,
                leaf: event.leaf,
                ..BundledEvent::default()
            };
            let leaf = event.leaf.filter(|_| *event == bare).ok_or_else(odd)?;
            return Ok((Seen::leaf(event.seq), leaf));
        };
        if event.leaf.is_some() || event.received_at.is_none() {
            return Err(odd());
        }
        let sealed: Sealed = genuine::envelope(self.bundle.horse_id, envelope)?;
        let signer = self.signers.get(&sealed.bare.device_id).copied();
        sealed.signed_by(
            signer.map(|signer| (&signer.public_key, signer.account_id)),
            signature,
        )?;
        let leaf = sealed.leaf(signature);
        let content = match (&event.content, &event.salt) {
            (Some(content), Some(salt)) => {
                sealed.commits_to(content, salt)?;
                Some(content)
            }
            (None, None) => None,
            _ => return Err(odd()),
        };
        let seen = Seen {
            seq: event.seq,
            shown: content.map_or(Shown::ContentWithheld, |_| Shown::Whole),
            sealed: Some(sealed),
            signer,
            // A content of a later vocabulary is what was signed, though it can't be read here.
            content: content.and_then(|content| Content::read(content).ok()),
        };
        Ok((seen, leaf))
    }

    /// The server's signed head: of this horse, this ledger, this length and this chain.
    fn head(&mut self, reached: &Hash) -> Option<Head> {
        let bundle = self.bundle;
        let head = match Head::verify(&bundle.note, &bundle.server_key) {
            Ok(head) => head,
            Err(why) => {
                self.fault(FaultCode::OtherHead, None, why.to_string());
                return None;
            }
        };
        if head.horse_id != bundle.horse_id {
            let text = "the signed head is of another horse's log";
            self.fault(FaultCode::OtherHead, None, text);
        }
        if head.server != bundle.server || head.epoch != bundle.epoch {
            let text = "the signed head is of another server or ledger";
            self.fault(FaultCode::OtherHead, None, text);
        }
        let length = i64::try_from(bundle.events.len()).unwrap_or(i64::MAX);
        if head.seq != length {
            let text = format!(
                "the server signed a log of {}; here are {length}",
                counted(head.seq, "entry", "entries")
            );
            self.fault(FaultCode::OtherLength, None, text);
        }
        if head.head != *reached {
            let text = "the entries don't lead to the head that the server signed: one was changed, dropped, added or \
                        moved";
            self.fault(FaultCode::OtherChain, None, text);
        }
        Some(head)
    }
}

fn code(wrong: &Wrong) -> FaultCode {
    match wrong {
        Wrong::Damaged(_) => FaultCode::Damaged,
        Wrong::OtherHorse => FaultCode::OtherHorse,
        Wrong::OtherContent => FaultCode::OtherContent,
        Wrong::OtherSignature => FaultCode::OtherSignature,
        Wrong::UnknownSigner(_) => FaultCode::UnknownSigner,
    }
}
