//! PostgreSQL servers of a test's own: one that is killed, and a standby that takes over.

use std::fs::{self, OpenOptions};
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::time::Duration;

use tempfile::TempDir;

use crate::process::{free_address, signal};

/// How often somebody looks whether it takes connections by now.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// A PostgreSQL of a test's own. All of its processes are killed when this is dropped.
pub struct Cluster {
    folder: TempDir,
    programs: PathBuf,
    address: SocketAddr,
    /// PostgreSQL's first process is this one's child, so that its id is free once it was killed: a new one that found the
    /// id in use would take it for a life that goes on, and not start.
    first: Mutex<Option<Child>>,
}

impl Cluster {
    /// Makes and starts one with settings of its own (`name=value`).
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    #[must_use]
    pub fn start(settings: &[&str]) -> Self {
        let cluster = Self::empty();
        let options = [
            "-U",
            "whorl",
            "--auth=trust",
            "--encoding=UTF8",
            "--no-sync",
        ];
        cluster.run("initdb", &options);
        cluster.go_on(settings);
        cluster
    }

    /// Makes and starts a standby that follows this one under a name.
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    #[must_use]
    pub fn standby(&self, name: &str, settings: &[&str]) -> Self {
        let standby = Self::empty();
        let primary = format!(
            "host=127.0.0.1 port={} user=whorl application_name={name}",
            self.port()
        );
        standby.run(
            "pg_basebackup",
            &[
                "--no-sync",
                "-X",
                "stream",
                "-c",
                "fast",
                "-R",
                "-d",
                &primary,
            ],
        );
        standby.go_on(settings);
        standby
    }

    fn empty() -> Self {
        let cluster = Self {
            folder: TempDir::new().expect("a folder"),
            programs: programs(),
            address: free_address(),
            first: Mutex::new(None),
        };
        let data = cluster.data();
        fs::create_dir(&data).expect("a folder");
        fs::set_permissions(&data, fs::Permissions::from_mode(0o700)).expect("a mode");
        if id(&[]) == 0 {
            for path in [cluster.folder.path(), &data] {
                let owner = Some(id(&["postgres"]));
                std::os::unix::fs::chown(path, owner, None).expect("an owner");
            }
        }
        cluster
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// The address of its database.
    #[must_use]
    pub fn url(&self) -> String {
        format!("postgres://whorl@127.0.0.1:{}/postgres", self.port())
    }

    /// Where it listens.
    #[must_use]
    pub const fn port(&self) -> u16 {
        self.address.port()
    }

    /// One of PostgreSQL's programs on its files, which refuses to run as root.
    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(self.programs.join(name));
        command.arg("-D").arg(self.data()).current_dir("/");
        if id(&[]) == 0 {
            command.uid(id(&["postgres"]));
        }
        command
    }

    /// Runs one of PostgreSQL's programs on its files.
    fn run(&self, name: &str, args: &[&str]) {
        let done = self.command(name).args(args).output().expect("a process");
        assert!(done.status.success(), "{name} {args:?}: {done:?}");
    }

    /// Starts it again on the files that it has; it takes connections when this returns.
    ///
    /// # Panics
    ///
    /// If it doesn't start, with its log.
    pub fn go_on(&self, settings: &[&str]) {
        let path = self.folder.path().join("log");
        let mut options = OpenOptions::new();
        let log = options.create(true).append(true).open(&path);
        let mut command = self.command("postgres");
        command
            .args(["-h", "127.0.0.1", "-k", ""])
            .args(["-p", &self.port().to_string()]);
        for setting in settings {
            command.args(["-c", setting]);
        }
        let mut first = command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log.expect("a file for its log"))
            .spawn()
            .expect("a process");
        while !self.takes_connections() {
            if let Some(status) = first.try_wait().expect("a status") {
                let log = fs::read_to_string(&path).unwrap_or_default();
                panic!("PostgreSQL ended with {status}: {log}");
            }
            std::thread::sleep(LOOK_EVERY);
        }
        *self.first.lock().expect("a lock") = Some(first);
    }

    fn takes_connections(&self) -> bool {
        let mut command = Command::new(self.programs.join("pg_isready"));
        command.args(["-q", "-d", &self.url()]);
        command.status().expect("pg_isready runs").success()
    }

    /// Lets a standby take over; it takes writes when this returns.
    ///
    /// # Panics
    ///
    /// If it can't.
    pub fn promote(&self) {
        self.run("pg_ctl", &["-w", "promote"]);
    }

    /// What a query gives, in one text: columns with `|` between, a row in a line.
    ///
    /// # Panics
    ///
    /// If the query fails.
    #[must_use]
    pub fn ask(&self, query: &str) -> String {
        let done = Command::new(self.programs.join("psql"))
            .args(["-X", "-A", "-t", "-q", "-v", "ON_ERROR_STOP=1", "-c", query])
            .arg(self.url())
            .output()
            .expect("psql runs");
        assert!(done.status.success(), "{query}: {done:?}");
        String::from_utf8_lossy(&done.stdout).trim().to_owned()
    }

    /// SIGKILL to all of its processes, as when its machine dies; none is left when this returns, so that it may start again.
    ///
    /// # Panics
    ///
    /// If the system doesn't say whether it ended.
    pub fn kill(&self) {
        loop {
            let all = self.processes();
            if all.is_empty() {
                break;
            }
            signal("KILL", &all);
            std::thread::sleep(Duration::from_millis(2));
        }
        if let Some(mut first) = self.first.lock().expect("a lock").take() {
            first.wait().expect("ended");
        }
    }

    /// Stops all of its processes where they are, as when its line is cut: connections stay open and nothing comes.
    pub fn freeze(&self) {
        signal("STOP", &self.processes());
    }

    /// Lets them go on.
    pub fn thaw(&self) {
        signal("CONT", &self.processes());
    }

    /// All of its processes: they work in its folder.
    fn processes(&self) -> Vec<u32> {
        let Ok(data) = fs::canonicalize(self.data()) else {
            return Vec::new();
        };
        let all = fs::read_dir("/proc").expect("processes").flatten();
        let ours = all.filter(|entry| {
            fs::read_link(entry.path().join("cwd")).is_ok_and(|folder| folder == data)
        });
        ours.filter_map(|entry| entry.file_name().to_str()?.parse().ok())
            .collect()
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        self.kill();
    }
}

/// The number of a user, or without a name of who runs this.
fn id(name: &[&str]) -> u32 {
    let done = Command::new("id").arg("-u").args(name).output();
    let text = String::from_utf8(done.expect("id runs").stdout).expect("UTF-8");
    text.trim().parse().expect("a user's number")
}

/// The newest PostgreSQL of this machine, where Debian puts it.
fn programs() -> PathBuf {
    let all = fs::read_dir("/usr/lib/postgresql").expect("PostgreSQL; tests/run installs it");
    let versions = all.flatten().map(|entry| entry.path().join("bin"));
    versions
        .filter(|bin| bin.join("initdb").exists())
        .max()
        .expect("PostgreSQL's programs; tests/run installs them")
}
