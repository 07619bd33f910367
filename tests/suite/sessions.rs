//! Sessions and devices: tokens that turn, answers that get lost, and ends that act at once.

use std::sync::Barrier;
use std::thread;

use chrono::TimeDelta;
use serde_json::json;
use whorl_contract::key::{Purpose, Signature};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_contract::session::{Device, Session, SessionInfo, refresh_message};
use whorl_tests::on_both;
use whorl_tests::person::{new_key, sign_in};

on_both!(a_lost_answer_to_a_refresh_is_given_again, |server| {
    let mut wren = server.device_account("Wren");

    let lost: Session = wren.ask_for_tokens(server).read();
    server.clock.advance(TimeDelta::days(6));
    let again: Session = wren.ask_for_tokens(server).read();
    assert_eq!(again.refresh_token, lost.refresh_token);
    assert_ne!(again.refresh_token, wren.session.refresh_token);

    assert_eq!(wren.refresh(server).status, 200);
    assert_eq!(wren.session.refresh_token, lost.refresh_token);
    assert_eq!(wren.refresh(server).status, 200);
    assert_eq!(wren.get(path::ACCOUNT).status, 200);
});

on_both!(
    a_token_that_was_copied_ends_the_session_for_both,
    |server| {
        let mut wren = server.device_account("Wren");
        let thief = wren.clone();
        for _ in 0..2 {
            assert_eq!(wren.refresh(server).status, 200);
        }

        assert_eq!(thief.ask_for_tokens(server).status, 401);

        assert_eq!(wren.get(path::ACCOUNT).status, 401);
        assert_eq!(wren.ask_for_tokens(server).status, 401);
    }
);

on_both!(
    a_thief_without_the_device_can_do_nothing_with_a_token,
    |server| {
        let mut wren = server.device_account("Wren");
        let mut request = wren.refresh_request(server);
        let old = request.clone();
        request.proof = None;
        let mut forged = request.clone();
        let message = refresh_message(&forged.refresh_token, server.now());
        forged.proof = Some(new_key().sign(Purpose::Refresh, &message));
        let mut zero = request.clone();
        zero.proof = Some(Signature([0; 64]));
        for one in [request, forged, zero] {
            let answer = server.anonymous().post(path::REFRESH, &one);
            assert_eq!(answer.problem().kind, Kind::Unauthenticated);
        }
        // An old token without its proof ends nothing either.
        for _ in 0..2 {
            assert_eq!(wren.refresh(server).status, 200);
        }
        let mut unproven = old;
        unproven.proof = None;
        assert_eq!(
            server.anonymous().post(path::REFRESH, &unproven).status,
            401
        );
        assert_eq!(wren.refresh(server).status, 200);
    }
);

on_both!(a_proof_is_fresh_by_the_servers_clock, |server| {
    let mut wren = server.device_account("Wren");
    let overheard = wren.refresh_request(server);
    server.clock.advance(TimeDelta::minutes(11));

    let answer = server.anonymous().post(path::REFRESH, &overheard);

    assert_eq!(answer.status, 422);
    assert_eq!(answer.problem().errors[0].pointer, "/signed_at");
    assert_eq!(wren.refresh(server).status, 200);
});

on_both!(eight_refreshes_at_once_are_one_step, |server| {
    let wren = server.device_account("Wren");
    let replica = server.replica();
    let start = Barrier::new(8);

    let tokens: Vec<String> = thread::scope(|scope| {
        let asks: Vec<_> = (0..8)
            .map(|n| {
                let (wren, start) = (&wren, &start);
                let server = if n % 2 == 0 { server } else { &replica };
                scope.spawn(move || {
                    start.wait();
                    wren.ask_for_tokens(server).read::<Session>().refresh_token
                })
            })
            .collect();
        asks.into_iter()
            .map(|ask| ask.join().expect("an answer"))
            .collect()
    });

    assert!(tokens.iter().all(|token| *token == tokens[0]), "{tokens:?}");
    assert_ne!(tokens[0], wren.session.refresh_token);
});

on_both!(a_browsers_token_is_good_once, |server| {
    let mut office = server.account("Wren");
    let before = office.clone();
    assert_eq!(office.refresh(server).status, 200);

    assert_eq!(before.ask_for_tokens(server).status, 401);

    assert_eq!(office.get(path::ACCOUNT).status, 401);
});

on_both!(a_session_ends_when_idle_and_at_its_end, |server| {
    let idle = server.device_account("Wren");
    let mut busy = server.device_account("Rook");
    for _ in 0..179 {
        server.clock.advance(TimeDelta::days(1));
        assert_eq!(busy.refresh(server).status, 200);
    }
    assert_eq!(idle.ask_for_tokens(server).status, 401);

    server.clock.advance(TimeDelta::days(1));

    assert_eq!(busy.get(path::ACCOUNT).status, 401);
    assert_eq!(busy.ask_for_tokens(server).status, 401);
    assert_eq!(
        sign_in(&server.anonymous(), &busy.email, &busy.password, None).status,
        201
    );
});

on_both!(an_access_token_is_good_for_ten_minutes, |server| {
    let wren = server.account("Wren");
    server.clock.advance(TimeDelta::seconds(629));
    assert_eq!(wren.get(path::ACCOUNT).status, 200);
    server.clock.advance(TimeDelta::seconds(1));
    assert_eq!(
        wren.get(path::ACCOUNT).problem().kind,
        Kind::Unauthenticated
    );
    let refresh = wren.with_token(&wren.session.refresh_token);
    assert_eq!(refresh.get(path::ACCOUNT).status, 401);
});

on_both!(signing_out_acts_at_once_and_on_every_replica, |server| {
    let wren = server.device_account("Wren");
    let office = wren.elsewhere(false);
    let replica = server.replica();

    assert_eq!(wren.delete(path::CURRENT_SESSION).status, 204);

    assert_eq!(wren.get(path::ACCOUNT).status, 401);
    assert_eq!(wren.ask_for_tokens(server).status, 401);
    let there = replica.anonymous().with_token(&wren.session.access_token);
    assert_eq!(there.get(path::ACCOUNT).status, 401);
    assert_eq!(office.get(path::ACCOUNT).status, 200);
});

on_both!(people_see_and_end_their_own_sessions_only, |server| {
    let wren = server.device_account("Wren");
    let office = wren.elsewhere(false);
    let rook = server.account("Rook");

    let page: Page<SessionInfo> = wren.get(path::SESSIONS).read();
    let seen: Vec<_> = page.items.iter().map(|one| (one.id, one.current)).collect();
    assert!(seen.contains(&(wren.session.session_id, true)));
    assert!(seen.contains(&(office.session.session_id, false)));
    assert_eq!(seen.len(), 2);

    let others = rook.delete(&path::session(office.session.session_id));
    assert_eq!(others.problem().kind, Kind::NotFound);
    assert_eq!(office.get(path::ACCOUNT).status, 200);
    assert_eq!(
        wren.delete(&path::session(office.session.session_id))
            .status,
        204
    );
    assert_eq!(office.get(path::ACCOUNT).status, 401);
});

on_both!(a_revoked_device_is_out_for_good, |server| {
    let lost = server.device_account("Wren");
    let phone = lost.elsewhere(true);
    let rook = server.account("Rook");
    assert_eq!(rook.delete(&path::device(lost.device())).status, 404);

    assert_eq!(phone.delete(&path::device(lost.device())).status, 204);

    assert_eq!(lost.get(path::ACCOUNT).status, 401);
    assert_eq!(lost.ask_for_tokens(server).status, 401);
    let again = sign_in(
        &server.anonymous(),
        &lost.email,
        &lost.password,
        lost.key.as_ref(),
    );
    assert_eq!(again.problem().kind, Kind::DeviceRefused);
    let page: Page<Device> = phone.get(path::DEVICES).read();
    let revoked = page.items.iter().filter(|one| one.revoked_at.is_some());
    assert_eq!(
        revoked.map(|one| one.id).collect::<Vec<_>>(),
        [lost.device()]
    );
    assert_eq!(page.items.len(), 2);
});

on_both!(a_key_belongs_to_one_account_and_is_proven, |server| {
    let wren = server.device_account("Wren");
    let rook = server.account("Rook");

    let borrowed = sign_in(
        &server.anonymous(),
        &rook.email,
        &rook.password,
        wren.key.as_ref(),
    );
    assert_eq!(borrowed.problem().kind, Kind::DeviceRefused);

    let key = wren.key.as_ref().expect("a key");
    let unproven = json!({"email": rook.email, "password": rook.password, "device": {
        "name": "phone", "public_key": new_key().public(), "proof": key.sign(Purpose::Device, rook.email.as_bytes()),
    }});
    let answer = server.anonymous().post(path::SESSIONS, &unproven);
    assert_eq!(answer.problem().kind, Kind::NotGenuine);
    let same: Session = sign_in(&server.anonymous(), &wren.email, &wren.password, Some(key)).read();
    assert_eq!(same.device_id, Some(wren.device()));
    assert_ne!(same.session_id, wren.session.session_id);
});
