//! The real programs, started as an operator and a person start them: for what only the end of a process can show.

use std::fs::{File, OpenOptions};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

use tempfile::TempDir;

use crate::caller::Caller;

/// How often somebody looks whether a server answers by now.
const LOOK_EVERY: Duration = Duration::from_millis(3);

/// The folder with the programs, built by the first who asks.
fn programs() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        // A test runs from `deps`, beside which the programs are.
        let test = std::env::current_exe().expect("this test's own file");
        let folder = test.parent().and_then(Path::parent).expect("its folder");
        let mut build = Command::new(env!("CARGO"));
        build
            .args(["build", "--workspace", "--bins", "--locked", "--quiet"])
            // With a test beside them, the programs stand on what tests were built with. Alone they would need half of it anew,
            // without the features that only tests ask for. A small one, and none that runs now: its file would be replaced.
            .args(["--test", "corpus"])
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
        if folder.ends_with("release") {
            build.arg("--release");
        }
        let done = build.status().expect("cargo runs");
        assert!(done.success(), "the programs can't be built");
        folder.to_owned()
    })
}

/// A program of ours, by its name.
#[must_use]
pub fn program(name: &str) -> Command {
    Command::new(programs().join(name))
}

/// Where a server lives: its folder, its address, its database.
pub struct Place {
    folder: TempDir,
    address: SocketAddr,
    database: String,
    environment: Vec<(String, String)>,
}

/// A server's process. It is killed when this is dropped.
pub struct Process(Child);

impl Place {
    /// A place for a server on a SQLite file of its own.
    ///
    /// # Panics
    ///
    /// If the machine has no room for it.
    #[must_use]
    pub fn sqlite() -> Self {
        let folder = TempDir::new().expect("a folder for the test");
        let database = format!("sqlite://{}/whorl.db", folder.path().display());
        Self::of(folder, database)
    }

    /// A place for a server on another database.
    ///
    /// # Panics
    ///
    /// If the machine has no room for it.
    #[must_use]
    pub fn on(database: String) -> Self {
        Self::of(TempDir::new().expect("a folder for the test"), database)
    }

    fn of(folder: TempDir, database: String) -> Self {
        let place = Self {
            address: free_address(),
            folder,
            database,
            environment: Vec::new(),
        };
        let made = place.command("keys").output().expect("a process");
        assert!(made.status.success(), "{made:?}");
        place
    }

    /// Sets a variable of the server's environment from its next start on.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.environment.retain(|(known, _)| known != name);
        self.environment.push((name.to_owned(), value.into()));
    }

    /// Forgets a variable.
    pub fn unset(&mut self, name: &str) {
        self.environment.retain(|(known, _)| known != name);
    }

    /// Its folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The SQLite file.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        self.database.trim_start_matches("sqlite://").into()
    }

    /// The database's address.
    #[must_use]
    pub fn database(&self) -> &str {
        &self.database
    }

    /// Serves another database from its next start on.
    pub fn serve_another(&mut self, database: String) {
        self.database = database;
    }

    /// The address at which people reach it.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Somebody who isn't signed in.
    #[must_use]
    pub fn anonymous(&self) -> Caller {
        Caller::new(self.url(), None)
    }

    /// A command of the server's program for this place, ready to run.
    ///
    /// # Panics
    ///
    /// If the programs can't be built.
    #[must_use]
    pub fn command(&self, name: &str) -> Command {
        let mut command = program("whorl-server");
        command
            .arg(name)
            .env("DATABASE_URL", &self.database)
            .env("WHORL_LISTEN", self.address.to_string())
            .env("WHORL_NAME", "saltmarsh.example")
            .env("WHORL_KEYS", self.folder.path().join("whorl.keys"))
            // Few people do here what many would.
            .env("WHORL_REQUESTS_AT_ONCE", "1000000")
            .envs(self.environment.iter().map(|(name, value)| (name, value)))
            .stdin(Stdio::null());
        command
    }

    /// Starts the server without waiting for anything.
    ///
    /// # Panics
    ///
    /// If there can be no process.
    #[must_use]
    pub fn launch(&self) -> Process {
        let log: File = OpenOptions::new()
            .create(true)
            .append(true)
            .open(self.folder.path().join("server.log"))
            .expect("a file for its log");
        Process(
            self.command("serve")
                .stdout(Stdio::null())
                .stderr(log)
                .spawn()
                .expect("a process"),
        )
    }

    /// Starts the server and waits until it listens.
    ///
    /// # Panics
    ///
    /// If it ends instead, with the last lines of its log.
    #[must_use]
    pub fn start(&self) -> Process {
        let mut process = self.launch();
        while TcpStream::connect(self.address).is_err() {
            if let Some(status) = process.0.try_wait().expect("a status") {
                panic!("the server ended with {status}: {}", self.log());
            }
            std::thread::sleep(LOOK_EVERY);
        }
        process
    }

    /// What the server wrote to its log.
    #[must_use]
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("server.log")).unwrap_or_default()
    }

    /// Lets the server's own check of the whole record run; answers what it printed.
    ///
    /// # Errors
    ///
    /// What it says is wrong.
    ///
    /// # Panics
    ///
    /// If there can be no process.
    pub fn verify(&self) -> Result<String, String> {
        let done = self.command("verify").output().expect("a process");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        if done.status.success() {
            Ok(text(&done.stdout))
        } else {
            Err(text(&done.stderr))
        }
    }
}

impl Process {
    /// SIGKILL: nothing in the program can catch it.
    ///
    /// # Panics
    ///
    /// If it can't be killed.
    pub fn kill(mut self) {
        self.0.kill().expect("killed");
        self.0.wait().expect("ended");
    }

    /// Asks it to end (SIGTERM) and waits; answers whether it ended well.
    ///
    /// # Panics
    ///
    /// If it can't be asked.
    #[must_use]
    pub fn stop(mut self) -> bool {
        signal("TERM", &[self.0.id()]);
        self.0.wait().expect("ended").success()
    }

    /// Its id.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.0.id()
    }

    /// Whether it runs still.
    ///
    /// # Panics
    ///
    /// If the system doesn't say.
    #[must_use]
    pub fn runs(&mut self) -> bool {
        self.0.try_wait().expect("a status").is_none()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Sends a signal to processes by their ids; those that have ended already are passed over.
///
/// # Panics
///
/// If there is no `kill`.
pub fn signal(name: &str, ids: &[u32]) {
    let ids = ids.iter().map(u32::to_string);
    let _ = Command::new("kill")
        .arg(format!("-{name}"))
        .args(ids)
        .stderr(Stdio::null())
        .status()
        .expect("kill runs");
}

/// An address that stays free while nobody listens there: outside of the ports that the system gives to whoever calls
/// somebody, or one of those could take it between two lives of a server.
///
/// # Panics
///
/// If all are taken.
#[must_use]
pub fn free_address() -> SocketAddr {
    let tries = std::iter::repeat_with(|| {
        let port = 20_000 + u16::try_from(random_below(10_000)).expect("a port");
        SocketAddr::from(([127, 0, 0, 1], port))
    });
    tries
        .take(1000)
        .find(|address| TcpListener::bind(address).is_ok())
        .expect("a free port")
}

/// A random number below `end`.
///
/// # Panics
///
/// If the machine gives no randomness, or `end` is 0.
#[must_use]
pub fn random_below(end: u64) -> u64 {
    let mut bytes = [0; 8];
    getrandom::fill(&mut bytes).expect("random bytes");
    u64::from_le_bytes(bytes) % end
}

/// How many rounds a test makes: so many in the suite, or what a variable says for a long run.
///
/// # Panics
///
/// If the variable holds no number.
#[must_use]
pub fn rounds(variable: &str, in_the_suite: u64) -> u64 {
    std::env::var(variable).map_or(in_the_suite, |text| text.parse().expect("a number"))
}
