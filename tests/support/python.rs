//! Other people's libraries as judges: a script in Python reads what we wrote and says what it understood.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;

/// Runs a script of `tests/suite/` with `input`, and answers the JSON that it prints.
///
/// # Panics
///
/// If there is no such Python, or the script refuses the input.
#[must_use]
pub fn judged(script: &str, input: &[u8]) -> Value {
    let python = std::env::var("WHORL_TEST_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let mut judge = Command::new(&python)
        .arg(format!("{}/suite/{script}", env!("CARGO_MANIFEST_DIR")))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| {
            panic!("{python} as WHORL_TEST_PYTHON, with what tests/run installs: {error}")
        });
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
