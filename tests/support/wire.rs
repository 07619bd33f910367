//! Listening on the wire: what a client asks of a server, kept as it was said, so that later servers can be asked the same.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use reqwest::Method;
use serde::{Deserialize, Serialize};

use crate::caller::{Answer, Caller};

/// Headers that a server goes by. Tokens and lengths are not among them: they are new each time.
const KEPT: [&str; 5] = [
    "accept",
    "accept-encoding",
    "content-encoding",
    "content-type",
    "user-agent",
];

/// A request as a client made it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Asked {
    /// The method.
    pub method: String,
    /// The address, with its query.
    pub path: String,
    /// Whether it carried a token.
    pub signed_in: bool,
    /// The headers that a server goes by.
    pub headers: BTreeMap<String, String>,
    /// The body, unpacked.
    pub body: String,
}

impl Asked {
    /// Asks a server the same.
    ///
    /// # Panics
    ///
    /// If the server doesn't answer.
    #[must_use]
    pub fn again(&self, who: &Caller) -> Answer {
        let method = Method::from_bytes(self.method.as_bytes()).expect("a method");
        let mut request = who.request(method, &self.path);
        for (name, value) in &self.headers {
            // An answer that isn't asked to be packed is unpacked by whoever reads it.
            if name != "accept-encoding" {
                request = request.header(name, value);
            }
        }
        if !self.body.is_empty() {
            let body = self.body.clone().into_bytes();
            let packed = self.headers.contains_key("content-encoding");
            request = request.body(if packed { pack(&body) } else { body });
        }
        who.send(request)
    }
}

/// What gzip makes of bytes.
///
/// # Panics
///
/// Never, in memory.
#[must_use]
pub fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes).expect("packed");
    encoder.finish().expect("packed")
}

/// What gzip packed.
///
/// # Panics
///
/// If it didn't.
#[must_use]
pub fn unpack(bytes: &[u8]) -> Vec<u8> {
    let mut plain = Vec::new();
    let read = GzDecoder::new(bytes).read_to_end(&mut plain);
    read.expect("packed with gzip");
    plain
}

/// Stands between a client and a server and keeps what the client asks.
pub struct Listening {
    url: String,
    asked: Arc<Mutex<Vec<Asked>>>,
}

impl Listening {
    /// Stands before the server at `url` (`http://HOST:PORT`).
    ///
    /// # Panics
    ///
    /// If no socket is to be had.
    #[must_use]
    pub fn before(url: &str) -> Self {
        let server = url.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a socket");
        let url = format!("http://{}", listener.local_addr().expect("an address"));
        let asked = Arc::new(Mutex::new(Vec::new()));
        let kept = asked.clone();
        std::thread::spawn(move || {
            for client in listener.incoming().flatten() {
                let server = TcpStream::connect(&server).expect("a server");
                let kept = kept.clone();
                std::thread::spawn(move || pass_on(&client, &server, &kept));
            }
        });
        Self { url, asked }
    }

    /// Its address, as a client takes it.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// What was asked so far, in order.
    #[must_use]
    pub fn asked(&self) -> Vec<Asked> {
        let asked = self.asked.lock();
        asked.unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// Passes requests on as they are, and answers back.
fn pass_on(client: &TcpStream, server: &TcpStream, kept: &Mutex<Vec<Asked>>) {
    let (mut from, mut back) = (
        server.try_clone().expect("a handle"),
        client.try_clone().expect("a handle"),
    );
    std::thread::spawn(move || {
        let _ = std::io::copy(&mut from, &mut back);
        let _ = back.shutdown(Shutdown::Both);
    });
    let (mut reader, mut to) = (BufReader::new(client), server);
    while let Some((asked, raw)) = read(&mut reader) {
        kept.lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(asked);
        if to.write_all(&raw).is_err() {
            return;
        }
    }
    let _ = server.shutdown(Shutdown::Both);
}

/// The next request, and its bytes; none at the end.
fn read(reader: &mut impl BufRead) -> Option<(Asked, Vec<u8>)> {
    let mut raw = Vec::new();
    let line = |raw: &mut Vec<u8>, reader: &mut dyn BufRead| {
        let before = raw.len();
        reader
            .read_until(b'\n', raw)
            .ok()
            .filter(|read| *read > 0)?;
        Some(
            String::from_utf8_lossy(&raw[before..])
                .trim_end()
                .to_owned(),
        )
    };
    let first = line(&mut raw, reader)?;
    let mut words = first.split(' ');
    let (method, path) = (words.next()?.to_owned(), words.next()?.to_owned());
    let (mut headers, mut length, mut signed_in) = (BTreeMap::new(), 0, false);
    loop {
        let header = line(&mut raw, reader)?;
        let Some((name, value)) = header.split_once(": ") else {
            break;
        };
        let name = name.to_ascii_lowercase();
        signed_in |= name == "authorization";
        if name == "content-length" {
            length = value.parse().ok()?;
        }
        if KEPT.contains(&name.as_str()) {
            headers.insert(name, value.to_owned());
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    raw.extend_from_slice(&body);
    if headers.contains_key("content-encoding") {
        body = unpack(&body);
    }
    let asked = Asked {
        method,
        path,
        signed_in,
        headers,
        body: String::from_utf8(body).ok()?,
    };
    Some((asked, raw))
}
