//! A webhook's receiver: a small HTTP server that answers as it is told and keeps what it got.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};

use super::until;

/// What came in one call.
#[derive(Clone, Debug)]
pub(super) struct Call {
    pub(super) path: String,
    pub(super) headers: HashMap<String, String>,
    pub(super) body: String,
}

/// A receiver on loopback.
pub(super) struct Receiver {
    pub(super) address: SocketAddr,
    calls: Arc<Mutex<Vec<Call>>>,
}

impl Receiver {
    /// Starts one that gives these answers, and 204 to all calls after them. An answer is a status line with headers.
    pub(super) fn start(answers: &[&str]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a socket");
        let address = listener.local_addr().expect("an address");
        let calls = Arc::new(Mutex::new(Vec::new()));
        let mut answers: Vec<String> = answers.iter().rev().map(|one| (*one).to_owned()).collect();
        let kept = Arc::clone(&calls);
        // Ends with the test's process: nothing else knows the socket.
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let Some(call) = read(&stream) else { continue };
                kept.lock().expect("calls").push(call);
                let answer = answers.pop().unwrap_or_else(|| "204 No Content".to_owned());
                let head =
                    format!("HTTP/1.1 {answer}\r\nConnection: close\r\nContent-Length: 0\r\n\r\n");
                let _ = (&stream).write_all(head.as_bytes());
            }
        });
        Self { address, calls }
    }

    pub(super) fn url(&self) -> String {
        format!("http://{}/in", self.address)
    }

    pub(super) fn calls(&self) -> Vec<Call> {
        self.calls.lock().expect("calls").clone()
    }

    /// The calls, once there are so many.
    pub(super) fn wait_for(&self, many: usize) -> Vec<Call> {
        until("calls", || {
            Some(self.calls()).filter(|calls| calls.len() >= many)
        })
    }
}

fn read(stream: &TcpStream) -> Option<Call> {
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).ok()?;
    let path = line.split(' ').nth(1)?.to_owned();
    let mut headers = HashMap::new();
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).ok()?;
        let Some((name, value)) = line.trim_end().split_once(": ") else {
            break;
        };
        headers.insert(name.to_lowercase(), value.to_owned());
    }
    let length: usize = headers.get("content-length")?.parse().ok()?;
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    Some(Call {
        path,
        headers,
        body: String::from_utf8(body).ok()?,
    })
}
