//! Erasing what an entry says: it goes for good, and everything that is left still verifies.

use reqwest::Method;
use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::bundle::verify;
use whorl_contract::due::HorseDue;
use whorl_contract::event::AttachmentRef;
use whorl_contract::history::{History, Standing};
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::recall::Recall;
use whorl_contract::sync::Outcome;
use whorl_http::upkeep;
use whorl_tests::ledger::{accepted, pull_all, push_one, refusal};
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, on_both};

/// What must be found nowhere afterwards.
const CANARY: &str = "the neighbour's boy left the gate open";

/// A file that only the erased entry names.
const PHOTO: &[u8] = b"\xff\xd8\xff\xe0\x00\x10JFIF of a gate left open";

fn history(who: &Person, horse: HorseId) -> History {
    who.get(&format!("{}?retracted=true", path::history(horse)))
        .read()
}

/// A dose with a lot, a note that names somebody, and a photo; amended once.
fn told(horse: HorseId, vet: &Person) -> (Draft, Draft) {
    let request = vet
        .request(Method::POST, &path::attachments(horse))
        .header("content-type", "image/jpeg")
        .body(PHOTO.to_vec());
    let file: whorl_contract::attachment::Attachment = vet.send(request).read();
    let doctor = Pen::of(vet, Role::Vet);
    let mut dose = doctor
        .draft(horse, Kind::Vaccination)
        .details(json!({"targets": ["tetanus"], "product": "Tidevax T", "lot_number": "T-4417", "expiration_date": "2028-01-31"}))
        .note(CANARY);
    dose.content.attachments = vec![AttachmentRef {
        sha256: file.sha256,
        media_type: file.media_type,
        bytes: file.bytes,
        caption: None,
    }];
    let amended = doctor.draft(horse, Kind::Amendment).about(dose.id()).details(json!({
        "reason": format!("The lot was read wrongly; {CANARY}."),
        "details": {"targets": ["tetanus"], "product": "Tidevax T", "lot_number": "T-4418", "expiration_date": "2028-01-31"}
    }));
    let _ = accepted(vet, &dose.sign());
    let _ = accepted(vet, &amended.sign());
    (dose, amended)
}

fn erasure(pen: &Pen, horse: HorseId, of: &Draft) -> Draft {
    pen.draft(horse, Kind::Erasure)
        .about(of.id())
        .details(json!({"reason": "It told of somebody who asked for that to go."}))
}

on_both!(
    what_an_entry_says_goes_for_good_and_the_rest_verifies,
    |server| {
        let yard = Yard::open(server);
        let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
        let _ = yard.admit(&vet, horse, Role::Vet);
        license(&vet, Role::Vet);
        let (dose, amended) = told(horse, &vet);
        let photo = dose.content.attachments[0].sha256.clone();
        let recall = |lot: &str| -> Recall {
            yard.owner
                .get(&format!("{}?lot={lot}", path::RECALL))
                .read()
        };
        assert_eq!(recall("T-4418").items.len(), 1);
        assert_eq!(recall("T-4418").horses_partly_searched, 0);
        let photo_at = path::attachment(horse, &photo);
        assert_eq!(yard.owner.get(&photo_at).status, 200);

        let gone = erasure(&yard.pen(), horse, &dose).sign();
        assert_eq!(accepted(&yard.owner, &gone), 3);

        let copy = pull_all(&vet, horse, 10);
        let contents: Vec<bool> = copy
            .events
            .iter()
            .map(|event| event.content.is_some())
            .collect();
        assert_eq!(contents, [false, false, true]);
        assert!(copy.events.iter().all(|event| event.envelope.is_some()));
        let entries = history(&yard.owner, horse).items;
        assert_eq!(entries.len(), 1);
        assert_eq!(entries[0].standing, Standing::Erased);
        assert_eq!((&entries[0].details, &entries[0].note), (&None, &None));
        assert!(
            entries[0]
                .reason
                .as_deref()
                .is_some_and(|why| why.contains("asked for that"))
        );
        assert!(recall("T-4417").items.is_empty() && recall("T-4418").items.is_empty());
        assert_eq!(recall("T-4418").horses_partly_searched, 1);
        assert_eq!(yard.owner.get(&photo_at).status, 404);

        // A device that sends it once more hears that it is there, and brings nothing back.
        for (who, event) in [
            (&vet, dose.sign()),
            (&vet, amended.sign()),
            (&yard.owner, gone),
        ] {
            assert!(matches!(push_one(who, &event), Outcome::Known { .. }));
        }
        assert_eq!(history(&yard.owner, horse).items, entries);
        // Nothing more can be said about it.
        let doctor = Pen::of(&vet, Role::Vet);
        for kind in [Kind::Amendment, Kind::Retraction] {
            let more = doctor.draft(horse, kind).about(dose.id());
            assert!(
                refusal(&vet, &more.sign()).errors[0]
                    .detail
                    .contains("was erased")
            );
        }

        let bundle = yard.owner.post(&path::bundle(horse), &json!({})).body;
        let report = verify(&bundle, None).expect("a bundle");
        assert!(report.verified, "{report:?}");
        assert_eq!((report.withheld.content, report.withheld.erased), (2, 2));
        assert!(
            report
                .withheld
                .words()
                .is_some_and(|said| said.contains("2 of them were erased"))
        );
        let answers = [
            yard.owner.get(&path::log(horse, 0, 10)).text(),
            yard.owner.get(&path::history(horse)).text(),
        ];
        assert!(answers.iter().all(|answer| !answer.contains(CANARY)));
        server.stop();
        let found = upkeep::verify(server.database_url(), &mut |_| {}).expect("sound");
        assert_eq!((found.events, found.erased), (3, 2));
        for file in std::fs::read_dir(server.folder())
            .expect("a folder")
            .flatten()
        {
            let bytes = std::fs::read(file.path()).expect("a file");
            let there = bytes
                .windows(CANARY.len())
                .any(|part| part == CANARY.as_bytes());
            assert!(!there, "{}", file.path().display());
        }
    }
);

on_both!(only_an_owner_erases_and_an_erasure_stays, |server| {
    let yard = Yard::open(server);
    let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
    let _ = yard.admit(&vet, horse, Role::Vet);
    license(&vet, Role::Vet);
    let doctor = Pen::of(&vet, Role::Vet);
    let exam = doctor.draft(horse, Kind::LamenessExam);
    let _ = accepted(&vet, &exam.sign());

    let own = erasure(&doctor, horse, &exam).provenance(Provenance::Recorded);
    let problem = refusal(&vet, &own.sign());
    assert_eq!(problem.kind, ProblemKind::PolicyRefuses);
    assert_eq!(problem.policy_row.as_deref(), Some("erasure"));

    let gone = erasure(&yard.pen(), horse, &exam);
    let _ = accepted(&yard.owner, &gone.sign());
    let back = yard.pen().draft(horse, Kind::Retraction).about(gone.id());
    assert_eq!(
        refusal(&yard.owner, &back.sign()).errors[0].pointer,
        "/envelope/target_id"
    );
});

on_both!(
    in_one_batch_with_what_it_erases_it_leaves_nothing,
    |server| {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let weight = yard.pen().weight(horse, 500.0).note(CANARY);
        let gone = erasure(&yard.pen(), horse, &weight);
        let outcomes = whorl_tests::ledger::push(&yard.owner, &[weight.sign(), gone.sign()]);
        assert_eq!(
            outcomes,
            [Outcome::Accepted { seq: 1 }, Outcome::Accepted { seq: 2 }]
        );
        assert!(pull_all(&yard.owner, horse, 10).events[0].content.is_none());
    }
);

on_both!(
    what_rests_on_an_erased_entry_is_said_to_be_unknown,
    |server| {
        let yard = Yard::open(server);
        let (horse, vet) = (yard.horse(), server.device_account("Senna Quill"));
        let _ = yard.admit(&vet, horse, Role::Vet);
        license(&vet, Role::Vet);
        let doctor = Pen::of(&vet, Role::Vet);
        let worming = doctor.draft(horse, Kind::Deworming);
        let _ = accepted(&vet, &worming.sign());
        let due = || -> HorseDue { yard.owner.get(&path::horse_due(horse)).read() };
        assert!(
            due()
                .warnings
                .iter()
                .all(|warning| warning.code != "erased")
        );

        let _ = accepted(&yard.owner, &erasure(&yard.pen(), horse, &worming).sign());
        let said = due().warnings;
        let erased = said.iter().find(|warning| warning.code == "erased");
        assert!(
            erased.is_some_and(|warning| warning.text.contains("deworming")),
            "{said:?}"
        );
    }
);
