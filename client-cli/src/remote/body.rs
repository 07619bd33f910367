//! What a request carries, packed where that helps.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use reqwest::blocking::RequestBuilder;
use reqwest::header::{CONTENT_ENCODING, CONTENT_TYPE};
use serde::Serialize;

use crate::failure::Failure;

/// A body that is shorter isn't worth packing: it fits into one packet of the network anyway.
const WORTH_PACKING: usize = 1024;

/// What a request carries.
pub(super) struct Body<'r> {
    media_type: &'r str,
    bytes: Vec<u8>,
    packed: bool,
}

impl<'r> Body<'r> {
    /// A JSON document.
    pub(super) fn json(document: &impl Serialize) -> Result<Self, Failure> {
        let failed = |error: &dyn std::fmt::Display| Failure::Device(error.to_string());
        let plain = serde_json::to_vec(document).map_err(|error| failed(&error))?;
        let packed = plain.len() >= WORTH_PACKING;
        let bytes = if packed {
            pack(&plain).map_err(|error| failed(&error))?
        } else {
            plain
        };
        Ok(Self {
            media_type: "application/json",
            bytes,
            packed,
        })
    }

    /// A photo or document, which is packed by its own nature.
    pub(super) fn file(media_type: &'r str, bytes: Vec<u8>) -> Self {
        Self {
            media_type,
            bytes,
            packed: false,
        }
    }

    /// Puts it into a request.
    pub(super) fn fill(&self, mut request: RequestBuilder) -> RequestBuilder {
        if self.packed {
            request = request.header(CONTENT_ENCODING, "gzip");
        }
        request
            .header(CONTENT_TYPE, self.media_type)
            .body(self.bytes.clone())
    }
}

fn pack(plain: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(plain)?;
    encoder.finish()
}
