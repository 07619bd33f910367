//! What a camera writes beside a picture stays with whoever took it: checked by Pillow and exifread, on photos that Pillow
//! wrote as phones do, from the field client through the server to somebody else's device.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use whorl_care::kind::{Kind, Role};
use whorl_contract::history::History;
use whorl_contract::path;
use whorl_tests::field::FieldDevice;
use whorl_tests::paddock::{self, to_horse};
use whorl_tests::python::judged;
use whorl_tests::{Person, on_both};

/// A photo as a phone or program writes it.
fn photo(name: &str) -> Vec<u8> {
    let made = judged("photos.py", json!({ "make": name }).to_string().as_bytes());
    STANDARD
        .decode(made.as_str().expect("text"))
        .expect("base64")
}

/// What others' libraries say of a photo before and after.
fn looked(first: &[u8], second: &[u8]) -> Value {
    let asked =
        json!({"look": {"first": STANDARD.encode(first), "second": STANDARD.encode(second)}});
    judged("photos.py", asked.to_string().as_bytes())
}

/// The hashes of the files that a horse's observations name, the latest first.
fn named(who: &Person, horse: whorl_care::ids::HorseId) -> Vec<String> {
    let history: History = who.get(&path::history(horse)).read();
    let entries = history
        .items
        .iter()
        .filter(|entry| entry.kind == Some(Kind::Observation));
    entries
        .flat_map(|entry| &entry.attachments)
        .map(|file| file.sha256.clone())
        .collect()
}

on_both!(no_photo_tells_where_it_was_taken, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
    let _ = paddock::grant(&wren, &tamsin, &to_horse(horse, Role::Vet));
    let phone = FieldDevice::join(&wren, &server.url());
    let id = horse.to_string();
    // Whether a decoder that knows nothing of turns must see the same: only PNG and JPEG readers are as simple as that.
    let photos = [
        "phone.jpg",
        "progressive.jpg",
        "printed.jpg",
        "scan.png",
        "turned.webp",
        "through.webp",
    ];
    for name in photos {
        let before = photo(name);
        let file = phone.file_of(name, &before);
        let args = [
            "record",
            "observation",
            &id,
            "--text",
            name,
            "--photo",
            &file,
        ];
        let (status, told) = phone.ask(&args);
        assert_eq!(status, 0, "{told}");
        let lines = told["warnings"].as_array().expect("a list");
        let line = format!("taken off the photo {name}: where it was taken");
        let said = lines
            .iter()
            .filter(|one| one.as_str().is_some_and(|one| one.starts_with(&line)));
        assert_eq!(said.count(), 1, "{told}");
        assert_eq!(phone.run(&["push"]).status.code(), Some(0));

        let hash = named(&wren, horse).remove(0);
        // Somebody else, from the server.
        let after = tamsin.get(&path::attachment(horse, &hash)).body;
        let seen = looked(&before, &after);
        assert!(
            seen["places_before"].as_u64() > Some(0),
            "{name} tells nothing: {seen}"
        );
        for field in ["same_coding", "same_upright", "same_profile", "same_grain"] {
            assert_eq!(seen[field], true, "{name}: {field}: {seen}");
        }
        assert_eq!(seen["turned"], seen["turned_before"], "{name}: {seen}");
        assert_eq!(
            (
                &seen["places"],
                &seen["canary"],
                &seen["xmp"],
                &seen["text"]
            ),
            (&json!(0), &json!(false), &json!(false), &json!([])),
            "{name}: {seen}"
        );
        let others = seen["tags"].as_array().expect("a list").iter();
        let others: Vec<&Value> = others
            .filter(|tag| *tag != "274" && *tag != "Image Orientation")
            .collect();
        assert!(others.is_empty(), "{name}: {seen}");
    }
});

on_both!(
    a_photo_stays_as_it_is_where_its_author_says_so_or_there_is_nothing_to_take_off,
    |server| {
        let wren = server.account("Wren");
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let phone = FieldDevice::join(&wren, &server.url());
        let id = horse.to_string();
        for (name, flag) in [("phone.jpg", Some("--photo-as-it-is")), ("plain.jpg", None)] {
            let before = photo(name);
            let file = phone.file_of(name, &before);
            let mut args = vec![
                "record",
                "observation",
                &id,
                "--text",
                "a crack",
                "--photo",
                &file,
            ];
            args.extend(flag);
            let (status, told) = phone.ask(&args);
            assert_eq!((status, &told["warnings"]), (0, &json!([])), "{told}");
            assert_eq!(phone.run(&["push"]).status.code(), Some(0));
            let hash = named(&wren, horse).remove(0);
            // An author's word for what a photo says of the place is worth as much as any other: the server keeps the very bytes.
            let after = wren.get(&path::attachment(horse, &hash)).body;
            let seen = looked(&before, &after);
            if flag.is_some() {
                assert!(after == before, "{seen}");
            } else {
                assert_eq!(
                    (&seen["same_coding"], &seen["turned"]),
                    (&json!(true), &json!(6)),
                    "{seen}"
                );
            }
        }
    }
);
