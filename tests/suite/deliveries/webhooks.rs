//! Webhooks: signed, only to where the operator allowed, and ended by either side.

use chrono::TimeDelta;
use serde_json::{Value, json};
use whorl_care::ids::WebhookId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::webhook::Webhook;
use whorl_http::delivery::settings::Reach;
use whorl_store::Key;
use whorl_store::deliveries::Outcome;
use whorl_tests::ledger::accepted;
use whorl_tests::pen::Pen;
use whorl_tests::python::judged;
use whorl_tests::{Caller, Database, TestServer, on_each_database};

use super::receiver::{Call, Receiver};
use super::{Scene, ended, failed, latest, notices, rows, until};
use crate::looks_absent;

on_each_database!(
    a_call_is_signed_and_tells_what_its_owner_sees,
    a_receiver_that_fails_is_called_again_and_no_redirect_is_followed,
    only_allowed_addresses_are_called,
    a_secret_is_shown_once_and_turned_with_time_to_change_over,
    either_side_can_end_it,
);

/// A server that may call these receivers.
fn server_for(database: Database, origins: &[String], private: &[&str]) -> TestServer {
    TestServer::start_with(database, |config| {
        config.webhooks = Reach {
            origins: origins
                .iter()
                .map(|one| one.parse().expect("an origin"))
                .collect(),
            private: private
                .iter()
                .map(|one| one.parse().expect("an address"))
                .collect(),
        };
    })
}

fn origin(receiver: &Receiver) -> String {
    format!("http://{}", receiver.address)
}

fn add(who: &Caller, url: &str) -> Webhook {
    let made = who.post(path::WEBHOOKS, &json!({"url": url}));
    assert_eq!(made.status, 201, "{made:?}");
    made.read()
}

/// How many of a call's signatures fit a secret, by another library, and how many there are.
fn signatures(call: &Call, secret: &str) -> (u64, u64) {
    let header = |name: &str| call.headers.get(name).expect(name).clone();
    let told = json!({
        "secret": secret, "id": header("webhook-id"), "timestamp": header("webhook-timestamp"),
        "signature": header("webhook-signature"), "body": call.body,
    });
    let said = judged("check_webhook.py", told.to_string().as_bytes());
    let number = |name: &str| said[name].as_u64().expect("a number");
    (number("fit"), number("all"))
}

fn a_call_is_signed_and_tells_what_its_owner_sees(database: Database) {
    let receiver = Receiver::start(&[]);
    let server = server_for(database, &[origin(&receiver)], &["127.0.0.1"]);
    let scene = Scene::on(&server);
    let vet = server.device_account("Senna Quill");
    let hooves = Some(vec![Kind::HoofCheck]);
    let _ = scene.yard.admit_to(&vet, scene.horse, Role::Vet, hooves);
    let secret = add(&vet, &receiver.url()).secret.expect("a secret");

    let nail = scene.nail();
    let _ = accepted(&scene.hand, &scene.fever().sign());
    let _ = accepted(&scene.hand, &nail.sign());

    let call = receiver.wait_for(1).remove(0);
    assert_eq!(call.path, "/in");
    assert_eq!(signatures(&call, &secret), (1, 1));
    let other = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
    assert_eq!(signatures(&call, other), (0, 1));
    let changed = Call {
        body: call.body.replace("Plover", "Teasel"),
        ..call.clone()
    };
    assert_eq!(signatures(&changed, &secret), (0, 1));
    let at: i64 = call.headers["webhook-timestamp"].parse().expect("seconds");
    assert_eq!(at, server.now().timestamp());
    let body: Value = serde_json::from_str(&call.body).expect("JSON");
    assert_eq!(body["type"], "notice.raised");
    let [notice] = notices(&vet).try_into().expect("one notice");
    assert_eq!(body["data"], serde_json::to_value(&notice).expect("JSON"));
    assert_eq!(body["data"]["event_id"], nail.id().to_string());
    let row = ended(&server, latest(&vet));
    assert_eq!(row.outcome, Some(Key(Outcome::Delivered)));
    assert_eq!(call.headers["webhook-id"], row.id.to_string());
    // The fever is sealed for this vet; the owner has no webhook.
    assert_eq!(receiver.calls().len(), 1);
}

fn a_receiver_that_fails_is_called_again_and_no_redirect_is_followed(database: Database) {
    let receiver = Receiver::start(&[
        "500 Internal Server Error",
        "302 Found\r\nLocation: /elsewhere",
    ]);
    let server = server_for(database, &[origin(&receiver)], &["127.0.0.1"]);
    let scene = Scene::on(&server);
    let secret = add(&scene.yard.owner, &receiver.url())
        .secret
        .expect("a secret");
    let _ = accepted(&scene.hand, &scene.nail().sign());

    let notice = latest(&scene.yard.owner);
    for (attempts, said) in [(1, "500"), (2, "redirects are not followed")] {
        let row = failed(&server, notice, attempts);
        assert!(row.error.expect("an error").contains(said));
        server.clock.advance(TimeDelta::hours(1));
    }

    let calls = receiver.wait_for(3);
    let row = ended(&server, notice);
    assert_eq!(
        (row.outcome, row.attempts),
        (Some(Key(Outcome::Delivered)), 3)
    );
    assert!(calls.iter().all(|call| call.path == "/in"));
    assert!(calls.iter().all(|call| signatures(call, &secret) == (1, 1)));
    let same = |name: &str| {
        calls
            .windows(2)
            .all(|two| two[0].headers[name] == two[1].headers[name])
    };
    assert!(same("webhook-id") && !same("webhook-timestamp"));
}

fn only_allowed_addresses_are_called(database: Database) {
    let receiver = Receiver::start(&[]);
    let port = receiver.address.port();
    let named = format!("http://localhost:{port}");
    // The operator allowed the origins, but no private address.
    let server = server_for(database, &[origin(&receiver), named.clone()], &[]);
    let scene = Scene::on(&server);
    for url in [
        receiver.url(),
        format!("http://127.0.0.1:{}/in", port.wrapping_add(1)),
        "https://hooks.example/in".to_owned(),
        format!("{named}.evil.example/in"),
        "file:///etc/passwd".to_owned(),
        String::new(),
    ] {
        let refused = scene.yard.owner.post(path::WEBHOOKS, &json!({"url": url}));
        assert_eq!(refused.problem().status, 422, "{url}");
    }
    // A name says nothing of where it leads until it is looked up.
    let _ = add(&scene.yard.owner, &format!("{named}/in"));
    let _ = accepted(&scene.hand, &scene.nail().sign());

    let row = failed(&server, latest(&scene.yard.owner), 1);

    assert!(row.error.expect("an error").contains("private address"));
    assert!(receiver.calls().is_empty());
}

fn a_secret_is_shown_once_and_turned_with_time_to_change_over(database: Database) {
    let receiver = Receiver::start(&[]);
    let server = server_for(database, &[origin(&receiver)], &["127.0.0.1"]);
    let scene = Scene::on(&server);
    let owner = &scene.yard.owner;
    let made = add(owner, &receiver.url());
    let old = made.secret.clone().expect("a secret");
    let listed = owner.get(path::WEBHOOKS);
    assert_eq!(listed.read::<Page<Webhook>>().items[0].secret, None);
    assert!(!listed.text().contains("whsec_"));

    let turned: Webhook = owner
        .post(&path::webhook_rotate(made.id), &json!({}))
        .read();
    let new = turned.secret.expect("a secret");
    assert_ne!(new, old);
    let _ = accepted(&scene.hand, &scene.nail().sign());
    let call = receiver.wait_for(1).remove(0);
    assert_eq!(
        (signatures(&call, &old), signatures(&call, &new)),
        ((1, 2), (1, 2))
    );

    server.clock.advance(TimeDelta::hours(25));
    let _ = accepted(&scene.hand.elsewhere(false), &scene.fever().sign());
    let call = receiver.wait_for(2).remove(1);
    assert_eq!(
        (signatures(&call, &old), signatures(&call, &new)),
        ((0, 1), (1, 1))
    );
}

fn either_side_can_end_it(database: Database) {
    let receiver = Receiver::start(&["410 Gone"]);
    let server = server_for(database, &[origin(&receiver)], &["127.0.0.1"]);
    let scene = Scene::on(&server);
    let (owner, vet) = (&scene.yard.owner, server.device_account("Senna Quill"));
    let theirs = add(owner, &receiver.url());
    let nowhere = WebhookId(uuid::Uuid::now_v7());
    for (hidden, absent) in [
        (path::webhook(theirs.id), path::webhook(nowhere)),
        (
            path::webhook_rotate(theirs.id),
            path::webhook_rotate(nowhere),
        ),
    ] {
        let ask = |path: &str| {
            if path.ends_with("rotate") {
                vet.post(path, &json!({}))
            } else {
                vet.delete(path)
            }
        };
        looks_absent(&ask(&hidden), &ask(&absent));
    }
    let _ = accepted(&scene.hand, &scene.nail().sign());
    let _ = receiver.wait_for(1);
    let row = ended(&server, latest(owner));
    assert_eq!(row.outcome, Some(Key(Outcome::Dropped)));
    until("it is ended", || {
        let left: Page<Webhook> = owner.get(path::WEBHOOKS).read();
        left.items.is_empty().then_some(())
    });

    let again = add(owner, &receiver.url());
    assert_eq!(owner.delete(&path::webhook(again.id)).status, 204);
    let other = Pen::of(&scene.hand, Role::BarnStaff);
    let entry = other
        .draft(scene.horse, Kind::Vitals)
        .performed_at("2027-03-04T09:00:00+00:00")
        .details(json!({"temperature_c": 40.1}));
    let _ = accepted(&scene.hand, &entry.sign());
    let told = notices(owner)
        .into_iter()
        .find(|one| one.event_id == entry.id());
    assert_eq!(rows(&server, told.expect("a notice").id), []);
    assert_eq!(receiver.calls().len(), 1);
}
