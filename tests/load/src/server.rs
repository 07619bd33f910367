//! The server as it is shipped: a process of its own.

use std::fs::File;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use whorl_contract::key::Purpose;
use whorl_contract::path;
use whorl_contract::session::{NewDevice, Session, SignIn};

use crate::Outcome;
use crate::client::{Client, get, post};
use crate::fill::PASSWORD;
use crate::world::Person;

/// How a server is started.
#[derive(Clone, Debug)]
pub(crate) struct Setup {
    /// The program.
    pub(crate) program: PathBuf,
    /// The database.
    pub(crate) url: String,
    /// Where its keys and its log lie.
    pub(crate) folder: PathBuf,
}

/// A running server. It ends with this.
pub(crate) struct Server {
    child: Child,
    pub(crate) address: SocketAddr,
    /// From the start of the process to the first answer that it is ready.
    pub(crate) ready_after: Duration,
}

impl Setup {
    fn command(&self) -> Command {
        let mut command = Command::new(&self.program);
        command
            .args(["--database-url", &self.url, "--name", "load.example"])
            // Few accounts ask as often as they can: what is measured is the server, not its limit.
            .args([
                "--requests-at-once",
                "1000000",
                "--requests-a-second",
                "10000",
            ])
            // Whoever guesses here comes from many networks.
            .args(["--trusted-proxies", "127.0.0.1"])
            .arg("--keys")
            .arg(self.folder.join("load.keys"));
        command
    }

    /// Makes the keys that every server of this setup has.
    pub(crate) fn keys(&self) -> Outcome {
        ended_well(self.command().arg("keys").stdout(Stdio::null()))
    }

    /// Lets the server check the whole record.
    pub(crate) fn verify(&self) -> Outcome {
        ended_well(self.command().arg("verify").stdout(Stdio::null()))
    }

    /// Starts a server and waits until it is ready.
    pub(crate) fn start(&self) -> Outcome<Server> {
        let address = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
        let log = File::create(self.folder.join("server.log"))?;
        let mut command = self.command();
        command
            .args(["--listen", &address.to_string(), "serve"])
            .stdout(Stdio::null())
            .stderr(log);
        let began = Instant::now();
        let child = command
            .spawn()
            .map_err(|error| format!("{}: {error}", self.program.display()))?;
        let mut server = Server {
            child,
            address,
            ready_after: Duration::ZERO,
        };
        while !is_ready(address) {
            if let Some(status) = server.child.try_wait()? {
                let log = std::fs::read_to_string(self.folder.join("server.log"))?;
                return Err(format!("the server ended with {status}: {log}").into());
            }
            if began.elapsed() > Duration::from_mins(2) {
                return Err("the server isn't ready after two minutes".into());
            }
            std::thread::sleep(Duration::from_micros(200));
        }
        server.ready_after = began.elapsed();
        Ok(server)
    }
}

fn is_ready(address: SocketAddr) -> bool {
    let asked = Client::connect(address)
        .and_then(|mut client| client.ask(&get(path::READY, "none")).map(drop));
    asked.is_ok()
}

fn ended_well(command: &mut Command) -> Outcome {
    let status = command.status()?;
    status
        .success()
        .then_some(())
        .ok_or_else(|| format!("{command:?} ended with {status}").into())
}

impl Server {
    /// What it keeps in memory.
    pub(crate) fn memory(&self) -> Outcome<Memory> {
        let status = std::fs::read_to_string(
            Path::new("/proc")
                .join(self.child.id().to_string())
                .join("status"),
        )?;
        let kilobytes = |name: &str| -> Outcome<u64> {
            let line = status
                .lines()
                .find_map(|line| line.strip_prefix(name))
                .ok_or("no such line")?;
            Ok(line.trim().trim_end_matches("kB").trim().parse()?)
        };
        Ok(Memory {
            resident: kilobytes("VmRSS:")? * 1024,
            own: kilobytes("RssAnon:")? * 1024,
        })
    }

    /// A token of somebody, good for ten minutes.
    pub(crate) fn sign_in(&self, person: &Person) -> Outcome<String> {
        let device = NewDevice {
            name: "phone in the truck".into(),
            public_key: person.key.public(),
            proof: person.key.sign(Purpose::Device, person.email.as_bytes()),
        };
        let request = SignIn {
            email: person.email.clone(),
            password: PASSWORD.into(),
            device: Some(device),
        };
        let request = post(path::SESSIONS, None, &serde_json::to_string(&request)?);
        let mut client = Client::connect(self.address)?;
        let answer = client.send(&request)?;
        if answer.status != 201 && answer.status != 200 {
            return Err(format!(
                "signing in: {}: {}",
                answer.status,
                String::from_utf8_lossy(answer.body)
            )
            .into());
        }
        let session: Session = serde_json::from_slice(answer.body)?;
        Ok(session.access_token)
    }
}

/// What a process keeps in memory, in bytes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Memory {
    /// The resident set.
    pub(crate) resident: u64,
    /// The part of it that is not the program's own file.
    pub(crate) own: u64,
}

impl Drop for Server {
    fn drop(&mut self) {
        // In good order, as an operator stops it, so that its log is merged; by force if that fails.
        let asked = Command::new("kill")
            .args(["-TERM", &self.child.id().to_string()])
            .status();
        if asked.is_err() {
            drop(self.child.kill());
        }
        drop(self.child.wait());
    }
}
