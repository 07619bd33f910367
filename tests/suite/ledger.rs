//! Pushing: what becomes of each event of a batch, and what is not taken.

use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_contract::event::SignedEvent;
use whorl_contract::key::{Salt, Signature};
use whorl_contract::note::Head;
use whorl_contract::path;
use whorl_contract::problem::Kind as Problem;
use whorl_contract::server::ServerInfo;
use whorl_contract::sync::{Outcome, Push, Pushed};
use whorl_tests::ledger::{
    accepted, heads, pull_all, push, push_one, push_texts, refusal, refused,
};
use whorl_tests::on_both;
use whorl_tests::pen::{Pen, raw};
use whorl_tests::person::new_key;
use whorl_tests::yard::Yard;

/// An event as the text that is pushed.
fn text(event: &SignedEvent) -> String {
    serde_json::to_string(event).expect("JSON")
}

fn outcomes(answer: &whorl_tests::Answer) -> Vec<Outcome> {
    answer.read::<Pushed>().outcomes
}

/// The pointers of a refusal.
fn pointers(outcome: Outcome) -> Vec<String> {
    let problem = refused(outcome);
    assert_eq!(problem.kind, Problem::Invalid, "{problem:?}");
    problem
        .errors
        .into_iter()
        .map(|fault| fault.pointer)
        .collect()
}

on_both!(each_event_of_a_batch_has_its_answer_in_order, |server| {
    let yard = Yard::open(server);
    let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
    let grant = yard.admit(&hand, horse, Role::BarnStaff);
    let before = Pen::of(&hand, Role::BarnStaff).weight(horse, 500.0).sign();
    let first = yard.pen().weight(horse, 501.0).sign();
    assert_eq!(accepted(&yard.owner, &first), 1);
    server.clock.advance(chrono::TimeDelta::seconds(60));
    yard.revoke(&grant);
    let mut forged = yard.pen().weight(horse, 502.0).sign();
    forged.signature.0[0] ^= 1;
    let new = yard.pen().weight(horse, 503.0).sign();

    let answers = push(&yard.owner, &[new, first, before, forged]);

    assert_eq!(answers[0], Outcome::Accepted { seq: 2 });
    assert_eq!(answers[1], Outcome::Known { seq: 1 });
    assert_eq!(answers[2], Outcome::Held);
    assert_eq!(refused(answers[3].clone()).kind, Problem::NotGenuine);
    assert_eq!(pull_all(&yard.owner, horse, 1000).events.len(), 2);
});

on_both!(one_malformed_event_does_not_stop_its_neighbours, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let good = |kg| text(&yard.pen().weight(horse, kg).sign());
    let no_envelope = json!({"envelope": 5, "content": {}, "salt": "x", "signature": "y"});
    let batch = [
        good(500.0),
        no_envelope.to_string(),
        "\"an event\"".into(),
        "null".into(),
        good(501.0),
    ];

    let answers = outcomes(&push_texts(&yard.owner, &batch));

    assert_eq!(answers[0], Outcome::Accepted { seq: 1 });
    for answer in &answers[1..4] {
        let kind = refused(answer.clone()).kind;
        assert!(
            matches!(kind, Problem::Invalid | Problem::Malformed),
            "{kind:?}"
        );
    }
    assert_eq!(answers[4], Outcome::Accepted { seq: 2 });
});

on_both!(a_year_that_no_database_holds_is_refused_alone, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let draft = || yard.pen().weight(horse, 500.0);
    let long_ago = draft().performed_at("-9999-01-01T00:00:00Z").sign();
    let far = draft().with(|envelope| {
        envelope.recorded_at = "+200000-01-01T00:00:00Z".parse().expect("an instant");
    });

    let answers = push(&yard.owner, &[long_ago, far.sign(), draft().sign()]);

    // An instant has four digits of a year, as RFC 3339 writes it.
    assert!(matches!(answers[0], Outcome::Refused { .. }), "{answers:?}");
    assert!(matches!(answers[1], Outcome::Refused { .. }), "{answers:?}");
    assert_eq!(answers[2], Outcome::Accepted { seq: 1 });
});

on_both!(the_same_id_with_another_body_is_refused, |server| {
    let yard = Yard::open(server);
    let (horse, other) = (yard.horse(), yard.horse());
    let draft = yard.pen().weight(horse, 500.0);
    assert_eq!(accepted(&yard.owner, &draft.sign()), 1);
    let again = draft.clone().note("on the scale").sign();
    let elsewhere = draft.clone().with(|envelope| envelope.horse_id = other);

    for changed in [again, elsewhere.sign()] {
        let problem = refusal(&yard.owner, &changed);
        assert_eq!(problem.kind, Problem::SameIdOtherBody);
        assert_eq!(problem.status, 409);
    }
    assert_eq!(heads(&yard.owner)[&horse].0, 1);
    assert_eq!(heads(&yard.owner)[&other].0, 0);
});

on_both!(the_same_body_in_another_spelling_is_known, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let event = yard.pen().weight(horse, 500.0).sign();
    assert_eq!(accepted(&yard.owner, &event), 1);
    let value: Value = serde_json::from_str(event.envelope.get()).expect("JSON");
    let spaced = serde_json::to_string_pretty(&value).expect("JSON");
    let spelled = SignedEvent {
        envelope: raw(spaced),
        ..event
    };

    assert_eq!(push_one(&yard.owner, &spelled), Outcome::Known { seq: 1 });
});

on_both!(an_event_twice_in_one_batch_enters_once, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let draft = yard.pen().weight(horse, 500.0);
    let other_body = draft.clone().note("again").sign();

    let answers = push(&yard.owner, &[draft.sign(), draft.sign(), other_body]);

    assert_eq!(answers[0], Outcome::Accepted { seq: 1 });
    // Each signing takes the same salt and makes the same bytes.
    assert_eq!(answers[1], Outcome::Known { seq: 1 });
    assert_eq!(refused(answers[2].clone()).kind, Problem::SameIdOtherBody);
    assert_eq!(heads(&yard.owner)[&horse].0, 1);
});

on_both!(a_thousand_events_are_taken_and_one_more_is_not, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let mut batch: Vec<SignedEvent> = (0..1001)
        .map(|n| pen.weight(horse, 400.0 + f64::from(n) / 10.0).sign())
        .collect();

    let answer = yard.owner.post(
        path::EVENTS,
        &Push {
            events: batch.clone(),
        },
    );
    assert_eq!(answer.status, 422);
    assert_eq!(answer.problem().errors[0].pointer, "/events");
    assert_eq!(heads(&yard.owner)[&horse].0, 0);

    batch.pop();
    let places: Vec<Outcome> = (1..=1000).map(|seq| Outcome::Accepted { seq }).collect();
    assert_eq!(push(&yard.owner, &batch), places);
    assert_eq!(pull_all(&yard.owner, horse, 300).events.len(), 1000);
    let known: Vec<Outcome> = (1..=1000).map(|seq| Outcome::Known { seq }).collect();
    assert_eq!(push(&yard.owner, &batch), known);
    assert!(push(&yard.owner, &[]).is_empty());
});

on_both!(every_flipped_byte_of_a_signature_is_found, |server| {
    let yard = Yard::open(server);
    let event = yard.pen().weight(yard.horse(), 500.0).sign();
    let flipped: Vec<SignedEvent> = (0..64)
        .map(|at| {
            let mut signature = event.signature.0;
            signature[at] ^= 0x10;
            SignedEvent {
                signature: Signature(signature),
                ..event.clone()
            }
        })
        .collect();

    for answer in push(&yard.owner, &flipped) {
        assert_eq!(refused(answer).kind, Problem::NotGenuine);
    }
    assert_eq!(accepted(&yard.owner, &event), 1);
});

on_both!(only_the_authors_own_device_signs, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let other = server.device_account("Tam Brisling");
    let own = |key| Pen::new(yard.owner.account(), yard.owner.device(), key);
    let with_other_key = own(new_key()).weight(horse, 500.0).sign();
    let unknown_device = yard
        .pen()
        .weight(horse, 500.0)
        .with(|envelope| envelope.device_id = DeviceId(Uuid::now_v7()))
        .sign();
    let others_device = Pen::new(
        yard.owner.account(),
        other.device(),
        other.key.clone().expect("a key"),
    );
    let as_other = yard
        .pen()
        .weight(horse, 500.0)
        .with(|envelope| envelope.author_id = other.account())
        .sign();

    let cases = [
        (with_other_key, Problem::NotGenuine),
        (unknown_device, Problem::DeviceRefused),
        (
            others_device.weight(horse, 500.0).sign(),
            Problem::DeviceRefused,
        ),
        (as_other, Problem::DeviceRefused),
    ];
    for (event, kind) in cases {
        assert_eq!(refusal(&yard.owner, &event).kind, kind);
    }
    assert_eq!(heads(&yard.owner)[&horse].0, 0);
});

on_both!(a_revoked_device_signs_no_more, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let lost = yard.owner.elsewhere(true);
    let pen = Pen::of(&lost, Role::Owner);
    assert_eq!(accepted(&lost, &pen.weight(horse, 500.0).sign()), 1);

    let answer = yard.owner.delete(&path::device(lost.device()));
    assert_eq!(answer.status, 204, "{answer:?}");

    let late = pen.weight(horse, 501.0).sign();
    assert_eq!(refusal(&yard.owner, &late).kind, Problem::DeviceRefused);
    let body = Push { events: vec![late] };
    assert_eq!(lost.post(path::EVENTS, &body).status, 401);
    // What it signed before stays, and still verifies.
    assert_eq!(pull_all(&yard.owner, horse, 10).events.len(), 1);
});

on_both!(
    a_content_other_than_the_one_committed_to_is_refused,
    |server| {
        let yard = Yard::open(server);
        let (horse, pen) = (yard.horse(), yard.pen());
        let event = pen.weight(horse, 500.0).sign();
        let heavier = event.content.get().replace("500", "600");
        let mut salt = event.salt.0;
        salt[31] ^= 1;
        let other_salt = SignedEvent {
            salt: Salt(salt),
            ..event.clone()
        };
        let other_content = SignedEvent {
            content: raw(heavier),
            ..event
        };

        for changed in [other_content, other_salt] {
            let problem = refusal(&yard.owner, &changed);
            assert_eq!(problem.kind, Problem::NotGenuine);
            let detail = problem.detail.unwrap_or_default();
            assert!(detail.contains("content_hash"), "{detail}");
        }
    }
);

on_both!(
    what_two_readers_could_take_differently_is_refused,
    |server| {
        let yard = Yard::open(server);
        let event = text(&yard.pen().weight(yard.horse(), 500.0).sign());
        let changed = |from: &str, to: &str| {
            assert!(event.contains(from), "{from} in {event}");
            event.replacen(from, to, 1)
        };
        let cases = [
            // A key twice, an integer beyond 2^53, in the envelope …
            (
                changed("\"vocabulary\":1", "\"vocabulary\":1,\"vocabulary\":1"),
                "/envelope",
            ),
            (
                changed("\"vocabulary\":1", "\"vocabulary\":9007199254740993"),
                "/envelope",
            ),
            // … and in the content.
            (
                changed("\"weight_kg\":500", "\"weight_kg\":500,\"weight_kg\":500"),
                "/content",
            ),
            (
                changed("\"weight_kg\":500", "\"weight_kg\":9007199254740993"),
                "/content",
            ),
            (
                changed(
                    "\"weight_kg\":500",
                    "\"weight_kg\":123456789012345678901234567890",
                ),
                "/content",
            ),
        ];
        for (event, pointer) in cases {
            let answer = outcomes(&push_texts(&yard.owner, std::slice::from_ref(&event))).remove(0);
            assert_eq!(pointers(answer), [pointer], "{event}");
        }
        let twice = event.replacen("{\"envelope\"", "{\"salt\":\"\",\"envelope\"", 1);
        let answer = outcomes(&push_texts(&yard.owner, &[twice])).remove(0);
        assert_eq!(refused(answer).kind, Problem::Invalid);
    }
);

on_both!(an_unknown_field_is_refused_with_its_pointer, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let draft = pen.weight(horse, 500.0);
    let envelope = draft.clone().with(|envelope| {
        envelope.other.insert("weather".into(), json!("fog"));
    });
    let mut content = serde_json::to_value(&draft.content).expect("JSON");
    content["weather"] = json!("fog");
    let mut details = draft.content.details.clone();
    details["weather"] = json!("fog");
    let details = draft.clone().details(details);
    let outside = text(&draft.sign()).replacen("{\"envelope\"", "{\"weather\":1,\"envelope\"", 1);

    assert_eq!(
        pointers(push_one(&yard.owner, &envelope.sign())),
        ["/envelope/weather"]
    );
    assert_eq!(
        pointers(push_one(&yard.owner, &draft.sign_over(&content))),
        ["/content/weather"]
    );
    assert_eq!(
        pointers(push_one(&yard.owner, &details.sign())),
        ["/content/details/weather"]
    );
    let answer = outcomes(&push_texts(&yard.owner, &[outside])).remove(0);
    assert!(
        refused(answer)
            .errors
            .iter()
            .any(|fault| fault.detail.contains("weather"))
    );
    assert_eq!(heads(&yard.owner)[&horse].0, 0);
});

on_both!(an_events_frame_must_be_right, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let draft = || pen.weight(horse, 500.0);
    let someone = EventId(Uuid::now_v7());
    let cases = [
        (
            draft().with(|envelope| envelope.id = EventId(Uuid::from_u128(7))),
            "/envelope/id",
        ),
        (
            draft().with(|envelope| envelope.vocabulary = 2),
            "/envelope/vocabulary",
        ),
        (draft().about(someone), "/envelope/target_id"),
        (pen.draft(horse, Kind::Retraction), "/envelope/target_id"),
        (draft().note(&"neigh".repeat(801)), "/content/note"),
        (
            draft().details(json!({"weight_kg": -3.0, "method": "scale"})),
            "/content/details/weight_kg",
        ),
    ];
    for (draft, pointer) in cases {
        assert_eq!(pointers(push_one(&yard.owner, &draft.sign())), [pointer]);
    }
});

on_both!(what_has_not_come_yet_is_refused, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let at = |performed: &str, recorded: &str| {
        let recorded: chrono::DateTime<chrono::FixedOffset> = recorded.parse().expect("an instant");
        pen.weight(horse, 500.0)
            .performed_at(performed)
            .recorded_at(recorded)
            .sign()
    };
    // The server's clock shows 2027-03-04T14:20:00Z; another's may be a day ahead.
    let soon = at("2027-03-05T14:00:00Z", "2027-03-05T14:00:00Z");
    assert_eq!(accepted(&yard.owner, &soon), 1);
    let tomorrow = at("2027-03-06T14:00:00Z", "2027-03-04T14:20:00Z");
    assert_eq!(
        pointers(push_one(&yard.owner, &tomorrow)),
        ["/envelope/performed_at"]
    );
    let fast_clock = at("2027-03-04T14:00:00Z", "2027-03-06T14:00:00Z");
    assert_eq!(
        pointers(push_one(&yard.owner, &fast_clock)),
        ["/envelope/recorded_at"]
    );
});

on_both!(nothing_is_recorded_before_the_horse_was_foaled, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    // The example was foaled on 2017-04-19.
    let identity = pen.draft(horse, Kind::Identity).sign();
    let before = pen
        .weight(horse, 50.0)
        .performed_at("2017-04-18T12:00:00Z")
        .sign();
    let on_the_day = pen
        .weight(horse, 50.0)
        .performed_at("2017-04-19T12:00:00Z")
        .sign();

    // In one batch: what came first in it counts already.
    let answers = push(&yard.owner, &[identity, before, on_the_day]);

    assert_eq!(answers[0], Outcome::Accepted { seq: 1 });
    assert_eq!(pointers(answers[1].clone()), ["/envelope/performed_at"]);
    assert_eq!(answers[2], Outcome::Accepted { seq: 2 });
});

on_both!(a_stranger_learns_nothing_from_refusals, |server| {
    let yard = Yard::open(server);
    let (horse, stranger) = (yard.horse(), server.device_account("Orla Vance"));
    let identity = yard.pen().draft(horse, Kind::Identity);
    assert_eq!(accepted(&yard.owner, &identity.sign()), 1);
    let pen = Pen::of(&stranger, Role::Owner);
    let (there, nowhere) = (horse, HorseId(Uuid::now_v7()));
    let each = |horse: HorseId| {
        [
            pen.weight(horse, 500.0).sign(),
            pen.weight(horse, 500.0)
                .performed_at("2001-01-01T00:00:00Z")
                .sign(),
            pen.draft(horse, Kind::Retraction)
                .about(identity.id())
                .sign(),
            pen.draft(horse, Kind::Retraction)
                .about(EventId(Uuid::now_v7()))
                .sign(),
        ]
    };

    let about_there = push(&stranger, &each(there));
    let about_nowhere = push(&stranger, &each(nowhere));

    assert_eq!(about_there, about_nowhere);
    for answer in about_there {
        assert_eq!(refused(answer).kind, Problem::NoGrant);
    }
});

on_both!(a_hidden_event_is_no_target, |server| {
    let yard = Yard::open(server);
    let (horse, farrier) = (yard.horse(), server.device_account("Idris Fenn"));
    let _ = yard.admit_to(&farrier, horse, Role::Farrier, Some(vec![Kind::Weight]));
    let hidden = yard.pen().draft(horse, Kind::Movement);
    assert_eq!(accepted(&yard.owner, &hidden.sign()), 1);
    let pen = Pen::of(&farrier, Role::Farrier);
    let about = |target| pen.draft(horse, Kind::Countersign).about(target).sign();

    let of_hidden = refusal(&farrier, &about(hidden.id()));
    let of_nothing = refusal(&farrier, &about(EventId(Uuid::now_v7())));

    assert_eq!(of_hidden, of_nothing);
});

on_both!(a_push_answers_with_signed_heads, |server| {
    let yard = Yard::open(server);
    let (one, two) = (yard.horse(), yard.horse());
    let info: ServerInfo = server.anonymous().get(path::SERVER).read();
    let events = vec![
        yard.pen().weight(one, 500.0).sign(),
        yard.pen().weight(two, 501.0).sign(),
        yard.pen().weight(one, 502.0).sign(),
    ];

    let pushed: Pushed = yard.owner.post(path::EVENTS, &Push { events }).read();

    assert_eq!(pushed.epoch, info.epoch);
    let now = heads(&yard.owner);
    assert_eq!(pushed.heads.len(), 2);
    for signed in &pushed.heads {
        let head = Head::verify(&signed.note, &info.key).expect("the server's signature");
        assert_eq!(head.horse_id, signed.horse_id);
        assert_eq!((head.seq, head.head), now[&signed.horse_id]);
        assert_eq!(head.epoch, info.epoch);
        assert_eq!(head.server, info.name);
    }
    assert_eq!(now[&one].0, 2);
});
