//! Notices: who is told of what without having asked, and who isn't.

use chrono::TimeDelta;
use serde_json::{Value, json};
use whorl_care::ids::{EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::notice::{State, Topic};
use whorl_contract::event::SignedEvent;
use whorl_contract::notice::{MarkRead, Notice, Unread};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::sync::{HeldDecision, Outcome};
use whorl_tests::ledger::{accepted, push, push_one};
use whorl_tests::pen::Pen;
use whorl_tests::yard::Yard;
use whorl_tests::{Browser, Caller, Person, TestServer, on_both};

fn notices(who: &Caller) -> Vec<Notice> {
    who.get(path::NOTICES).read::<Page<Notice>>().items
}

fn unread(who: &Caller) -> Vec<Notice> {
    let only = format!("{}?unread=true", path::NOTICES);
    who.get(&only).read::<Page<Notice>>().items
}

fn mark(who: &Caller, notice: Option<&Notice>, until: &Notice) -> usize {
    let asked = MarkRead {
        notice_id: notice.map(|one| one.id),
        until: until.changed_at,
    };
    who.post(path::NOTICES_READ, &asked).read::<Unread>().unread
}

/// A nail in the left fore: a red flag by the rules.
fn nail() -> Value {
    json!({"feet": {"LF": {"findings": [{"finding": "puncture", "severity": 3, "region": "frog"}]}}})
}

/// A yard with everybody who may or may not be told, and a horse called Plover.
struct Scene {
    yard: Yard,
    horse: HorseId,
    /// Sees all.
    vet: Person,
    /// Sees hooves and is no vet.
    farrier: Person,
    /// Records what is seen.
    hand: Person,
}

impl Scene {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse_who_is(json!({"name": "Plover", "foaled_on": "2016"}));
        let [vet, farrier, hand] =
            ["Senna Quill", "Idris Fenn", "Tam Brisling"].map(|name| server.device_account(name));
        let _ = yard.admit(&vet, horse, Role::Vet);
        let hooves = Some(vec![Kind::HoofCare, Kind::HoofCheck]);
        let _ = yard.admit_to(&farrier, horse, Role::Farrier, hooves);
        let _ = yard.admit(&hand, horse, Role::BarnStaff);
        Self {
            yard,
            horse,
            vet,
            farrier,
            hand,
        }
    }

    fn seen(&self, kind: Kind, details: Value) -> whorl_tests::pen::Draft {
        Pen::of(&self.hand, Role::BarnStaff)
            .draft(self.horse, kind)
            .performed_at("2027-03-04T08:00:00+00:00")
            .details(details)
    }

    fn about(&self, kind: Kind, target: EventId, details: Value) -> SignedEvent {
        Pen::of(&self.hand, Role::BarnStaff)
            .draft(self.horse, kind)
            .about(target)
            .details(details)
            .sign()
    }
}

on_both!(a_red_flag_reaches_vet_and_owner_and_nobody_else, |server| {
    let scene = Scene::on(server);
    let (elsewhere, hooves_only) = (
        server.device_account("Orla Vance"),
        server.device_account("Bram Oduya"),
    );
    let _ = scene.yard.admit_to(
        &hooves_only,
        scene.horse,
        Role::Vet,
        Some(vec![Kind::HoofCheck]),
    );
    let check = scene.seen(Kind::HoofCheck, nail());

    let _ = accepted(&scene.hand, &check.sign());

    for who in [&scene.yard.owner, &scene.vet, &hooves_only] {
        let [notice] = notices(who).try_into().expect("one notice");
        assert_eq!(
            (notice.horse.as_deref(), notice.event_id, notice.kind),
            (Some("Plover"), check.id(), Kind::HoofCheck)
        );
        assert_eq!(
            (notice.topic, notice.state, notice.urgent),
            (Topic::Hoof, State::Raised, true)
        );
        assert!(notice.text[0].starts_with("LF puncture: "), "{notice:?}");
        assert!(notice.text[0].contains("vet"), "{notice:?}");
        assert_eq!(
            (notice.by.as_deref(), notice.role),
            (Some("Tam Brisling"), Some(Role::BarnStaff))
        );
        assert_eq!((notice.read_at, notice.raised_at), (None, server.now()));
    }
    for who in [&scene.hand, &scene.farrier, &elsewhere] {
        assert_eq!(notices(who), []);
    }

    // A fever is sealed for the vet whose grant covers hooves alone.
    let fever = scene.seen(Kind::Vitals, json!({"temperature_c": 39.9}));
    let _ = accepted(&scene.hand, &fever.sign());

    assert_eq!(notices(&scene.vet).len(), 2);
    assert_eq!(notices(&hooves_only).len(), 1);
    let text = hooves_only.get(path::NOTICES).text();
    assert!(!text.contains("39.9") && !text.contains(&fever.id().to_string()));
});

on_both!(each_of_the_topics_is_told_and_nothing_else, |server| {
    let scene = Scene::on(server);
    let strangles = json!({"diseases": ["strangles"], "severity": 2});
    let reaction = |severity: u8| json!({"signs": ["hives"], "severity": severity});
    for (kind, details, topic) in [
        (
            Kind::Vitals,
            json!({"temperature_c": 37.9, "pulse_bpm": 38}),
            None,
        ),
        (
            Kind::Vitals,
            json!({"temperature_c": 38.9}),
            Some(Topic::Vitals),
        ),
        (Kind::Vitals, json!({"pulse_bpm": 72}), Some(Topic::Vitals)),
        (Kind::Observation, strangles, Some(Topic::Disease)),
        (Kind::AdverseReaction, reaction(1), None),
        (Kind::AdverseReaction, reaction(4), Some(Topic::Reaction)),
        (
            Kind::Weight,
            json!({"weight_kg": 480.0, "method": "scale"}),
            None,
        ),
    ] {
        let entry = scene.seen(kind, details.clone());
        let _ = accepted(&scene.hand, &entry.sign());
        let about = notices(&scene.vet)
            .into_iter()
            .find(|one| one.event_id == entry.id());
        assert_eq!(about.as_ref().map(|one| one.topic), topic, "{details}");
        assert!(about.is_none_or(|one| !one.text.is_empty()));
    }
});

on_both!(what_was_seen_long_ago_calls_nobody, |server| {
    let scene = Scene::on(server);
    let long_ago = scene
        .seen(Kind::HoofCheck, nail())
        .performed_at("2027-01-20T08:00:00+00:00");
    let lately = scene
        .seen(Kind::HoofCheck, nail())
        .performed_at("2027-02-20T08:00:00+00:00");
    let pushed = push(&scene.hand, &[long_ago.sign(), lately.sign()]);
    assert!(
        pushed
            .iter()
            .all(|one| matches!(one, Outcome::Accepted { .. }))
    );
    let told: Vec<EventId> = notices(&scene.vet).iter().map(|one| one.event_id).collect();
    assert_eq!(told, [lately.id()]);
});

on_both!(pushing_again_tells_nobody_twice, |server| {
    let scene = Scene::on(server);
    let check = scene.seen(Kind::HoofCheck, nail()).sign();
    let twice = push(&scene.hand, &[check.clone(), check.clone()]);
    assert!(matches!(
        twice[..],
        [Outcome::Accepted { .. }, Outcome::Known { .. }]
    ));
    let [notice] = notices(&scene.vet).try_into().expect("one notice");
    assert_eq!(mark(&scene.vet, Some(&notice), &notice), 0);

    assert!(matches!(
        push_one(&scene.hand, &check),
        Outcome::Known { .. }
    ));

    let [again] = notices(&scene.vet).try_into().expect("one notice");
    assert_eq!((again.id, again.read_at), (notice.id, Some(server.now())));
});

on_both!(a_correction_withdraws_or_changes_what_was_said, |server| {
    let scene = Scene::on(server);
    let fever = scene.seen(Kind::Vitals, json!({"temperature_c": 39.9}));
    let _ = accepted(&scene.hand, &fever.sign());
    let first = notices(&scene.vet).remove(0);
    assert_eq!(mark(&scene.vet, None, &first), 0);
    server.clock.advance(TimeDelta::minutes(2));

    let amend = |c: f64, reason: &str| {
        let details = json!({"reason": reason, "details": {"temperature_c": c}});
        accepted(
            &scene.hand,
            &scene.about(Kind::Amendment, fever.id(), details),
        )
    };
    let _ = amend(38.9, "misread the thermometer");
    let [changed] = unread(&scene.vet).try_into().expect("one notice");
    assert_eq!((changed.id, changed.state), (first.id, State::Changed));
    assert_eq!(changed.reason.as_deref(), Some("misread the thermometer"));
    assert!(changed.text[0].contains("38.9"), "{changed:?}");
    assert!(changed.urgent && changed.changed_at == server.now());
    assert_eq!(
        mark(&scene.vet, None, &first),
        1,
        "it changed since it was seen"
    );
    assert_eq!(mark(&scene.vet, None, &changed), 0);

    server.clock.advance(TimeDelta::minutes(2));
    let _ = amend(37.9, "wrong again");
    let [withdrawn] = unread(&scene.vet).try_into().expect("one notice");
    assert_eq!(
        (withdrawn.state, withdrawn.urgent),
        (State::Withdrawn, false)
    );
    assert_eq!(withdrawn.reason.as_deref(), Some("wrong again"));
    assert!(
        withdrawn.text[0].contains("39.9"),
        "what it had said: {withdrawn:?}"
    );

    server.clock.advance(TimeDelta::minutes(2));
    let _ = amend(40.2, "it was a fever after all");
    let [back] = unread(&scene.vet).try_into().expect("one notice");
    assert_eq!((back.id, back.state), (first.id, State::Changed));
    let retraction = json!({"reason": "another horse"});
    let _ = accepted(
        &scene.hand,
        &scene.about(Kind::Retraction, fever.id(), retraction),
    );
    let [gone] = unread(&scene.vet).try_into().expect("one notice");
    assert_eq!(
        (gone.state, gone.reason.as_deref()),
        (State::Withdrawn, Some("another horse"))
    );
});

on_both!(
    what_an_entry_is_corrected_to_in_the_same_push_is_what_is_told,
    |server| {
        let scene = Scene::on(server);
        let (mistaken, harmless) = (
            scene.seen(Kind::Vitals, json!({"temperature_c": 39.9})),
            scene.seen(Kind::Vitals, json!({"temperature_c": 37.8})),
        );
        let amended = |c: f64| json!({"reason": "misread", "details": {"temperature_c": c}});
        let outcomes = push(
            &scene.hand,
            &[
                mistaken.sign(),
                scene.about(Kind::Amendment, mistaken.id(), amended(37.9)),
                harmless.sign(),
            ],
        );
        assert_eq!(outcomes.len(), 3);
        assert_eq!(notices(&scene.vet), []);

        let _ = accepted(
            &scene.hand,
            &scene.about(Kind::Amendment, harmless.id(), amended(39.1)),
        );
        let [told] = notices(&scene.vet).try_into().expect("one notice");
        assert_eq!((told.event_id, told.state), (harmless.id(), State::Raised));
    }
);

on_both!(a_notice_goes_with_the_grant_and_with_the_sale, |server| {
    let scene = Scene::on(server);
    let partner = server.device_account("Bram Oduya");
    let grant = scene.yard.admit(&partner, scene.horse, Role::Owner);
    let check = scene.seen(Kind::HoofCheck, nail());
    let _ = accepted(&scene.hand, &check.sign());
    assert_eq!(notices(&partner).len(), 1);

    scene.yard.revoke(&grant);
    assert_eq!(notices(&partner), []);

    let buyer = Yard::of(server.device_account("Orla Vance"));
    sell(&scene.yard, scene.horse, &buyer);
    for who in [&scene.yard.owner, &scene.vet, &buyer.owner] {
        assert_eq!(
            notices(who),
            [],
            "told before the sale, or not theirs to know then"
        );
    }
    // The seller may read what was, and hears no more of it; the buyer hears what comes.
    let fever = buyer
        .pen()
        .draft(scene.horse, Kind::Vitals)
        .performed_at("2027-03-04T08:00:00+00:00")
        .details(json!({"temperature_c": 39.9}));
    let _ = buyer.admit(&scene.hand, scene.horse, Role::BarnStaff);
    let _ = accepted(&buyer.owner, &fever.sign());
    assert_eq!(notices(&buyer.owner), [], "their own entry");
    assert_eq!(notices(&scene.yard.owner), []);
    let again = scene.seen(Kind::Vitals, json!({"temperature_c": 39.8}));
    let _ = accepted(&scene.hand, &again.sign());
    assert_eq!(notices(&buyer.owner).len(), 1);
});

/// Sells a horse.
fn sell(yard: &Yard, horse: HorseId, buyer: &Yard) {
    use whorl_contract::transfer::Transfer;
    let offer = json!({"to_email": buyer.owner.email, "password": yard.owner.password});
    let offered: Transfer = yard
        .owner
        .post(&path::horse_transfers(horse), &offer)
        .read();
    let taken = buyer.owner.post(
        &path::transfer_accept(offered.id),
        &json!({"barn_id": buyer.barn, "password": buyer.owner.password}),
    );
    assert!(taken.status < 300, "{taken:?}");
}

on_both!(an_owner_is_told_that_a_record_waits, |server| {
    let yard = Yard::open(server);
    let (horse, hand) = (yard.horse(), server.device_account("Tam Brisling"));
    let (partner, vet) = (
        server.device_account("Bram Oduya"),
        server.device_account("Senna Quill"),
    );
    let _ = yard.admit(&partner, horse, Role::Owner);
    let _ = yard.admit(&vet, horse, Role::Vet);
    let grant = yard.admit(&hand, horse, Role::BarnStaff);
    server.clock.advance(TimeDelta::minutes(1));
    let fever = Pen::of(&hand, Role::BarnStaff)
        .draft(horse, Kind::Vitals)
        .performed_at("2027-03-04T08:00:00+00:00")
        .details(json!({"temperature_c": 39.9}))
        .recorded_at(server.now());
    server.clock.advance(TimeDelta::minutes(1));
    yard.revoke(&grant);
    server.clock.advance(TimeDelta::minutes(1));

    for _ in 0..2 {
        assert_eq!(push_one(&hand, &fever.sign()), Outcome::Held);
    }

    for who in [&yard.owner, &partner] {
        let [waits] = notices(who).try_into().expect("one notice");
        assert_eq!(
            (waits.topic, waits.by.as_deref()),
            (Topic::Held, Some("Tam Brisling"))
        );
        assert!(!who.get(path::NOTICES).text().contains("39.9"));
    }
    assert_eq!(notices(&vet), [], "it is in no log yet");

    let decision = HeldDecision { accept: true };
    let outcome: Outcome = yard.owner.post(&path::held(fever.id()), &decision).read();
    assert!(matches!(outcome, Outcome::Accepted { .. }), "{outcome:?}");

    let topics = |who: &Caller| -> Vec<(Topic, State)> {
        let mut all: Vec<_> = unread(who)
            .iter()
            .map(|one| (one.topic, one.state))
            .collect();
        all.sort();
        all
    };
    assert_eq!(topics(&vet), [(Topic::Vitals, State::Raised)]);
    assert_eq!(topics(&yard.owner), [(Topic::Vitals, State::Raised)]);
    assert_eq!(
        topics(&partner),
        [
            (Topic::Vitals, State::Raised),
            (Topic::Held, State::Settled)
        ]
    );
});

on_both!(the_list_is_paged_and_marked_by_its_reader_alone, |server| {
    let scene = Scene::on(server);
    let mut ids = Vec::new();
    for minute in 0..5 {
        let at = format!("2027-03-04T08:0{minute}:00+00:00");
        let fever = scene
            .seen(Kind::Vitals, json!({"temperature_c": 39.9}))
            .performed_at(&at);
        let _ = accepted(&scene.hand, &fever.sign());
        ids.push(fever.id());
        server.clock.advance(TimeDelta::minutes(1));
    }
    let all = notices(&scene.vet);
    let order: Vec<EventId> = all.iter().map(|one| one.event_id).collect();
    assert_eq!(
        order,
        ids.iter().rev().copied().collect::<Vec<_>>(),
        "the latest first"
    );

    assert_eq!(mark(&scene.vet, Some(&all[0]), &all[0]), 4);
    let mut pages: Vec<EventId> = Vec::new();
    let mut cursor = String::new();
    loop {
        let page: Page<Notice> = scene
            .vet
            .get(&format!("{}?limit=2{cursor}", path::NOTICES))
            .read();
        assert!(page.items.len() <= 2);
        pages.extend(page.items.iter().map(|one| one.event_id));
        let Some(next) = page.next_cursor else { break };
        cursor = format!("&cursor={next}");
    }
    assert_eq!(
        pages,
        [ids[3], ids[2], ids[1], ids[0], ids[4]],
        "what is unread first"
    );

    let owners = notices(&scene.yard.owner);
    assert!(owners.iter().all(|one| one.read_at.is_none()));
    let theirs = MarkRead {
        notice_id: Some(all[1].id),
        until: server.now(),
    };
    assert_eq!(
        scene.yard.owner.post(path::NOTICES_READ, &theirs).status,
        404
    );
    assert_eq!(mark(&scene.vet, None, &all[2]), 1, "all up to the third");
    let odd = scene.vet.get(&format!("{}?cursor=5", path::NOTICES));
    assert_eq!(odd.problem().status, 422);
});

on_both!(a_barns_vet_is_told_unless_the_horse_is_exempt, |server| {
    use whorl_tests::paddock::to_barn;
    let scene = Scene::on(server);
    let locum = server.device_account("Orla Vance");
    let other = scene.yard.horse();
    let _ = scene
        .yard
        .invite(&locum, &to_barn(scene.yard.barn, Role::Vet));
    let found = |horse: HorseId| {
        let entry = scene
            .yard
            .pen()
            .draft(horse, Kind::HoofCheck)
            .performed_at("2027-03-04T08:00:00+00:00")
            .details(nail())
            .provenance(Provenance::Recorded);
        let _ = accepted(&scene.yard.owner, &entry.sign());
        entry.id()
    };
    let (first, second) = (found(scene.horse), found(other));
    let told: Vec<EventId> = notices(&locum).iter().map(|one| one.event_id).collect();
    assert!(told.contains(&first) && told.contains(&second), "{told:?}");
    assert_eq!(notices(&scene.yard.owner), [], "their own entries");
});

on_both!(the_page_shows_what_is_unread_and_marks_it, |server| {
    let scene = Scene::on(server);
    let browser = Browser::of(server, &scene.vet);
    let calm = browser.get("/notices").text();
    assert!(calm.contains("Nothing is unread"), "{calm}");
    let check = scene.seen(Kind::HoofCheck, nail());
    let _ = accepted(&scene.hand, &check.sign());
    server.clock.advance(TimeDelta::minutes(1));

    let counted = "1<span class=\"unseen\"> unread</span>";
    assert!(browser.get("/").text().contains(counted));
    let page = browser.get("/notices").text();
    assert!(
        page.contains("LF puncture") && page.contains("Plover"),
        "{page}"
    );
    let [notice] = notices(&scene.vet).try_into().expect("one notice");
    let until = notice.changed_at.to_rfc3339();
    let fields = [("notice", &*notice.id.to_string()), ("until", &until)];
    let refused = browser.post("/notices", &fields);
    assert_eq!(refused.status, 403, "a form that isn't ours");
    assert_eq!(unread(&scene.vet).len(), 1);

    let marked = browser.submit("/notices", "/notices", &fields);

    assert_eq!(marked.status, 303, "{marked:?}");
    assert_eq!(unread(&scene.vet), []);
    assert!(!browser.get("/").text().contains(counted));
});

on_both!(
    of_an_erased_entry_it_tells_that_and_why_and_no_more,
    |server| {
        let scene = Scene::on(server);
        let check = scene.seen(Kind::HoofCheck, nail());
        let _ = accepted(&scene.hand, &check.sign());
        let [told] = notices(&scene.vet).try_into().expect("one notice");
        assert!(
            !told.text.iter().any(|text| text.contains("erased")),
            "{told:?}"
        );

        let gone = scene.yard.pen().draft(scene.horse, Kind::Erasure);
        let gone = gone
            .about(check.id())
            .details(json!({"reason": "It named a neighbour."}));
        let _ = accepted(&scene.yard.owner, &gone.sign());

        let [left] = notices(&scene.vet).try_into().expect("one notice");
        assert_ne!(left.text, told.text);
        assert!(left.text[1].contains("erased"), "{left:?}");
        assert_eq!(left.reason.as_deref(), Some("It named a neighbour."));
        assert_eq!(
            left.state,
            State::Raised,
            "nobody says that it no longer holds"
        );
    }
);
