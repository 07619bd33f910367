//! What the commands say and refuse.

use crate::device::Device;
use crate::server::Server;

#[test]
fn a_name_opens_an_account_where_there_is_none() {
    let (server, device) = (Server::start(), Device::new());
    server.state.lock().expect("state").account_open = false;
    let args = ["join", &server.address, "--email", "wren@saltmarsh.example"];
    let said = device.run(&args);
    assert_eq!(said.status, 3, "{said:?}");
    assert!(said.err.contains("E-mail or password is wrong"), "{said:?}");
    device.ok(&[&args[..], &["--name", "Wren Halloran"]].concat());
    assert_eq!(server.seen("/v1/accounts"), 1);
    assert_eq!(device.status()["name"], "Wren Halloran");
}

#[test]
fn a_folder_belongs_to_one_account_on_one_server() {
    let (server, other, device) = (Server::start(), Server::start(), Device::new());
    device.join(&server);
    for args in [
        vec!["join", &other.address],
        vec!["join", "--email", "idris@saltmarsh.example"],
    ] {
        let said = device.run(&args);
        assert_eq!(said.status, 2, "{said:?}");
        assert!(said.err.contains("WHORL_HOME"), "{said:?}");
    }
    assert_eq!(other.seen("/"), 0);
}

#[test]
fn before_joining_every_command_says_what_to_do() {
    let device = Device::new();
    for args in [
        &["sync"][..],
        &["push"],
        &["horse", "add", "Plover"],
        &["grants"],
        &["signout"],
    ] {
        let said = device.run(args);
        assert_eq!(said.status, 2, "{args:?}: {said:?}");
        assert!(said.err.contains("whorl join"), "{said:?}");
    }
}

#[test]
fn bad_input_is_said_in_one_line_and_records_nothing() {
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    let said = device.run(&["horse", "add", "Plover", "--microchip", "12345"]);
    assert_eq!(said.status, 2, "{said:?}");
    assert!(said.err.contains("microchip"), "{said:?}");
    assert_eq!(said.err.lines().count(), 1);
    let status = device.status();
    assert_eq!(
        (&status["waiting"], &status["horses"]),
        (&0.into(), &0.into())
    );
    let told = device.run(&["--json", "horse", "add", "Plover", "--microchip", "12345"]);
    let told: serde_json::Value = serde_json::from_str(&told.err).expect("one JSON line");
    assert_eq!(told["status"], 2);
}

#[test]
fn a_new_horse_has_its_profile_at_once_and_is_found_by_its_name() {
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    device.ok(&[
        "horse", "add", "Plover", "--sex", "mare", "--foaled", "2016-04", "--risk", "travels",
    ]);
    let listed = device.ok(&["--json", "outbox"]).json();
    assert_eq!(listed[0]["horse"], "Plover");
    assert_eq!(listed[0]["kind"], "identity");
    assert_eq!(listed[0]["state"], "waiting");
    let id = listed[0]["id"].as_str().expect("an id");
    let shown = device.ok(&["--json", "outbox", "show", &id[30..]]).json();
    let envelope = &shown["event"]["envelope"];
    assert_eq!(envelope["role"], "owner");
    assert_eq!(envelope["performed_at"], "2027-03-04T14:20:00Z");
    assert_eq!(shown["event"]["content"]["details"]["foaled_on"], "2016-04");
    let refused = device.run(&["outbox", "drop", id, "--yes"]);
    assert_eq!(refused.status, 2, "{refused:?}");
    assert_eq!(device.status()["waiting"], 1);
}

#[test]
fn a_refused_entry_can_be_retried_or_dropped_and_is_written_to_a_file_first() {
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    device.add_horse("Plover");
    server.state.lock().expect("state").refuses = true;
    let said = device.run(&["push"]);
    assert_eq!(said.status, 3, "{said:?}");
    assert!(said.err.contains("No grant covers this"), "{said:?}");
    assert_eq!(device.status()["refused"], 1);
    device.ok(&["outbox", "retry"]);
    assert_eq!(device.status()["waiting"], 1);
    device.run(&["push"]);
    let id = device.ok(&["--json", "outbox"]).json()[0]["id"]
        .as_str()
        .expect("an id")
        .to_owned();
    let unsaid = device.run(&["outbox", "drop", &id]);
    assert_eq!(unsaid.status, 2, "{unsaid:?}");
    let dropped = device
        .ok(&["--json", "outbox", "drop", &id, "--yes"])
        .json();
    let kept = std::fs::read(dropped["kept_in"].as_str().expect("a file")).expect("written");
    let kept: serde_json::Value = serde_json::from_slice(&kept).expect("JSON");
    let event: whorl_contract::event::SignedEvent =
        serde_json::from_value(kept["event"].clone()).expect("an event");
    assert_eq!(event.open().expect("genuine").envelope.id.to_string(), id);
    assert_eq!(device.status()["refused"], 0);
}

#[cfg(unix)]
#[test]
fn key_tokens_and_record_are_readable_by_their_user_only() {
    use std::os::unix::fs::PermissionsExt;
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    device.add_horse("Plover");
    let mut files = 0;
    for entry in std::fs::read_dir(device.home())
        .expect("a folder")
        .flatten()
    {
        let mode = entry.metadata().expect("there").permissions().mode();
        assert_eq!(mode & 0o077, 0, "{}", entry.path().display());
        files += 1;
    }
    assert!(files >= 4);
    let key = device.home().join("device.key");
    std::fs::set_permissions(&key, std::fs::Permissions::from_mode(0o644)).expect("set");
    let said = device.run(&["sync"]);
    assert_eq!(said.status, 1, "{said:?}");
    assert!(said.err.contains("chmod 600"), "{said:?}");
}

#[test]
fn completions_and_manual_are_there_for_every_command() {
    let device = Device::new();
    let script = device.ok(&["completions", "bash"]).out;
    assert!(script.contains("_whorl()") && script.contains("transfer"));
    let folder = device.folder.path().join("man");
    device.ok(&["man", folder.to_str().expect("UTF-8")]);
    for page in ["whorl.1", "whorl-sync.1", "whorl-outbox-drop.1"] {
        assert!(folder.join(page).exists(), "{page}");
    }
}

#[test]
fn help_is_an_answer_and_a_typo_is_bad_input() {
    let device = Device::new();
    assert!(device.ok(&["--help"]).out.contains("Exit status"));
    let said = device.run(&["snyc"]);
    assert_eq!(said.status, 2);
    assert!(said.err.contains("sync"), "{said:?}");
}
