//! What an owner erases goes from the device, too.

use crate::device::Device;
use crate::server::Server;

const CANARY: &str = "the neighbour's boy left the gate open";

/// Whether any file of the client's holds the words.
fn holds(device: &Device, words: &str) -> bool {
    let files = std::fs::read_dir(device.home()).expect("a folder");
    files.flatten().any(|file| {
        let bytes = std::fs::read(file.path()).unwrap_or_default();
        bytes
            .windows(words.len())
            .any(|part| part == words.as_bytes())
    })
}

#[test]
fn what_is_erased_is_gone_from_the_device_once_the_server_has_taken_it() {
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    device.add_horse("Plover");
    device.ok(&[
        "record", "weight", "Plover", "--weight", "500kg", "--method", "scale", "--note", CANARY,
    ]);
    device.ok(&["sync"]);
    assert!(holds(&device, CANARY));
    let listed = device
        .ok(&["--json", "history", "Plover", "--kind", "weight"])
        .json();
    let id = listed[0]["id"].as_str().expect("an id").to_owned();

    let unsaid = device.run(&["erase", &id, "--reason", "It names somebody."]);
    assert_eq!(unsaid.status, 2, "{unsaid:?}");
    assert!(unsaid.err.contains("--for-good"), "{unsaid:?}");
    device.ok(&["erase", &id, "--reason", "It names somebody.", "--for-good"]);
    // Until the server has taken it, it may yet be refused: nothing is gone.
    assert!(holds(&device, CANARY));
    device.ok(&["sync"]);

    assert!(!holds(&device, CANARY));
    let listed = device
        .ok(&["--json", "history", "Plover", "--kind", "weight"])
        .json();
    assert_eq!(listed[0]["standing"], "erased");
    assert_eq!(listed[0]["reason"], "It names somebody.");
    assert!(listed[0]["details"].is_null());
    let told = device.ok(&["history", "Plover"]).out;
    assert!(told.contains("ERASED: It names somebody."), "{told}");
    let more = device.run(&["retract", &id, "--reason", "Wrong."]);
    assert_eq!(more.status, 2, "{more:?}");
    let again = device.ok(&["--json", "sync"]).json();
    assert_eq!(again["pulled"], 0);
}
