//! PostgreSQL servers of a test's own: one that is killed, and a standby that takes over.

use std::fs;
use std::path::PathBuf;
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

    /// Starts it again on the files that it has.
    ///
    /// # Panics
    ///
    /// If it doesn't start.
    pub fn go_on(&self, settings: &[&str]) {
        let mut options = format!("-h 127.0.0.1 -p {} -k ''", self.port);
        for setting in settings {
            options = format!("{options} -c {setting}");
        }
        let log = self.data().join("log");
        let log = log.to_str().expect("UTF-8");
        self.run(
            "pg_ctl",
            &["-w", "-t", "600", "-l", log, "-o", &options, "start"],
        );
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
    pub fn kill(&self) {
        loop {
            let all = self.processes();
            if all.is_empty() {
                return;
            }
            signal("KILL", &all);
            std::thread::sleep(Duration::from_millis(2));
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
