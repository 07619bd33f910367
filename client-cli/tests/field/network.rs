//! Networks that lie, stall and break.

use std::time::Duration;

use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_cli::author::Draft;
use whorl_contract::event::{AttachmentRef, Content};

use crate::device::Device;
use crate::server::{Fault, PASSWORD, Server};

fn joined() -> (Server, Device) {
    let (server, device) = (Server::start(), Device::new());
    device.join(&server);
    (server, device)
}

#[test]
fn recorded_offline_pushed_later_and_pulled_back() {
    let (server, device) = joined();
    device.add_horse("Plover");
    let status = device.status();
    assert_eq!(
        (&status["waiting"], &status["new_horses"]),
        (&1.into(), &1.into())
    );
    let report = device.ok(&["--json", "sync"]).json();
    assert_eq!(report["horses_opened"], 1);
    assert_eq!(report["accepted"], 1);
    assert_eq!(report["pulled"], 1);
    let status = device.status();
    assert_eq!(
        (&status["waiting"], &status["acknowledged"]),
        (&0.into(), &0.into())
    );
    assert_eq!(server.events(), 1);
    let again = device.ok(&["--json", "sync"]).json();
    assert_eq!(
        (&again["accepted"], &again["pulled"]),
        (&0.into(), &0.into())
    );
}

#[test]
fn a_lost_answer_to_a_push_makes_no_second_entry() {
    for fault in [Fault::LoseAnswer, Fault::CutAnswer] {
        let (server, device) = joined();
        device.add_horse("Plover");
        server.fault("/v1/events", fault);
        let report = device.ok(&["--json", "push"]).json();
        assert_eq!(
            (&report["accepted"], &report["known"]),
            (&0.into(), &1.into()),
            "{fault:?}"
        );
        assert_eq!(server.events(), 1);
        assert!(device.slept.get() > 0);
    }
}

#[test]
fn who_asked_too_often_waits_as_told_and_comes_to_the_same_end() {
    for path in [
        "/v1/sync/heads",
        "/v1/sync/pull",
        "/v1/events",
        "/v1/horses",
        "/v1/grants",
    ] {
        let (server, device) = joined();
        device.add_horse("Plover");
        let before = server.seen(path);
        device.rested.set(Duration::ZERO);
        for _ in 0..3 {
            server.fault(path, Fault::TooMany(7));
        }
        let report = device.ok(&["--json", "sync"]).json();
        assert_eq!(
            (&report["accepted"], &report["pulled"]),
            (&1.into(), &1.into()),
            "{path}: {report}"
        );
        assert!(server.seen(path) >= before + 4, "{path}");
        assert!(
            device.rested.get() >= Duration::from_secs(21),
            "{path}: {:?}",
            device.rested.get()
        );
        assert_eq!(server.events(), 1, "{path}");
    }
}

#[test]
fn a_server_that_asks_for_an_hour_is_left_alone_and_the_work_is_kept() {
    let (server, device) = joined();
    device.add_horse("Plover");
    device.ok(&["push"]);
    device.add_horse("Dunlin");
    let before = server.seen("/v1/events");
    device.rested.set(Duration::ZERO);
    server.fault("/v1/events", Fault::TooMany(3600));
    let said = device.run(&["push"]);
    assert_eq!(said.status, 3, "{said:?}");
    assert_eq!(server.seen("/v1/events"), before + 1);
    assert!(device.rested.get() < Duration::from_mins(1));
    assert_eq!(device.status()["waiting"], 1);
    device.ok(&["push"]);
    assert_eq!(server.events(), 2);
}

#[test]
fn without_any_connection_work_is_kept_and_the_status_is_4() {
    let (server, device) = joined();
    device.add_horse("Plover");
    for fault in [
        Fault::HangUp,
        Fault::SignInPage,
        Fault::Redirect,
        Fault::BadGateway,
        Fault::Unavailable,
    ] {
        for _ in 0..40 {
            server.fault("/v1/", fault);
        }
        let said = device.run(&["push"]);
        assert_eq!(said.status, 4, "{fault:?}: {said:?}");
        assert_eq!(said.err.lines().count(), 1, "{said:?}");
        assert!(said.err.contains("kept"), "{said:?}");
        server.state.lock().expect("state").faults.clear();
        assert_eq!(device.status()["waiting"], 1);
    }
    assert_eq!(server.events(), 0);
    device.ok(&["sync"]);
    assert_eq!(server.events(), 1);
}

#[test]
fn a_sign_in_page_never_gets_the_password() {
    let (server, device) = (Server::start(), Device::new());
    for _ in 0..40 {
        server.fault("/v1/server", Fault::SignInPage);
    }
    let said = device.run(&["join", &server.address, "--email", "wren@saltmarsh.example"]);
    assert_eq!(said.status, 4, "{said:?}");
    assert!(said.err.contains("sign-in page"), "{said:?}");
    assert_eq!(server.seen("/v1/sessions"), 0);
    assert!(!said.err.contains(PASSWORD));
}

#[test]
fn a_sign_in_page_is_not_taken_for_done() {
    let (server, device) = joined();
    server.fault("/v1/sessions/current", Fault::SignInPage);
    for _ in 0..40 {
        server.fault("/v1/sessions/current", Fault::SignInPage);
    }
    let said = device.run(&["signout"]);
    assert_eq!(said.status, 4, "{said:?}");
    assert!(said.err.contains("couldn't be told"), "{said:?}");
    assert_eq!(device.status()["signed_in"], false);
}

#[test]
fn an_expired_access_token_is_renewed_without_a_word() {
    let (server, device) = joined();
    server.wait(&device, 3600);
    device.ok(&["sync"]);
    assert_eq!(server.seen("/v1/sessions/refresh"), 1);
    // Ended by the server's clock though not by ours.
    let generation = server.state.lock().expect("state").generation;
    server.state.lock().expect("state").expired = Some(generation);
    device.ok(&["sync"]);
    assert_eq!(server.seen("/v1/sessions/refresh"), 2);
}

#[test]
fn a_device_whose_clock_is_wrong_is_told_and_not_locked_out() {
    let (server, device) = joined();
    device.later.set(9 * 3600);
    let said = device.ok(&["sync"]);
    assert!(said.err.contains("540 minutes ahead"), "{said:?}");
    assert_eq!(server.seen("/v1/sessions/refresh"), 2);
}

#[test]
fn lost_answers_to_refreshes_never_sign_anybody_out() {
    let (server, device) = joined();
    for day in 1..6 {
        server.wait(&device, 86_400);
        for _ in 0..day {
            server.fault("/v1/sessions/refresh", Fault::LoseAnswer);
        }
        let said = device.run(&["sync"]);
        assert!(said.status == 0 || said.status == 4, "{said:?}");
        server.state.lock().expect("state").faults.clear();
        device.ok(&["sync"]);
    }
    assert_eq!(server.state.lock().expect("state").families_ended, 0);
}

#[test]
fn a_session_that_has_ended_says_how_to_sign_in_and_keeps_the_work() {
    let (server, device) = joined();
    device.add_horse("Plover");
    server.wait(&device, 3600);
    server.state.lock().expect("state").generation = 7;
    let said = device.run(&["push"]);
    assert_eq!(said.status, 3, "{said:?}");
    assert!(said.err.contains("whorl join"), "{said:?}");
    assert_eq!(device.status()["waiting"], 1);
    device.ok(&["join"]);
    assert_eq!(server.events(), 1);
}

#[test]
fn a_first_sync_that_breaks_goes_on_from_where_it_was() {
    let (server, device) = joined();
    for n in 0..3 {
        device.add_horse(&format!("Plover {n}"));
    }
    for _ in 0..40 {
        server.fault("/v1/sync/pull", Fault::CutAnswer);
    }
    let said = device.run(&["sync"]);
    assert_eq!(said.status, 4, "{said:?}");
    assert_eq!(device.status()["acknowledged"], 3);
    server.state.lock().expect("state").faults.clear();
    assert_eq!(device.ok(&["--json", "sync"]).json()["pulled"], 3);
    assert_eq!(device.status()["acknowledged"], 0);
}

#[test]
fn the_token_goes_to_the_server_alone() {
    let (server, device) = joined();
    server.fault("/v1/sync/heads", Fault::Redirect);
    device.run(&["sync"]);
    let state = server.state.lock().expect("state");
    let bare = |path: &str| {
        state
            .seen
            .iter()
            .filter(|one| one.path == path)
            .all(|one| one.token.is_none())
    };
    assert!(bare("/v1/server") && bare("/v1/sessions"));
    assert!(
        state
            .seen
            .iter()
            .any(|one| one.method == "GET" && one.token.is_some())
    );
}

#[test]
fn a_photo_goes_to_the_server_before_the_entry_that_names_it() {
    let (server, device) = joined();
    let horse: HorseId = device.add_horse("Plover")["horse_id"]
        .as_str()
        .expect("an id")
        .parse()
        .expect("an id");
    let photo = device.folder.path().join("hoof.jpg");
    std::fs::write(&photo, [0xff, 0xd8, 0xff, 0xd9]).expect("written");
    let path = photo.to_str().expect("UTF-8");
    let taken = device.ok(&["--json", "attach", path, "--caption", "left fore"]);
    let file: AttachmentRef = serde_json::from_str(&taken.out).expect("a reference");
    assert_eq!((file.media_type.as_str(), file.bytes), ("image/jpeg", 4));
    device.sign(|now| Draft {
        horse_id: horse,
        kind: Kind::Observation,
        performed_at: now,
        role: None,
        transcribed: false,
        visit_id: None,
        target_id: None,
        content: Content {
            performed_by: None,
            note: None,
            attachments: vec![file.clone()],
            details: serde_json::json!({"text": "a crack in the left fore"}),
        },
    });
    let report = device.ok(&["--json", "sync"]).json();
    assert_eq!(report["uploaded"], 1, "{report}");
    assert_eq!(device.ok(&["--json", "sync"]).json()["uploaded"], 0);
    let state = server.state.lock().expect("state");
    let at = |part: &str| state.seen.iter().position(|one| one.path.contains(part));
    assert!(at("/attachments") < at("/v1/events"));
    assert_eq!(state.attachments.len(), 1);
}

#[test]
fn a_file_comes_back_as_it_was_signed_or_not_at_all() {
    let (server, device) = joined();
    device.add_horse("Plover");
    let letter = "%PDF-1.7 a crack in the left fore";
    let paper = device.folder.path().join("letter.pdf");
    std::fs::write(&paper, letter).expect("written");
    let path = paper.to_str().expect("UTF-8");
    let args = [
        "--json",
        "record",
        "observation",
        "Plover",
        "--text",
        "a crack",
        "--photo",
        path,
    ];
    let id = device.ok(&args).json()["id"]
        .as_str()
        .expect("an id")
        .to_owned();
    device.ok(&["sync"]);
    // As on another device, which has the entry and not the file.
    std::fs::remove_dir_all(device.home().join("attachments")).expect("removed");
    let folder = device.folder.path().join("out");
    std::fs::create_dir(&folder).expect("a folder");
    let into = folder.to_str().expect("UTF-8");
    let files = ["--json", "files", &id, "--into", into];
    let serve = |file: &str| {
        let mut state = server.state.lock().expect("state");
        assert_eq!(state.attachments.len(), 1);
        for kept in state.attachments.values_mut() {
            file.clone_into(kept);
        }
    };

    serve("%PDF-1.7 a crack in the right fore");
    assert_eq!(device.run(&files).status, 5);
    assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), 0);

    serve(letter);
    let saved = device.ok(&files).json();
    let place = saved[0]["path"].as_str().expect("a path");
    assert_eq!(std::fs::read_to_string(place).expect("a file"), letter);
    std::fs::write(place, "mine").expect("written");
    assert_eq!(device.run(&files).status, 2);
    assert_eq!(std::fs::read_to_string(place).expect("a file"), "mine");
}
