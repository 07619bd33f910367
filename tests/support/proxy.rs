//! The proxies of `deploy/`, before servers of a test.

use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use crate::caller::Caller;
use crate::process::free_address;

/// A running proxy. It is killed when this is dropped.
pub struct Proxy {
    process: Child,
    port: u16,
    _folder: TempDir,
}

impl Proxy {
    /// `deploy/haproxy.cfg` before three servers, by their addresses (`127.0.0.1:PORT`).
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    #[must_use]
    pub fn balancing(servers: &[String; 3]) -> Self {
        let [a, b, c] = servers;
        let folder = TempDir::new().expect("a folder");
        let port = free_address().port();
        let text = adapted(
            include_str!("../../deploy/haproxy.cfg"),
            &[
                ("127.0.0.1:8080", &format!("127.0.0.1:{port}")),
                ("10.0.0.11:8040", a),
                ("10.0.0.12:8040", b),
                ("10.0.0.13:8040", c),
                ("inter 2s", "inter 100ms"),
            ],
        );
        let file = folder.path().join("haproxy.cfg");
        std::fs::write(&file, text).expect("a file");
        let mut haproxy = Command::new("haproxy");
        haproxy.arg("-f").arg(&file).arg("-db");
        Self::start(haproxy, port, folder)
    }

    /// `deploy/Caddyfile` before one server, by its address; without certificates, for hosts of any name.
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    #[must_use]
    pub fn before(server: &str) -> Self {
        let folder = TempDir::new().expect("a folder");
        let port = free_address().port();
        let site = adapted(
            include_str!("../../deploy/Caddyfile"),
            &[
                ("{$WHORL_HOST}", &format!("http://:{port}")),
                ("server:8040", server),
            ],
        );
        let file = folder.path().join("Caddyfile");
        // Its own door for settings is one for all on this machine.
        let here = "{\n\tadmin off\n\tdefault_bind 127.0.0.1\n}\n";
        std::fs::write(&file, format!("{here}{site}")).expect("a file");
        let mut caddy = Command::new("caddy");
        caddy
            .args(["run", "--adapter", "caddyfile", "--config"])
            .arg(&file)
            .env("HOME", folder.path())
            .env("XDG_DATA_HOME", folder.path())
            .env("XDG_CONFIG_HOME", folder.path());
        Self::start(caddy, port, folder)
    }

    fn start(mut program: Command, port: u16, folder: TempDir) -> Self {
        let mut process = program
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a proxy; tests/run installs them");
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            let ended = process.try_wait().expect("a status");
            assert_eq!(ended, None, "{} ended", program.get_program().display());
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

impl Drop for Proxy {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// A configuration that operators begin with, for addresses of a test.
fn adapted(shipped: &str, replaced: &[(&str, &str)]) -> String {
    replaced
        .iter()
        .fold(shipped.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "the configuration has no {from}");
            text.replace(from, to)
        })
}
