//! Links by which a history can be read: who may make one, what it shows, and when it ends.

use chrono::TimeDelta;
use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::ids::{HorseId, ShareId};
use whorl_care::kind::Role;
use whorl_contract::bundle::verify;
use whorl_contract::note::Head;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::share::{Share, SharedHistory};
use whorl_contract::transfer::Transfer;
use whorl_tests::alone;
use whorl_tests::paddock::new_id;
use whorl_tests::yard::Yard;
use whorl_tests::{Answer, Database, Person, TestServer, on_both};

use crate::bundles::{EVENTS, Log};
use crate::{looks_absent, looks_alike};

fn make(who: &Person, horse: HorseId, body: &Value) -> Answer {
    who.post(&path::shares(horse), body)
}

fn share(who: &Person, horse: HorseId, body: &Value) -> (Share, String) {
    let made = make(who, horse, body);
    assert_eq!(made.status, 201, "{made:?}");
    let share: Share = made.read();
    let url = share.url.clone().expect("a link");
    let (_, token) = url.rsplit_once("/shared/").expect("a secret");
    let token = token.to_owned();
    (share, token)
}

fn listed(who: &Person, horse: HorseId) -> Vec<Share> {
    let page: Page<Share> = who.get(&path::shares(horse)).read();
    page.items
}

/// The ways in: the history, the bundle and the paper.
fn ways(token: &str) -> [String; 3] {
    [
        path::shared(token),
        path::shared_bundle(token),
        path::shared_pdf(token),
    ]
}

fn is_private(answer: &Answer) {
    assert_eq!(answer.header("x-robots-tag"), Some("noindex, nofollow"));
    assert_eq!(answer.header("cache-control"), Some("no-store"));
    assert_eq!(answer.header("referrer-policy"), Some("no-referrer"));
}

on_both!(whoever_has_the_link_reads_the_history, |server| {
    let log = Log::on(server);
    let (made, token) = share(
        &log.yard.owner,
        log.horse,
        &json!({"days": 30, "label": "for Perran"}),
    );
    assert_eq!(made.expires_at, server.now() + TimeDelta::days(30));
    assert!(token.len() >= 32 && made.qr_svg.expect("a code").starts_with("<svg"));
    assert_eq!(made.url, Some(format!("{}/shared/{token}", server.url())));

    let reader = server.anonymous();
    let answer = reader.get(&path::shared(&token));
    is_private(&answer);
    assert!(
        !answer.text().contains("for Perran"),
        "the label is the owner's own"
    );
    let history: SharedHistory = answer.read();
    assert_eq!(history.horse.name.as_deref(), Some("Plover"));
    assert_eq!(
        (history.shared_by.as_str(), history.seq),
        ("Maren Oduya", 8)
    );
    // The identity, both weights and the vaccination; the exam was withdrawn.
    assert_eq!((history.items.len(), history.withdrawn), (4, 1));
    assert_eq!(history.withheld.words(), None);
    let head = Head::verify(&history.note, &history.server_key).expect("a note");
    assert_eq!((head.seq, head.head), (history.seq, history.head));
    let amended = history
        .items
        .iter()
        .find(|entry| !entry.amended_by.is_empty())
        .expect("one");
    assert_eq!(
        amended.details.as_ref().expect("details")["weight_kg"],
        json!(444.5)
    );
    server.clock.advance(TimeDelta::minutes(5));
    let bundle = reader.get(&path::shared_bundle(&token));
    is_private(&bundle);
    let report = verify(&bundle.body, Some(&history.server_key)).expect("a bundle");
    assert!(report.verified && report.entries == EVENTS);

    let seen = &listed(&log.yard.owner, log.horse)[0];
    assert_eq!((seen.views, seen.last_seen_at), (2, Some(server.now())));
    assert_eq!(
        (seen.label.as_deref(), &seen.url, &seen.qr_svg),
        (Some("for Perran"), &None, &None)
    );
});

on_both!(what_is_sealed_stays_back, |server| {
    let log = Log::on(server);
    let seal = json!({"kinds": ["weight", "identity"]});
    let (_, token) = share(
        &log.yard.owner,
        log.horse,
        &json!({"days": 1, "seal": seal}),
    );
    let answer = server.anonymous().get(&path::shared(&token));
    let history: SharedHistory = answer.read();
    for hidden in [
        "Plover",
        "\"weight_kg\":4",
        "\"weight_kg\":9",
        "before breakfast",
        "Read pounds",
    ] {
        assert!(!answer.text().contains(hidden), "{hidden}");
    }
    assert_eq!(history.items.iter().filter(|entry| entry.sealed).count(), 3);
    let bundle = server.anonymous().get(&path::shared_bundle(&token));
    let report = verify(&bundle.body, None).expect("a bundle");
    assert!(
        report.verified && report.withheld == history.withheld,
        "{report:?}"
    );
    assert_eq!(history.withheld.content, 4);

    let seal = json!({"kinds": ["weight"], "leaf_only": true});
    let (_, token) = share(
        &log.yard.owner,
        log.horse,
        &json!({"days": 1, "seal": seal}),
    );
    let answer = server.anonymous().get(&path::shared(&token));
    let history: SharedHistory = answer.read();
    assert!(!answer.text().contains("\"weight\""), "{answer:?}");
    assert_eq!((history.items.len(), history.withheld.leaf_only), (2, 3));
});

on_both!(
    an_unknown_a_revoked_and_an_expired_link_look_alike,
    |server| {
        let log = Log::on(server);
        let owner = &log.yard.owner;
        let (revoked, first) = share(owner, log.horse, &json!({"days": 90}));
        let (_, second) = share(owner, log.horse, &json!({"days": 1}));
        for _ in 0..2 {
            assert_eq!(
                owner.delete(&path::share(log.horse, revoked.id)).status,
                204
            );
        }
        let reader = server.anonymous();
        assert_eq!(reader.get(&path::shared(&second)).status, 200);
        server.clock.advance(TimeDelta::days(1));
        let unknown = ways("kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi");
        for ended in [
            ways(&first),
            ways(&second),
            ways("x"),
            ways(&first.to_uppercase()),
        ] {
            for (way, nowhere) in ended.iter().zip(&unknown) {
                let (gone, nowhere) = (reader.get(way), reader.get(nowhere));
                looks_absent(&gone, &nowhere);
                is_private(&gone);
            }
        }
    }
);

on_both!(only_an_owner_shares_and_only_for_a_while, |server| {
    let log = Log::on(server);
    let (owner, vet) = (&log.yard.owner, &log.vet);
    let stranger = server.device_account("Orla Vance");
    let (made, _) = share(owner, log.horse, &json!({"days": 1}));
    for wrong in [
        json!({"days": 0}),
        json!({"days": 91}),
        json!({}),
        json!({"days": 1, "label": " "}),
    ] {
        assert_eq!(make(owner, log.horse, &wrong).status, 422, "{wrong}");
    }
    let sealed = json!({"days": 1, "seal": {"kinds": ["retraction"]}});
    assert_eq!(
        make(owner, log.horse, &sealed).problem().errors[0].pointer,
        "/seal/kinds/0"
    );
    let body = json!({"days": 1});
    let refused = make(vet, log.horse, &body);
    for answer in [
        &refused,
        &vet.get(&path::shares(log.horse)),
        &vet.delete(&path::share(log.horse, made.id)),
    ] {
        assert_eq!(
            (answer.status, answer.problem().kind),
            (403, ProblemKind::Forbidden)
        );
    }
    let (nowhere, nothing): (HorseId, ShareId) = (new_id(), new_id());
    looks_absent(
        &make(&stranger, log.horse, &body),
        &make(&stranger, nowhere, &body),
    );
    looks_absent(
        &stranger.get(&path::shares(log.horse)),
        &stranger.get(&path::shares(nowhere)),
    );
    let there = stranger.delete(&path::share(log.horse, made.id));
    looks_absent(&there, &stranger.delete(&path::share(nowhere, nothing)));
    assert_eq!(owner.delete(&path::share(log.horse, nothing)).status, 404);
});

on_both!(a_link_ends_with_its_makers_ownership, |server| {
    let log = Log::on(server);
    let (owner, friend) = (&log.yard.owner, server.device_account("Tamsin Roe"));
    let grant = log.yard.admit(&friend, log.horse, Role::Owner);
    let (_, theirs) = share(&friend, log.horse, &json!({"days": 9}));
    let (_, own) = share(owner, log.horse, &json!({"days": 9}));
    let reader = server.anonymous();
    assert_eq!(listed(owner, log.horse).len(), 2);
    assert_eq!(reader.get(&path::shared(&theirs)).status, 200);
    log.yard.revoke(&grant);
    for way in ways(&theirs) {
        assert_eq!(reader.get(&way).status, 404);
    }
    assert_eq!(listed(owner, log.horse).len(), 1);
    assert_eq!(reader.get(&path::shared(&own)).status, 200);

    let buyer = Yard::of(server.device_account("Perran Vale"));
    let sell = |from: &Yard, to: &Yard| {
        let offer = json!({"to_email": to.owner.email, "password": from.owner.password});
        let offered: Transfer = from
            .owner
            .post(&path::horse_transfers(log.horse), &offer)
            .read();
        let acceptance = json!({"barn_id": to.barn, "password": to.owner.password});
        let _: Transfer = to
            .owner
            .post(&path::transfer_accept(offered.id), &acceptance)
            .read();
    };
    sell(&log.yard, &buyer);
    looks_alike(
        &reader.get(&path::shared(&own)),
        &reader.get(&path::shared(&theirs)),
    );
    assert_eq!(reader.get(&path::shared(&own)).status, 404);
    assert_eq!(listed(&buyer.owner, log.horse), []);
    // Whoever buys the horse back begins anew.
    server.clock.advance(TimeDelta::minutes(1));
    sell(&buyer, &log.yard);
    assert_eq!(reader.get(&path::shared(&own)).status, 404);
});

on_both!(
    a_link_that_ended_with_its_makers_ownership_stays_ended,
    |server| {
        let log = Log::on(server);
        let (owner, friend) = (&log.yard.owner, server.device_account("Tamsin Roe"));
        let grant = log.yard.admit(&friend, log.horse, Role::Owner);
        let (_, before) = share(&friend, log.horse, &json!({"days": 9}));
        server.clock.advance(TimeDelta::minutes(1));
        log.yard.revoke(&grant);
        let ended_at = server.now();
        server.clock.advance(TimeDelta::minutes(1));
        let _ = log.yard.admit(&friend, log.horse, Role::Owner);

        let reader = server.anonymous();
        for way in ways(&before) {
            assert_eq!(reader.get(&way).status, 404, "{way}");
        }
        let listed = listed(owner, log.horse);
        assert_eq!(listed.len(), 1);
        assert_eq!(listed[0].revoked_at, Some(ended_at));
        let (_, after) = share(&friend, log.horse, &json!({"days": 9}));
        server.clock.advance(TimeDelta::minutes(1));
        assert_eq!(reader.get(&path::shared(&after)).status, 200);
    }
);

on_both!(asking_for_the_head_alone_is_no_look, |server| {
    let log = Log::on(server);
    let (_, token) = share(&log.yard.owner, log.horse, &json!({"days": 9}));
    let reader = server.anonymous();
    for way in ways(&token).iter().chain([&format!("/shared/{token}")]) {
        let answer = reader.send(reader.request(Method::HEAD, way));
        assert_eq!((answer.status, answer.body.len()), (200, 0), "{way}");
    }
    assert_eq!(listed(&log.yard.owner, log.horse)[0].views, 0);
    assert_eq!(reader.get(&path::shared(&token)).status, 200);
    assert_eq!(listed(&log.yard.owner, log.horse)[0].views, 1);
});

on_both!(no_link_leads_where_a_request_says, |server| {
    let log = Log::on(server);
    let owner = &log.yard.owner;
    let ask = |host: &str| {
        let request = owner.request(Method::POST, &path::shares(log.horse));
        owner.send(request.header("host", host).json(&json!({"days": 9})))
    };
    for elsewhere in [
        "evil.example",
        "127.0.0.1.evil.example",
        "localhost@evil.example",
        "192.0.2.4:8040",
    ] {
        let refused = ask(elsewhere);
        assert_eq!(refused.status, 503, "{elsewhere}: {refused:?}");
        assert!(refused.text().contains("WHORL_PUBLIC_URL"), "{refused:?}");
    }
    assert_eq!(listed(owner, log.horse), []);
    for here in ["localhost:8040", "127.0.0.1:1", "[::1]:8040"] {
        let made: Share = ask(here).read();
        let url = made.url.expect("a link");
        assert!(url.starts_with(&format!("http://{here}/shared/")), "{url}");
    }
});

#[test]
fn the_secret_never_stands_in_the_log() {
    if alone::is_alone() {
        let _logging = whorl_http::logging::start("debug", None).expect("a log");
        let server = TestServer::start(Database::Sqlite);
        let log = Log::on(&server);
        let (_, token) = share(&log.yard.owner, log.horse, &json!({"days": 1}));
        let reader = server.anonymous();
        for path in ways(&token)
            .into_iter()
            .chain([format!("/shared/{token}"), format!("/v1/shared/{token}/x")])
        {
            let _ = reader.get(&path);
        }
        alone::tell(&token);
        return;
    }
    let told = alone::run("shares::the_secret_never_stands_in_the_log", &[]);
    let log = &told.log;
    let [token] = told.secrets()[..] else {
        panic!("{}", told.out);
    };
    assert!(token.len() >= 32);
    assert!(log.contains("/v1/shared/{token}/bundle"), "{log}");
    assert!(!log.contains(token), "{log}");
    assert!(!log.contains(&token[..12]), "{log}");
}
