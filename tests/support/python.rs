//! Other people's libraries: a script in Python reads what we wrote and says what it understood, or serves beside a test.

use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use crate::waiting::wait_for;

/// A script of `tests/suite/`, to be run by the Python that has what `tests/run` installs.
fn script(name: &str) -> Command {
    let python = std::env::var("WHORL_TEST_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let mut command = Command::new(python);
    command
        // Nothing is left beside the scripts.
        .arg("-B")
        .arg(format!("{}/suite/{name}", env!("CARGO_MANIFEST_DIR")))
        .stdin(Stdio::piped());
    command
}

fn spawned(mut command: Command) -> Child {
    command.spawn().unwrap_or_else(|error| {
        panic!("{command:?} as WHORL_TEST_PYTHON, with what tests/run installs: {error}")
    })
}

/// Runs a script of `tests/suite/` with `input`, and answers the JSON that it prints.
///
/// # Panics
///
/// If there is no such Python, or the script refuses the input.
#[must_use]
pub fn judged(script: &str, input: &[u8]) -> Value {
    let mut command = self::script(script);
    command.stdout(Stdio::piped());
    let mut judge = spawned(command);
    let mut stdin = judge.stdin.take().expect("its input");
    stdin.write_all(input).expect("it reads");
    drop(stdin);
    let output = judge.wait_with_output().expect("it ends");
    assert!(
        output.status.success(),
        "{script} refuses it:\n{}",
        String::from_utf8_lossy(input)
    );
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// A server of somebody else's making on loopback, run by a script of `tests/suite/` that is given a folder, writes its port to
/// `port` there, and ends when its standard input does. It ends when this is dropped.
#[derive(Debug)]
pub struct Service {
    folder: TempDir,
    child: Child,
    /// Where it listens.
    pub port: u16,
}

impl Service {
    /// Starts one, with arguments after its folder, and waits until it listens.
    ///
    /// # Panics
    ///
    /// If there is no such Python, or it never listens.
    #[must_use]
    pub fn start(script: &str, arguments: &[&str]) -> Self {
        let folder = TempDir::new().expect("a folder");
        let mut command = self::script(script);
        command.arg(folder.path()).args(arguments);
        let child = spawned(command);
        let told = folder.path().join("port");
        wait_for(script, || told.exists());
        let port = std::fs::read_to_string(&told).expect("its port");
        Self {
            folder,
            child,
            port: port.trim().parse().expect("a port"),
        }
    }

    /// Its folder, where it leaves what it took.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        let _ = self.child.wait();
    }
}
