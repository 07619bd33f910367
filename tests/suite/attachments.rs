//! Attachments: what is taken, what comes back, and for whom.

use std::fmt::Write as _;

use reqwest::Method;
use serde_json::json;
use sha2::{Digest, Sha256};
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::attachment::{Attachment, LARGEST};
use whorl_contract::event::AttachmentRef;
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::transfer::Transfer;
use whorl_tests::paddock::{self, Record, enter, new_id, to_horse};
use whorl_tests::{Answer, Person, on_both};

use crate::looks_absent;

const JPEG: &[u8] = b"\xff\xd8\xff\xe0\x00\x10JFIF of a hoof";
const PDF: &[u8] = b"%PDF-1.7 of a passport";

fn bring(person: &Person, horse: HorseId, media_type: &str, bytes: &[u8]) -> Answer {
    let request = person
        .request(Method::POST, &path::attachments(horse))
        .header("content-type", media_type)
        .body(bytes.to_vec());
    person.send(request)
}

fn sha256(bytes: &[u8]) -> String {
    let mut text = String::new();
    for byte in Sha256::digest(bytes) {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

fn named(bytes: &[u8], media_type: &str) -> AttachmentRef {
    AttachmentRef {
        sha256: sha256(bytes),
        media_type: media_type.to_owned(),
        bytes: u64::try_from(bytes.len()).expect("few"),
        caption: None,
    }
}

on_both!(what_is_brought_comes_back_byte_by_byte, |server| {
    let wren = server.account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;

    let first = bring(&wren, horse, "image/jpeg", JPEG);
    assert_eq!(first.status, 201);
    let brought: Attachment = first.read();
    assert_eq!(brought.sha256, sha256(JPEG));
    assert_eq!(
        (brought.bytes, brought.uploaded_by),
        (JPEG.len() as u64, wren.account())
    );
    let second = bring(&wren, horse, "image/jpeg; charset=binary", JPEG);
    assert_eq!(
        (second.status, second.read::<Attachment>()),
        (200, brought.clone())
    );

    let page = path::attachment(horse, &brought.sha256);
    let back = wren.get(&page);
    assert_eq!((back.status, back.body.as_slice()), (200, JPEG));
    assert_eq!(back.header("content-type"), Some("image/jpeg"));
    assert_eq!(back.header("x-content-type-options"), Some("nosniff"));
    let disposition = format!("attachment; filename=\"{}.jpeg\"", brought.sha256);
    assert_eq!(
        back.header("content-disposition"),
        Some(disposition.as_str())
    );
    assert_eq!(back.header("cache-control"), Some("private, no-cache"));
    let etag = back.header("etag").expect("an ETag");
    assert_eq!(etag, format!("\"{}\"", brought.sha256));
    let request = wren
        .request(Method::GET, &page)
        .header("if-none-match", etag);
    let known = wren.send(request);
    assert_eq!((known.status, known.body.len()), (304, 0));
});

on_both!(what_is_not_what_it_claims_is_not_taken, |server| {
    let wren = server.account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
    let cases: [(&str, &[u8]); 7] = [
        ("image/png", JPEG),
        ("application/pdf", JPEG),
        ("image/jpeg", b""),
        ("image/jpeg", b"<html><script>alert(1)</script></html>"),
        (
            "image/svg+xml",
            b"<svg xmlns=\"http://www.w3.org/2000/svg\"/>",
        ),
        ("text/html", b"<html></html>"),
        ("application/json", b"{}"),
    ];
    for (media_type, bytes) in cases {
        let answer = bring(&wren, horse, media_type, bytes);
        assert_eq!(answer.status, 415, "{media_type}");
        assert_eq!(answer.problem().kind, ProblemKind::UnsupportedMediaType);
    }
});

on_both!(sixteen_mebibytes_are_taken_and_no_byte_more, |server| {
    let wren = server.account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
    let mut large = JPEG.to_vec();
    large.resize(LARGEST, 0);

    assert_eq!(bring(&wren, horse, "image/jpeg", &large).status, 201);
    let back = wren.get(&path::attachment(horse, &sha256(&large)));
    assert!(back.body == large, "the bytes differ");
    large.push(0);
    let refused = bring(&wren, horse, "image/jpeg", &large);
    assert_eq!(
        (refused.status, refused.problem().kind),
        (413, ProblemKind::TooLarge)
    );
});

on_both!(an_attachment_is_hidden_with_its_horse, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let (horse, other) = (
        paddock::horse(&wren, barn.id).id,
        paddock::horse(&wren, barn.id).id,
    );
    let absent: HorseId = new_id();
    assert_eq!(bring(&wren, horse, "application/pdf", PDF).status, 201);
    let hash = sha256(PDF);

    looks_absent(
        &tamsin.get(&path::attachment(horse, &hash)),
        &tamsin.get(&path::attachment(absent, &hash)),
    );
    looks_absent(
        &bring(&tamsin, horse, "application/pdf", PDF),
        &bring(&tamsin, absent, "application/pdf", PDF),
    );
    assert_eq!(
        wren.get(&path::attachment(other, &hash)).status,
        404,
        "it is the other horse's"
    );
    for odd in [hash.to_uppercase(), "%25".to_owned(), "0".repeat(64)] {
        assert_eq!(
            wren.get(&path::attachment(horse, &odd)).status,
            404,
            "{odd}"
        );
    }
    assert_eq!(
        server
            .anonymous()
            .get(&path::attachment(horse, &hash))
            .status,
        401
    );
});

on_both!(
    a_limit_to_some_kinds_holds_for_their_attachments,
    |server| {
        let (wren, idris) = (server.device_account("Wren"), server.account("Idris"));
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let mut limited = to_horse(horse, Role::BarnStaff);
        limited.kinds = Some(vec![Kind::Weight]);
        let _ = paddock::grant(&wren, &idris, &limited);
        for (media_type, bytes) in [("image/jpeg", JPEG), ("application/pdf", PDF)] {
            assert_eq!(bring(&wren, horse, media_type, bytes).status, 201);
        }
        let mut weight = Record::weight(horse, Role::Owner);
        weight.attachments = vec![named(JPEG, "image/jpeg")];
        enter(server, &wren, &weight);
        let mut score = Record::new(
            horse,
            Role::Owner,
            Kind::BodyCondition,
            json!({"score": 5.0}),
        );
        score.attachments = vec![named(PDF, "application/pdf")];
        enter(server, &wren, &score);

        assert_eq!(
            idris.get(&path::attachment(horse, &sha256(JPEG))).status,
            200
        );
        assert_eq!(
            idris.get(&path::attachment(horse, &sha256(PDF))).status,
            404
        );
        let own = b"\x89PNG\r\n\x1a\n of a scale";
        assert_eq!(bring(&idris, horse, "image/png", own).status, 201);
        assert_eq!(
            idris.get(&path::attachment(horse, &sha256(own))).status,
            200
        );
    }
);

on_both!(
    a_seller_keeps_the_attachments_of_what_they_could_see,
    |server| {
        let (wren, odile) = (
            server.device_account("Wren"),
            server.device_account("Odile"),
        );
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let heronsgate = paddock::barn(&odile, "Heronsgate");
        let with = |bytes: &[u8], media_type| {
            let mut weight = Record::weight(horse, Role::Owner);
            weight.attachments = vec![named(bytes, media_type)];
            weight
        };
        assert_eq!(bring(&wren, horse, "image/jpeg", JPEG).status, 201);
        enter(server, &wren, &with(JPEG, "image/jpeg"));
        let new = json!({"to_email": odile.email, "password": wren.password});
        let offered: Transfer = wren.post(&path::horse_transfers(horse), &new).read();
        let taking = json!({"barn_id": heronsgate.id, "password": odile.password});
        assert_eq!(
            odile
                .post(&path::transfer_accept(offered.id), &taking)
                .status,
            200
        );
        assert_eq!(bring(&odile, horse, "application/pdf", PDF).status, 201);
        enter(server, &odile, &with(PDF, "application/pdf"));

        assert_eq!(
            wren.get(&path::attachment(horse, &sha256(JPEG))).status,
            200
        );
        assert_eq!(wren.get(&path::attachment(horse, &sha256(PDF))).status, 404);
        assert_eq!(
            odile.get(&path::attachment(horse, &sha256(JPEG))).status,
            200
        );
        let refused = bring(&wren, horse, "image/jpeg", JPEG);
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, ProblemKind::Forbidden)
        );
    }
);
