//! The load balancer of `deploy/haproxy.cfg`, before servers of a test.

use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use crate::caller::Caller;
use crate::process::free_address;

/// The configuration that operators begin with, and the addresses in it.
const CONFIGURATION: &str = include_str!("../../deploy/haproxy.cfg");
const BIND: &str = "127.0.0.1:8080";
const SERVERS: [&str; 3] = ["10.0.0.11:8040", "10.0.0.12:8040", "10.0.0.13:8040"];

/// A running proxy. It is killed when this is dropped.
pub struct Balancer {
    process: Child,
    port: u16,
    _folder: TempDir,
}

impl Balancer {
    /// Starts one before three servers, by their addresses (`127.0.0.1:PORT`).
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    #[must_use]
    pub fn before(servers: &[String; 3]) -> Self {
        let folder = TempDir::new().expect("a folder");
        let port = free_address().port();
        let mut text = CONFIGURATION.to_owned();
        let mut replace = |from: &str, to: &str| {
            assert!(text.contains(from), "deploy/haproxy.cfg has no {from}");
            text = text.replace(from, to);
        };
        replace(BIND, &format!("127.0.0.1:{port}"));
        for (from, to) in SERVERS.iter().zip(servers) {
            replace(from, to);
        }
        replace("inter 2s", "inter 100ms");
        let file = folder.path().join("haproxy.cfg");
        std::fs::write(&file, text).expect("a file");
        let mut process = Command::new("haproxy")
            .arg("-f")
            .arg(&file)
            .arg("-db")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("haproxy; tests/run installs it");
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            let ended = process.try_wait().expect("a status");
            assert_eq!(ended, None, "haproxy ended");
            std::thread::sleep(Duration::from_millis(5));
        }
        Self {
            process,
            port,
            _folder: folder,
        }
    }

    /// Where it listens (`127.0.0.1:PORT`).
    #[must_use]
    pub fn address(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// Somebody who isn't signed in and comes through the proxy.
    #[must_use]
    pub fn anonymous(&self) -> Caller {
        Caller::new(format!("http://{}", self.address()), None)
    }
}

impl Drop for Balancer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
