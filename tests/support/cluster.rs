//! PostgreSQL servers of a test's own: one that is killed, and a standby that takes over.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use crate::balancer::free_port;
use crate::process::signal;

/// A PostgreSQL of a test's own. All of its processes are killed when this is dropped.
pub struct Cluster {
    folder: TempDir,
    programs: PathBuf,
    port: u16,
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
            self.port
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
            port: free_port(),
        };
        let data = cluster.data();
        fs::create_dir(&data).expect("a folder");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            fs::set_permissions(&data, fs::Permissions::from_mode(0o700)).expect("a mode");
        }
        if is_root() {
            // PostgreSQL refuses to run as root.
            for path in [cluster.folder.path(), &data] {
                let owned = Command::new("chown").arg("postgres").arg(path).status();
                assert!(owned.expect("chown runs").success());
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
        format!("postgres://whorl@127.0.0.1:{}/postgres", self.port)
    }

    /// Where it listens.
    #[must_use]
    pub const fn port(&self) -> u16 {
        self.port
    }

    /// Runs one of PostgreSQL's programs on its files.
    fn run(&self, name: &str, args: &[&str]) {
        let program = self.programs.join(name);
        let mut command = if is_root() {
            let mut command = Command::new("runuser");
            command.args(["-u", "postgres", "--"]).arg(program);
            command
        } else {
            Command::new(program)
        };
        // What it starts keeps the pipes open, so none are given.
        let done = command
            .arg("-D")
            .arg(self.data())
            .args(args)
            .current_dir("/")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        assert!(done.expect("a process").success(), "{name} {args:?}");
    }

    fn go_on(&self, settings: &[&str]) {
        let mut options = format!("-h 127.0.0.1 -p {} -k ''", self.port);
        for setting in settings {
            options = format!("{options} -c {setting}");
        }
        let log = self.data().join("log");
        let log = log.to_str().expect("UTF-8");
        self.run("pg_ctl", &["-w", "-l", log, "-o", &options, "start"]);
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

    /// SIGKILL to all of its processes, as when its machine dies.
    ///
    /// # Panics
    ///
    /// If it doesn't run.
    pub fn kill(&self) {
        let all = self.processes();
        signal("KILL", &all);
        let alive = |id: &u32| parent(&PathBuf::from(format!("/proc/{id}"))).is_some();
        while all.iter().any(alive) {
            std::thread::sleep(Duration::from_millis(5));
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

    /// The server's own process and all that it started.
    fn processes(&self) -> Vec<u32> {
        let file = fs::read_to_string(self.data().join("postmaster.pid")).expect("running");
        let main: u32 = file.lines().next().expect("a line").parse().expect("an id");
        let mut all = vec![main];
        for entry in fs::read_dir("/proc").expect("processes").flatten() {
            let id = entry.file_name().to_str().and_then(|id| id.parse().ok());
            if let Some(id) = id.filter(|_| parent(&entry.path()) == Some(main)) {
                all.push(id);
            }
        }
        all
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        if self.data().join("postmaster.pid").exists() {
            signal("KILL", &self.processes());
        }
    }
}

/// The parent of a process that has not ended.
fn parent(process: &Path) -> Option<u32> {
    let stat = fs::read_to_string(process.join("stat")).ok()?;
    // The name before it may hold anything.
    let mut fields = stat.rsplit_once(") ")?.1.split(' ');
    let state = fields.next()?;
    fields.next()?.parse().ok().filter(|_| state != "Z")
}

fn is_root() -> bool {
    let done: Output = Command::new("id").arg("-u").output().expect("id runs");
    done.stdout.trim_ascii() == b"0"
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
