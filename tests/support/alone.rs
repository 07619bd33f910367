//! A test in a process of its own: what a process has but one of (its log, the authorities that it trusts) is looked at from
//! outside.

use std::process::Command;

/// Set in the process that is looked at.
const ALONE: &str = "WHORL_TEST_ALONE";

/// What such a process said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// On standard output: what the test prints.
    pub out: String,
    /// On standard error: the log.
    pub log: String,
}

impl Told {
    /// Every secret that the process let us know by [`tell`].
    #[must_use]
    pub fn secrets(&self) -> Vec<&str> {
        let lines = self.out.lines();
        lines
            .filter_map(|line| line.split_once("secret=").map(|(_, secret)| secret.trim()))
            .collect()
    }
}

/// Whether this is the process that is looked at.
#[must_use]
pub fn is_alone() -> bool {
    std::env::var_os(ALONE).is_some()
}

/// Lets the process that looks know a secret.
#[expect(
    clippy::print_stdout,
    reason = "it is how the other process hears of it"
)]
pub fn tell(secret: &str) {
    println!("secret={secret}");
}

/// Runs a test of this program once more, by its whole name, with these variables besides.
///
/// # Panics
///
/// If it fails.
#[must_use]
pub fn run(test: &str, variables: &[(&str, &str)]) -> Told {
    let ran = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", test, "--nocapture"])
        .env(ALONE, "1")
        .envs(variables.iter().copied())
        .output()
        .expect("a run");
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let told = Told {
        out: said(&ran.stdout),
        log: said(&ran.stderr),
    };
    assert!(ran.status.success(), "{}{}", told.out, told.log);
    assert!(told.out.contains("1 passed"), "no test is called {test}");
    told
}
