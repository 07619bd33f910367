//! The real program: killed, and on a full disk.

use std::process::{Command, Stdio};

use crate::device::Device;
use crate::server::{PASSWORD, Server};

fn whorl(device: &Device) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_whorl"));
    command
        .env("WHORL_HOME", device.home())
        .env("WHORL_PASSWORD", PASSWORD)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn joined() -> (Server, Device) {
    let (server, device) = (Server::start(), Device::new());
    let done = whorl(&device)
        .args(["join", &server.address, "--email", "wren@saltmarsh.example"])
        .output()
        .expect("run");
    assert!(done.status.success(), "{done:?}");
    (server, device)
}

/// Killed at any moment, recording says "recorded" only of what is there, and pushing loses and doubles nothing.
#[cfg(unix)]
#[test]
fn a_kill_at_any_moment_loses_nothing_that_was_said_to_be_recorded() {
    let (server, device) = joined();
    let mut said = Vec::new();
    for n in 0..12_u64 {
        let name = format!("Plover {n}");
        let mut child = whorl(&device)
            .args(["--json", "horse", "add", &name])
            .spawn()
            .expect("run");
        std::thread::sleep(std::time::Duration::from_millis(4 * n));
        // SIGKILL: nothing in the program can catch it.
        child.kill().expect("killed");
        let done = child.wait_with_output().expect("ended");
        if let Ok(answer) = serde_json::from_slice::<serde_json::Value>(&done.stdout) {
            said.push(answer["event_id"].as_str().expect("an id").to_owned());
        }
    }
    whorl(&device)
        .args(["horse", "add", "Whimbrel"])
        .output()
        .expect("run");
    for n in 0..12_u64 {
        let mut child = whorl(&device).arg("sync").spawn().expect("run");
        std::thread::sleep(std::time::Duration::from_millis(5 * n));
        child.kill().expect("killed");
        child.wait_with_output().expect("ended");
    }
    let done = whorl(&device).arg("sync").output().expect("run");
    assert!(done.status.success(), "{done:?}");
    let state = server.state.lock().expect("state");
    let mut there: Vec<String> = state
        .log
        .values()
        .flatten()
        .map(|event| event.open().expect("genuine").envelope.id.to_string())
        .collect();
    for id in &said {
        assert!(there.contains(id), "{id} was said to be recorded");
    }
    let count = there.len();
    there.sort();
    there.dedup();
    assert_eq!(there.len(), count);
    assert!(count >= 1);
    drop(state);
    let outbox = whorl(&device)
        .args(["--json", "outbox"])
        .output()
        .expect("run");
    assert_eq!(String::from_utf8_lossy(&outbox.stdout).trim(), "[]");
}

/// A disk that takes no more (here: a limit on the size of files) refuses in words and spares what was there.
#[cfg(unix)]
#[test]
fn a_full_disk_refuses_and_loses_nothing_queued_before() {
    let (_server, device) = joined();
    let add = |name: &str| {
        let done = whorl(&device).args(["horse", "add", name]).output();
        assert!(done.expect("run").status.success());
    };
    add("Plover");
    let size = std::fs::metadata(device.home().join("record.db"))
        .expect("there")
        .len();
    // Whatever is still in the write-ahead log counts as well.
    let blocks = size / 512 + 1;
    let mut refused = 0;
    for n in 0..40 {
        let script = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" horse add 'Dunlin {n}' --markings '{}'",
            "a star and a snip ".repeat(100)
        );
        let done = Command::new("bash")
            .args(["-c", &script, env!("CARGO_BIN_EXE_whorl")])
            .env("WHORL_HOME", device.home())
            .output()
            .expect("run");
        if !done.status.success() {
            refused += 1;
            assert_eq!(done.status.code(), Some(1), "{done:?}");
            let err = String::from_utf8_lossy(&done.stderr);
            assert!(err.contains("disk"), "{err}");
        }
    }
    assert!(refused > 0);
    add("Whimbrel");
    let outbox = whorl(&device)
        .args(["--json", "outbox"])
        .output()
        .expect("run");
    let entries: serde_json::Value = serde_json::from_slice(&outbox.stdout).expect("JSON");
    let horses: Vec<&str> = entries
        .as_array()
        .expect("a list")
        .iter()
        .map(|entry| entry["horse"].as_str().expect("a name"))
        .collect();
    assert_eq!(horses.len(), 42 - refused);
    assert!(horses.contains(&"Plover") && horses.contains(&"Whimbrel"));
}

/// Two commands at once: both record, and neither signs the other out.
#[test]
fn two_commands_at_once_do_not_lose_each_others_work() {
    let (server, device) = joined();
    let children: Vec<_> = (0..4)
        .map(|n| {
            let name = format!("Plover {n}");
            let record = whorl(&device).args(["horse", "add", &name]).spawn();
            let sync = whorl(&device).arg("sync").spawn();
            [record.expect("run"), sync.expect("run")]
        })
        .collect();
    for child in children.into_iter().flatten() {
        let done = child.wait_with_output().expect("ended");
        assert!(done.status.success(), "{done:?}");
    }
    let done = whorl(&device).arg("sync").output().expect("run");
    assert!(done.status.success(), "{done:?}");
    assert_eq!(server.events(), 4);
    assert_eq!(server.state.lock().expect("state").families_ended, 0);
}
