//! The log leaves the machine as `deploy/watch/rsyslog.conf` says: a real rsyslog takes each line to a log server over TLS.

use std::collections::HashSet;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;
use whorl_contract::path;
use whorl_tests::person::sign_in;
use whorl_tests::process::Place;
use whorl_tests::python::Service;
use whorl_tests::waiting::wait_for;

/// The settings as they are shipped, but for where things are on this machine, and for reading a file: there is no journal.
fn settings(log: &Path, work: &Path, server: &Service) -> String {
    let shipped = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/watch/rsyslog.conf");
    let mut settings = fs::read_to_string(shipped).expect("the settings");
    let authority = server.folder().join("authority.pem");
    for (there, here) in [
        (
            "module(load=\"imjournal\" StateFile=\"whorl.state\" PersistStateInterval=\"100\" IgnorePreviousMessages=\"on\")",
            format!(
                "module(load=\"imfile\")\ninput(type=\"imfile\" File=\"{}\" Tag=\"whorl\")",
                log.display()
            ),
        ),
        ("/var/spool/rsyslog", work.display().to_string()),
        (
            "/etc/ssl/certs/ca-certificates.crt",
            authority.display().to_string(),
        ),
        (
            "if ($!_SYSTEMD_UNIT == \"whorl.service\") then",
            "if (1) then".to_owned(),
        ),
        (
            "target=\"logs.example\" port=\"6514\"",
            format!("target=\"127.0.0.1\" port=\"{}\"", server.port),
        ),
        (
            "action.resumeInterval=\"10\"",
            "action.resumeInterval=\"1\"".to_owned(),
        ),
    ] {
        assert_eq!(settings.matches(there).count(), 1, "{there}");
        settings = settings.replace(there, &here);
    }
    settings
}

/// A running rsyslog. It ends when this is dropped.
struct Shipper {
    child: Child,
    work: TempDir,
}

impl Shipper {
    fn start(log: &Path, server: &Service) -> Self {
        let work = TempDir::new().expect("a folder");
        let file = work.path().join("rsyslog.conf");
        fs::write(&file, settings(log, work.path(), server)).expect("written");
        let said = fs::File::create(work.path().join("said")).expect("a file");
        let child = Command::new("rsyslogd")
            .arg("-n")
            .arg("-f")
            .arg(&file)
            .arg("-i")
            .arg(work.path().join("pid"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(said)
            .spawn()
            .expect("rsyslogd, which tests/run installs");
        Self { child, work }
    }

    /// What it complained of.
    fn said(&self) -> String {
        fs::read_to_string(self.work.path().join("said")).unwrap_or_default()
    }
}

impl Drop for Shipper {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(server: &Service, file: &str) -> Vec<String> {
    let text = fs::read_to_string(server.folder().join(file)).unwrap_or_default();
    text.lines().map(str::to_owned).collect()
}

#[test]
fn each_line_comes_to_the_log_server_though_it_was_away() {
    let place = Place::sqlite();
    let server = place.start();
    let log = place.folder().join("server.log");
    let logs = Service::start("log_server.py", &["logs.example"]);
    let shipper = Shipper::start(&log, &logs);
    let guess = || {
        sign_in(
            &place.anonymous(),
            "rook@saltmarsh.example",
            "not right",
            None,
        )
    };
    for _ in 0..3 {
        assert_eq!(guess().status, 401);
    }
    assert_eq!(place.anonymous().get(path::LIVE).status, 200);
    // Nobody has listened so far.
    fs::write(logs.folder().join("open"), "").expect("told");
    wait_for("the first line", || !lines(&logs, "messages").is_empty());
    assert_eq!(guess().status, 401);
    assert!(server.stop());

    let written: Vec<String> = place.log().lines().map(str::to_owned).collect();
    // What rsyslog isn't sure of it sends again, so a line may come twice; none may be missing.
    let messages = || {
        let mut seen = HashSet::new();
        let mut all = lines(&logs, "messages");
        all.retain(|line| seen.insert(line.clone()));
        all
    };
    wait_for(&format!("every line; {}", shipper.said()), || {
        messages().len() >= written.len()
    });
    let came: Vec<String> = messages()
        .iter()
        .map(|message| {
            // RFC 5424: priority and version, time, host, program, process, message's id, structured data, message.
            let parts: Vec<&str> = message.splitn(8, ' ').collect();
            assert!(parts[0].ends_with(">1"), "{message}");
            assert_eq!(parts[3], "whorl-server", "{message}");
            parts[7].to_owned()
        })
        .collect();
    assert_eq!(came, written);
    let failed = came
        .iter()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .filter(|line| line["event"] == "sign_in_failed");
    assert_eq!(failed.count(), 4);
}

#[test]
fn a_log_server_of_another_name_gets_nothing() {
    let place = Place::sqlite();
    let _server = place.start();
    let logs = Service::start("log_server.py", &["elsewhere.example"]);
    fs::write(logs.folder().join("open"), "").expect("told");
    let shipper = Shipper::start(&place.folder().join("server.log"), &logs);
    wait_for(&format!("two tries; {}", shipper.said()), || {
        lines(&logs, "callers").len() >= 2
    });
    assert_eq!(lines(&logs, "messages"), Vec::<String>::new());
}
