//! Bundles: what an owner hands on, checked by the client's code and by somebody else's.

use serde_json::{Value, json};
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::bundle::{Report, Shown, verify};
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::server::ServerInfo;
use whorl_contract::transfer::Transfer;
use whorl_tests::demo::whorl;
use whorl_tests::ledger::accepted;
use whorl_tests::paddock::new_id;
use whorl_tests::pen::Pen;
use whorl_tests::python::judged;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Answer, Person, TestServer, on_both};

use crate::looks_absent;

/// A log with identity, two weights of which one is amended, a lameness exam that the vet withdrew, and a vaccination
/// that was transcribed and countersigned.
pub(crate) struct Log {
    pub(crate) yard: Yard,
    pub(crate) horse: HorseId,
    pub(crate) vet: Person,
}

/// The number of events in it.
pub(crate) const EVENTS: usize = 8;

impl Log {
    pub(crate) fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
        let _ = yard.admit(&vet, horse, Role::Vet);
        license(&vet, Role::Vet);
        let (own, doctor) = (yard.pen(), Pen::of(&vet, Role::Vet));
        let name = own
            .draft(horse, Kind::Identity)
            .details(json!({"name": "Plover", "sex": "mare"}));
        let light = own
            .weight(horse, 431.0)
            .performed_at("2025-02-01T08:00:00+00:00");
        let wrong = own.weight(horse, 980.0).note("before breakfast");
        let right =
            json!({"reason": "Read pounds.", "details": {"weight_kg": 444.5, "method": "scale"}});
        let exam = doctor.draft(horse, Kind::LamenessExam);
        let shot = own
            .draft(horse, Kind::Vaccination)
            .provenance(Provenance::Transcribed);
        for (who, event) in [
            (&yard.owner, name.sign()),
            (&yard.owner, light.sign()),
            (&yard.owner, wrong.sign()),
            (
                &yard.owner,
                own.draft(horse, Kind::Amendment)
                    .about(wrong.id())
                    .details(right)
                    .sign(),
            ),
            (&vet, exam.sign()),
            (&yard.owner, shot.sign()),
            (
                &vet,
                doctor
                    .draft(horse, Kind::Countersign)
                    .about(shot.id())
                    .sign(),
            ),
            (
                &vet,
                doctor
                    .draft(horse, Kind::Retraction)
                    .about(exam.id())
                    .sign(),
            ),
        ] {
            let _ = accepted(who, &event);
        }
        Self { yard, horse, vet }
    }
}

fn export(who: &Person, horse: HorseId, body: &Value) -> Answer {
    who.post(&path::bundle(horse), body)
}

fn sound(answer: &Answer) -> Report {
    assert_eq!(answer.status, 200, "{answer:?}");
    let report = verify(&answer.body, None).expect("a bundle");
    assert!(report.verified, "{:?}", report.faults);
    report
}

/// Checks the file with Python's `cryptography` and `hashlib`; answers its counts.
fn checked_elsewhere(bytes: &[u8]) -> Value {
    judged("bundle_check.py", bytes)
}

on_both!(a_whole_bundle_is_what_the_log_says, |server| {
    let log = Log::on(server);
    let answer = export(&log.yard.owner, log.horse, &json!({}));
    let report = sound(&answer);

    assert_eq!(report.entries, EVENTS);
    assert_eq!(report.horse.as_deref(), Some("Plover"));
    assert_eq!(
        (report.exported_by.as_str(), report.exported_at),
        ("Maren Oduya", server.now())
    );
    assert_eq!(report.withheld.words(), None);
    let info: ServerInfo = server.anonymous().get(path::SERVER).read();
    assert_eq!((report.server_key, report.epoch), (info.key, info.epoch));
    assert!(
        verify(&answer.body, Some(&info.key))
            .expect("a bundle")
            .verified
    );
    let vet = report
        .authors
        .iter()
        .find(|one| one.role == "vet")
        .expect("the vet");
    assert_eq!(
        (vet.name.as_str(), vet.licences_in_words().as_str()),
        ("Senna Quill", "SV-20418 (GB; paper not seen)")
    );
    let disposition = answer.header("content-disposition").expect("a name");
    assert!(disposition.contains(&format!("history-{}.whorl.json", log.horse)));
    assert_eq!(
        checked_elsewhere(&answer.body),
        json!({"whole": 8, "content_withheld": 0, "leaf_only": 0})
    );
});

on_both!(what_is_sealed_takes_along_what_is_about_it, |server| {
    let log = Log::on(server);
    let shown = |body: &Value| -> Vec<Shown> {
        let answer = export(&log.yard.owner, log.horse, body);
        let text = answer.text();
        assert!(
            !text.contains("before breakfast") || !body.to_string().contains("weight"),
            "{text}"
        );
        sound(&answer).log.iter().map(|line| line.shown).collect()
    };
    let (whole, back, leaf) = (Shown::Whole, Shown::ContentWithheld, Shown::LeafOnly);

    let weights = json!({"seal": {"kinds": ["weight"]}});
    assert_eq!(
        shown(&weights),
        [whole, back, back, back, whole, whole, whole, whole]
    );
    let early = json!({"seal": {"before": "2026-01-01"}});
    assert_eq!(
        shown(&early),
        [whole, back, whole, whole, whole, whole, whole, whole]
    );
    let both = json!({"seal": {"kinds": ["vaccination", "lameness_exam"], "before": "2026-01-01", "leaf_only": true}});
    assert_eq!(
        shown(&both),
        [whole, leaf, whole, whole, leaf, leaf, leaf, leaf]
    );
    let answer = export(&log.yard.owner, log.horse, &both);
    for hidden in [
        "lameness",
        "Senna",
        "vaccination",
        "countersign",
        "retraction",
        "\"weight_kg\":431",
    ] {
        assert!(!answer.text().contains(hidden), "{hidden}");
    }
    assert_eq!(
        checked_elsewhere(&answer.body),
        json!({"whole": 3, "content_withheld": 0, "leaf_only": 5})
    );
    let all = json!({"seal": {"after": "1999-12-31"}});
    assert_eq!(shown(&all), [back; EVENTS]);
});

on_both!(a_correction_cannot_be_sealed_by_itself, |server| {
    let log = Log::on(server);
    for kind in ["amendment", "retraction", "countersign"] {
        let refused = export(
            &log.yard.owner,
            log.horse,
            &json!({"seal": {"kinds": ["weight", kind]}}),
        );
        assert_eq!(refused.problem().errors[0].pointer, "/seal/kinds/1");
    }
    for wrong in [
        json!({"seal": {"kinds": ["levitation"]}}),
        json!({"sael": {}}),
        json!({"seal": {"before": "soon"}}),
    ] {
        assert_eq!(
            export(&log.yard.owner, log.horse, &wrong).status,
            422,
            "{wrong}"
        );
    }
});

on_both!(only_an_owner_hands_a_history_on, |server| {
    let log = Log::on(server);
    let stranger = server.device_account("Orla Vance");
    let refused = export(&log.vet, log.horse, &json!({}));
    assert_eq!(
        (refused.status, refused.problem().kind),
        (403, ProblemKind::Forbidden)
    );
    looks_absent(
        &export(&stranger, log.horse, &json!({})),
        &export(&stranger, new_id(), &json!({})),
    );
});

on_both!(
    after_a_sale_the_buyers_bundle_holds_the_log_from_before,
    |server| {
        let log = Log::on(server);
        let buyer = Yard::of(server.device_account("Perran Vale"));
        let before = export(&log.yard.owner, log.horse, &json!({}));
        let offer = json!({"to_email": buyer.owner.email, "password": log.yard.owner.password});
        let offered: Transfer = log
            .yard
            .owner
            .post(&path::horse_transfers(log.horse), &offer)
            .read();
        let acceptance = json!({"barn_id": buyer.barn, "password": buyer.owner.password});
        let _: Transfer = buyer
            .owner
            .post(&path::transfer_accept(offered.id), &acceptance)
            .read();
        let _ = accepted(&buyer.owner, &buyer.pen().weight(log.horse, 451.0).sign());

        let after = export(&buyer.owner, log.horse, &json!({}));
        let report = sound(&after);
        assert_eq!(
            (report.entries, report.exported_by.as_str()),
            (EVENTS + 1, "Perran Vale")
        );
        let events = |answer: &Answer| {
            answer.read::<Value>()["events"]
                .as_array()
                .expect("events")
                .clone()
        };
        assert_eq!(events(&before), events(&after)[..EVENTS]);
        assert_eq!(checked_elsewhere(&after.body)["whole"], EVENTS + 1);
        assert_eq!(export(&log.yard.owner, log.horse, &json!({})).status, 403);
    }
);

on_both!(a_client_exports_checks_and_shares, |server| {
    // The client goes by the real clock, so the server does too.
    server
        .clock
        .advance(whorl_cli::clock::now().to_utc() - server.now());
    let folder = tempfile::tempdir().expect("a folder");
    let (home, nobody) = (folder.path().join("maren"), folder.path().join("nobody"));
    let password = "samphire grows by the slipway";
    let run = |args: &[&str]| {
        let (status, out, err) = whorl(&home, Some(password), args);
        assert_eq!(status, 0, "{args:?}: {out}{err}");
        out
    };
    let (url, file) = (server.url(), folder.path().join("plover.whorl.json"));
    let out = file.to_str().expect("a path").to_owned();
    run(&[
        "join",
        &url,
        "--email",
        "maren@saltmarsh.example",
        "--name",
        "Maren Oduya",
    ]);
    run(&[
        "barn",
        "add",
        "Saltmarsh Yard",
        "--time-zone",
        "Europe/London",
        "--region",
        "gb",
    ]);
    run(&["horse", "add", "Plover", "--barn", "Saltmarsh Yard"]);
    run(&["sync"]);
    run(&[
        "record", "weight", "Plover", "--weight", "431kg", "--method", "scale",
    ]);
    run(&["sync"]);
    let told = run(&["export", "Plover", "--out", &out, "--seal", "weight"]);
    assert!(
        told.contains("withheld: the content of 1 entry (1 weight;"),
        "{told}"
    );
    let (status, ..) = whorl(&home, None, &["export", "Plover", "--out", &out]);
    assert_eq!(status, 2, "a file is never written over");

    // Whoever has the file needs neither a folder nor the server.
    let info: ServerInfo = server.anonymous().get(path::SERVER).read();
    server.stop();
    let (status, told, _) = whorl(
        &nobody,
        None,
        &["verify", &out, "--server-key", &info.key.to_string()],
    );
    assert_eq!(status, 0, "{told}");
    for said in [
        "VERIFIED: the history of Plover",
        "Maren Oduya",
        "Withheld: the content of 1 entry",
        "Not proven:",
    ] {
        assert!(told.contains(said), "{said} in {told}");
    }
    let (status, report, _) = whorl(&nobody, None, &["verify", &out, "--json"]);
    let report: Report = serde_json::from_str(&report).expect("a report");
    assert!(status == 0 && report.verified && !report.key_was_given);
    let other = whorl_contract::key::SecretKey::from_seed(&[1; 32])
        .public()
        .to_string();
    assert_eq!(
        whorl(&nobody, None, &["verify", &out, "--server-key", &other]).0,
        5
    );
    let sound = std::fs::read_to_string(&file).expect("the file");
    for (changed, status) in [
        (sound.replace("Maren Oduya", "Maren Oduye"), 5),
        (sound[..sound.len() - 2].to_owned(), 5),
        (format!("{sound}\n"), 5),
        ("%PDF-1.7".to_owned(), 2),
    ] {
        std::fs::write(&file, changed).expect("written");
        let (got, told, err) = whorl(&nobody, None, &["verify", &out]);
        assert_eq!(got, status, "{told}{err}");
        assert!(!told.contains("VERIFIED:"), "{told}");
    }
    assert_eq!(whorl(&nobody, None, &["verify", "/nowhere/at/all"]).0, 2);
    assert!(
        !nobody.exists(),
        "nothing is made for somebody who only looks"
    );

    server.restart();
    let told = run(&[
        "share",
        "Plover",
        "--days",
        "30",
        "--seal",
        "weight",
        "--label",
        "for Perran",
    ]);
    let link = told
        .lines()
        .find(|line| line.starts_with(&url))
        .expect("the link");
    let answer = server
        .anonymous()
        .get(&format!("/v1{}", &link[url.len()..]));
    assert_eq!(answer.status, 200);
    let listed = run(&["shares", "Plover", "--json"]);
    let listed: Value = serde_json::from_str(&listed).expect("JSON");
    assert_eq!(
        (&listed[0]["views"], &listed[0]["label"]),
        (&json!(1), &json!("for Perran"))
    );
    run(&[
        "unshare",
        "Plover",
        listed[0]["id"].as_str().expect("an id"),
    ]);
    assert_eq!(
        server
            .anonymous()
            .get(&format!("/v1{}", &link[url.len()..]))
            .status,
        404
    );
    assert!(run(&["shares", "Plover"]).contains("ended"));
});
