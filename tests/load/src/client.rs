//! A connection that costs next to nothing: load and server share the machine, and a full client would take more of it
//! than the server does.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use crate::Outcome;

/// One kept connection to a server that gives the length of each answer.
pub(crate) struct Client {
    stream: TcpStream,
    buffer: Vec<u8>,
}

/// An answer.
#[derive(Debug)]
pub(crate) struct Answer<'a> {
    pub(crate) status: u16,
    pub(crate) body: &'a [u8],
}

impl Client {
    pub(crate) fn connect(address: SocketAddr) -> Outcome<Self> {
        let stream = TcpStream::connect_timeout(&address, Duration::from_secs(5))?;
        stream.set_nodelay(true)?;
        stream.set_read_timeout(Some(Duration::from_mins(1)))?;
        Ok(Self {
            stream,
            buffer: vec![0; 64 * 1024],
        })
    }

    /// Sends a request as it was written by [`get`] or [`post`], and reads the answer whole.
    pub(crate) fn send(&mut self, request: &[u8]) -> Outcome<Answer<'_>> {
        self.stream.write_all(request)?;
        let mut filled = 0;
        let (head, length) = loop {
            filled += self.read(filled)?;
            if let Some(end) = find(&self.buffer[..filled], b"\r\n\r\n") {
                break (end + 4, length(&self.buffer[..end])?);
            }
        };
        if self.buffer.len() < head + length {
            self.buffer.resize(head + length, 0);
        }
        while filled < head + length {
            filled += self.read(filled)?;
        }
        let status = std::str::from_utf8(&self.buffer[9..12])?.parse()?;
        Ok(Answer {
            status,
            body: &self.buffer[head..head + length],
        })
    }

    /// The same, for an answer that must be 200.
    pub(crate) fn ask(&mut self, request: &[u8]) -> Outcome<&[u8]> {
        let answer = self.send(request)?;
        if answer.status == 200 {
            return Ok(answer.body);
        }
        let text = String::from_utf8_lossy(answer.body);
        Err(format!("the server answered {}: {text}", answer.status).into())
    }

    fn read(&mut self, from: usize) -> Outcome<usize> {
        if from == self.buffer.len() {
            self.buffer.resize(from * 2, 0);
        }
        match self.stream.read(&mut self.buffer[from..])? {
            0 => Err("the server closed the connection".into()),
            count => Ok(count),
        }
    }
}

fn find(text: &[u8], part: &[u8]) -> Option<usize> {
    text.windows(part.len()).position(|window| window == part)
}

fn length(head: &[u8]) -> Outcome<usize> {
    let head = std::str::from_utf8(head)?;
    let line = head.split("\r\n").find_map(|line| {
        line.split_once(':')
            .filter(|(name, _)| name.eq_ignore_ascii_case("content-length"))
    });
    Ok(line
        .ok_or("an answer without its length")?
        .1
        .trim()
        .parse()?)
}

/// A `GET` with a token.
pub(crate) fn get(path: &str, token: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nHost: load\r\nAuthorization: Bearer {token}\r\n\r\n")
        .into_bytes()
}

/// A `POST` of a JSON text, with a token if there is one.
pub(crate) fn post(path: &str, token: Option<&str>, body: &str) -> Vec<u8> {
    let token = token.map_or_else(String::new, |token| {
        format!("Authorization: Bearer {token}\r\n")
    });
    format!(
        "POST {path} HTTP/1.1\r\nHost: load\r\n{token}Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
    .into_bytes()
}
