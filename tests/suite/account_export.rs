//! An account in one file: everything of it, no secret, and nothing of others that its person may not see.

use std::collections::BTreeSet;

use base64::Engine;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::TimeDelta;
use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::ids::{EventId, HorseId, WebhookId};
use whorl_care::kind::{Kind, Role};
use whorl_care::reading::Way;
use whorl_contract::account_export::{AccountExport, FORMAT};
use whorl_contract::calendar::Calendar;
use whorl_contract::event::LoggedEvent;
use whorl_contract::grant::Invitation;
use whorl_contract::path;
use whorl_contract::share::Share;
use whorl_contract::sync::Outcome;
use whorl_contract::transfer::Transfer;
use whorl_http::operate;
use whorl_store::webhooks::{self, WebhookRow};
use whorl_store::{StoreError, accounts, sessions};
use whorl_tests::field::FieldDevice;
use whorl_tests::ledger::{accepted, push_one};
use whorl_tests::paddock::{new_id, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, TestServer, on_both};

const SEED: [u8; 16] = *b"a webhook's seed";

/// What nobody but its author and the other yard may read.
const NOT_HERS: &str = "the bay kicks at the wash box";

/// Wren, with one of each thing that an account can have.
struct Scene {
    wren: Person,
    yard: Yard,
    own: HorseId,
    /// Another's horse, of which she may see weights alone.
    others: HorseId,
    /// One that she recorded of and may no more see.
    lost: HorseId,
    webhook: WebhookId,
    secrets: Vec<String>,
}

impl Scene {
    fn on(server: &TestServer) -> Self {
        let wren = server.device_account("Wren");
        let mine = Yard::of(wren.clone());
        let own = mine.horse_who_is(json!({"name": "Samphire", "sex": "mare"}));
        let yard = Yard::open(server);
        let (others, lost) = (yard.horse(), yard.horse());
        let mut secrets = vec![
            wren.password.clone(),
            wren.session.access_token.clone(),
            wren.session.refresh_token.clone(),
        ];
        license(&wren, Role::Vet);
        // What she did elsewhere.
        let _ = yard.admit_to(&wren, others, Role::BarnStaff, Some(vec![Kind::Weight]));
        let over = yard.admit(&wren, lost, Role::BarnStaff);
        let hand = Pen::of(&wren, Role::BarnStaff);
        for (horse, weight) in [(others, 481.0), (lost, 482.0)] {
            let _ = accepted(&wren, &hand.weight(horse, weight).sign());
        }
        let _ = accepted(
            &yard.owner,
            &yard.pen().weight(others, 490.0).note("of the yard").sign(),
        );
        let kick = yard.pen().draft(others, Kind::Observation);
        let kick = kick.details(json!({"text": NOT_HERS}));
        let _ = accepted(&yard.owner, &kick.sign());
        let _ = accepted(
            &yard.owner,
            &yard.pen().weight(lost, 491.0).note(NOT_HERS).sign(),
        );
        assert_eq!(wren.get(&path::history(others)).status, 200);
        server.clock.advance(TimeDelta::minutes(1));
        let late = hand.weight(lost, 483.0).recorded_at(server.now());
        server.clock.advance(TimeDelta::minutes(1));
        yard.revoke(&over);
        assert_eq!(push_one(&wren, &late.sign()), Outcome::Held);
        // What she set up.
        let vet = server.device_account("Senna Quill");
        license(&vet, Role::Vet);
        let _ = mine.admit(&vet, own, Role::Vet);
        let fever = Pen::of(&vet, Role::Vet).draft(own, Kind::Vitals);
        let fever = fever
            .recorded_at(server.now())
            .performed_at(&server.now().to_rfc3339());
        let _ = accepted(&vet, &fever.details(json!({"temperature_c": 40.4})).sign());
        let png = wren.request(Method::POST, &path::attachments(own));
        let png = png
            .header("content-type", "image/png")
            .body(&b"\x89PNG\r\n\x1a\n of a gate"[..]);
        assert_eq!(wren.send(png).status, 201);
        let invited: Invitation = wren
            .post(path::INVITATIONS, &to_horse(own, Role::Farrier))
            .read();
        secrets.extend(invited.code);
        let offer = json!({"to_email": yard.owner.email, "password": wren.password});
        let _: Transfer = wren.post(&path::horse_transfers(own), &offer).read();
        let share: Share = wren.post(&path::shares(own), &json!({"days": 3})).read();
        let calendar: Calendar = wren.post(path::CALENDARS, &json!({})).read();
        for address in [
            share.url.expect("a link"),
            calendar.address.expect("an address"),
        ] {
            let secret = address.rsplit('/').next().expect("a secret");
            secrets.push(secret.trim_end_matches(".ics").to_owned());
        }
        let webhook = webhook(server, &wren);
        secrets.extend([STANDARD.encode(SEED), URL_SAFE_NO_PAD.encode(SEED)]);
        secrets.extend(kept(server, &wren));
        Self {
            wren,
            yard,
            own,
            others,
            lost,
            webhook,
            secrets,
        }
    }

    fn export(&self) -> (AccountExport, String) {
        let answer = self.wren.get(path::ACCOUNT_EXPORT);
        assert_eq!(answer.header("content-type"), Some("application/json"));
        (answer.read(), answer.text())
    }
}

/// Puts a webhook into the store: this server's operator has allowed no address.
fn webhook(server: &TestServer, wren: &Person) -> WebhookId {
    let row = WebhookRow {
        id: new_id(),
        account_id: wren.account(),
        url: "https://hooks.example/in".to_owned(),
        seed: SEED.to_vec(),
        seed_before: None,
        created_at: server.now().naive_utc(),
        rotated_at: None,
        ended_at: None,
        ended_why: None,
    };
    let id = row.id;
    let added = server.state().store.write(move |db| webhooks::add(db, row));
    added.unwrap_or_else(|error: StoreError| panic!("{error}"));
    id
}

/// What the store keeps of the password and the session.
fn kept(server: &TestServer, wren: &Person) -> Vec<String> {
    let (account, session) = (wren.account(), wren.session.session_id);
    let kept = server.state().store.read(move |db| {
        let hash = accounts::get(db, account)?.password_hash;
        let seed = sessions::seat(db, session)?.session.seed;
        Ok::<_, StoreError>(vec![
            hash,
            STANDARD.encode(&seed),
            URL_SAFE_NO_PAD.encode(&seed),
        ])
    });
    kept.expect("kept")
}

/// The horse and id of each entry, and how many had their content.
fn entries(events: &[LoggedEvent]) -> Vec<(HorseId, EventId, bool)> {
    let read = events.iter().map(|event| {
        let envelope = event.envelope.as_ref().expect("an envelope");
        let envelope: Value = serde_json::from_str(envelope.get()).expect("JSON");
        let id = |name: &str| envelope[name].as_str().expect("an id").to_owned();
        (
            id("horse_id").parse().expect("an id"),
            id("id").parse().expect("an id"),
            event.content.is_some() && event.salt.is_some() && event.signature.is_some(),
        )
    });
    read.collect()
}

on_both!(an_account_is_all_in_one_file, |server| {
    let scene = Scene::on(server);
    let (wren, own) = (&scene.wren, scene.own);

    let (export, text) = scene.export();

    let things = &export.own;
    assert_eq!(things.format, FORMAT);
    assert_eq!(things.server, "saltmarsh.example");
    assert_eq!(things.exported_at, server.now());
    assert_eq!(things.account, wren.session.account);
    assert_eq!(things.devices.len(), 1);
    assert_eq!(things.devices[0].id, wren.device());
    assert_eq!(things.sessions.len(), 1);
    assert_eq!(things.licences.len(), 1);
    assert_eq!(things.licences[0].number, "SV-20418");
    assert_eq!(things.barns.len(), 1);
    let horses: Vec<_> = things.horses.iter().map(|horse| horse.id).collect();
    assert_eq!(horses, [own]);
    // Two that she held, one of them over, and the vet's on her own horse.
    let grants: BTreeSet<_> = things.grants.iter().map(|one| one.horse_id).collect();
    let expected = [scene.others, scene.lost, own].map(Some);
    assert_eq!(grants, expected.into());
    assert_eq!(things.invitations.len(), 2, "the vet's and the farrier's");
    assert!(things.invitations.iter().all(|one| one.code.is_none()));
    assert_eq!(things.transfers.len(), 1);
    assert_eq!(things.shares.len(), 1);
    assert!(things.shares[0].url.is_none() && things.shares[0].qr_svg.is_none());
    assert_eq!(things.calendars.len(), 1);
    assert!(things.calendars[0].address.is_none());
    assert_eq!(things.webhooks.len(), 1);
    assert_eq!(things.webhooks[0].id, scene.webhook);
    assert!(things.webhooks[0].secret.is_none());
    assert_eq!(things.files.len(), 1);
    assert_eq!(things.files[0].horse_id, own);

    let read: Vec<_> = export
        .readings
        .iter()
        .map(|one| (one.horse_id, one.way))
        .collect();
    assert_eq!(read, [(scene.others, Way::History)]);
    let told: Vec<_> = export.notices.iter().map(|one| one.horse_id).collect();
    assert_eq!(told, [own]);
    let held: Vec<_> = export.held.iter().map(|one| one.horse_id).collect();
    assert_eq!(held, [scene.lost]);
    let entries = entries(&export.events);
    assert!(entries.iter().all(|(_, _, whole)| *whole));
    let of = |horse: HorseId| entries.iter().filter(|(one, _, _)| *one == horse).count();
    // Of her own horse what the vet recorded, too; of others what she signed.
    assert_eq!((of(own), of(scene.others), of(scene.lost)), (2, 1, 1));
    assert!(export.whole);
    assert!(text.ends_with(",\"whole\":true}"), "{text}");
});

on_both!(no_secret_and_nothing_of_others_is_in_it, |server| {
    let scene = Scene::on(server);
    let (_, text) = scene.export();
    assert_eq!(scene.secrets.len(), 11, "{:?}", scene.secrets);
    for secret in &scene.secrets {
        assert!(
            secret.len() > 8 && !text.contains(secret),
            "{secret} in {text}"
        );
    }
    for others in [NOT_HERS, "of the yard", &scene.yard.owner.password] {
        assert!(!text.contains(others), "{others} in {text}");
    }
    // Nor is any of it in somebody else's, but what both may see: the offer, and what she did with their horses.
    let theirs = scene.yard.owner.get(path::ACCOUNT_EXPORT).text();
    for hers in [
        "Samphire",
        "hooks.example",
        &scene.own_barn(),
        "SV-20418",
        "40.4",
    ] {
        assert!(text.contains(hers), "{hers} makes no test");
        assert!(!theirs.contains(hers), "{hers} in {theirs}");
    }
    assert!(theirs.contains(NOT_HERS));
});

impl Scene {
    fn own_barn(&self) -> String {
        let barns: Value = self.wren.get(path::BARNS).read();
        let barns = barns["items"].as_array().expect("barns").iter();
        let own = barns.filter(|barn| barn["owner_id"] == self.wren.account().to_string().as_str());
        let ids: Vec<_> = own
            .map(|barn| barn["id"].as_str().expect("an id"))
            .collect();
        assert_eq!(ids.len(), 1);
        ids[0].to_owned()
    }
}

on_both!(a_long_log_comes_whole_and_in_order, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let events: Vec<_> = (0..450)
        .map(|n| yard.pen().weight(horse, 400.0 + f64::from(n)).sign())
        .collect();
    let _ = whorl_tests::ledger::push(&yard.owner, &events);
    let export: AccountExport = yard.owner.get(path::ACCOUNT_EXPORT).read();
    let places: Vec<i64> = export.events.iter().map(|event| event.seq).collect();
    assert_eq!(places, (1..=450).collect::<Vec<_>>());
});

on_both!(a_closed_account_exports_nothing, |server| {
    let wren = server.account("Wren");
    assert_eq!(wren.get(path::ACCOUNT_EXPORT).status, 200);
    let _ = operate::close(&server.state(), &wren.email).expect("closed");
    assert_eq!(wren.get(path::ACCOUNT_EXPORT).status, 401);
});

on_both!(the_field_client_keeps_it_for_its_person_alone, |server| {
    let scene = Scene::on(server);
    let device = FieldDevice::join(&scene.wren, &server.url());
    let file = device.place("account.json");
    let (status, written) = device.ask(&["export-account", "--out", &file]);
    assert_eq!(status, 0, "{written}");
    assert_eq!(
        (&written["horses"], &written["entries"]),
        (&json!(1), &json!(4))
    );
    let kept = std::fs::read(&file).expect("the file");
    let export: AccountExport = serde_json::from_slice(&kept).expect("an export");
    assert_eq!(export.own.account.id, scene.wren.account());
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(&file)
            .expect("the file")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
    }
    std::fs::write(&file, "mine").expect("written");
    let again = device.run(&["export-account", "--out", &file]);
    assert_eq!(again.status.code(), Some(2), "{again:?}");
    assert_eq!(std::fs::read_to_string(&file).expect("the file"), "mine");
});
