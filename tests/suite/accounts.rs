//! Accounts: opening one, its password, and who may try to guess it.

use chrono::TimeDelta;
use diesel::dsl::sql;
use diesel::sql_types::{BigInt, Text};
use diesel::sqlite::SqliteConnection;
use diesel::{Connection, RunQueryDsl};
use reqwest::Method;
use serde_json::json;
use whorl_contract::account::{Account, PasswordChange};
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_http::config::Registration;
use whorl_http::operate;
use whorl_store::{StoreError, accounts};
use whorl_tests::person::sign_in;
use whorl_tests::process::Place;
use whorl_tests::python::judged;
use whorl_tests::{Answer, Caller, Database, TestServer, on_both};

fn open(caller: &Caller, email: &str, password: &str) -> Answer {
    let new = json!({"email": email, "name": "Rook", "password": password});
    caller.post(path::ACCOUNTS, &new)
}

on_both!(an_account_is_seen_by_its_person_only, |server| {
    let wren = server.account("Wren");

    let account: Account = wren.get(path::ACCOUNT).read();

    assert_eq!(account, wren.session.account);
    assert_eq!(account.created_at, server.now());
    assert_eq!(server.anonymous().get(path::ACCOUNT).status, 401);
});

on_both!(
    opening_again_after_a_lost_answer_gives_the_same_account,
    |server| {
        let caller = server.anonymous();
        let password = "samphire grows by the slipway";
        let first: Account = open(&caller, "rook@saltmarsh.example", password).read();

        let again: Account = open(&caller, "Rook@Saltmarsh.Example", password).read();
        let other = open(
            &caller,
            "rook@saltmarsh.example",
            "heron on the weir at noon",
        );

        assert_eq!(again, first);
        assert_eq!(other.problem().kind, Kind::Conflict);
        assert_eq!(
            sign_in(&caller, "rook@saltmarsh.example", password, None).status,
            201
        );
    }
);

on_both!(a_password_is_good_as_long_as_its_person_wants, |server| {
    let wren = server.account("Wren");
    server.clock.advance(TimeDelta::days(3_650));
    let later = sign_in(&server.anonymous(), &wren.email, &wren.password, None);
    assert_eq!(later.status, 201, "{later:?}");
});

on_both!(a_password_is_long_whole_and_not_the_first_guess, |server| {
    let caller = server.anonymous();
    // Fifteen characters at least, 256 at most (ASVS 5.0, 6.2.1 and 6.2.9).
    let long = "grey heron on the weir by night ".repeat(8);
    for (n, (password, status)) in [
        ("fourteen chars", 422),
        ("passwordpassword", 422),
        ("rook saltmarsh rook", 422),
        ("zinc otter weir glide", 201),
        (&long[..64], 201),
        (&long, 201),
        (&format!("{long}x"), 422),
    ]
    .into_iter()
    .enumerate()
    {
        let answer = open(&caller, &format!("p{n}@saltmarsh.example"), password);
        assert_eq!(answer.status, status, "{password}: {answer:?}");
        if status == 422 {
            assert_eq!(answer.problem().errors[0].pointer, "/password");
        }
    }
    // Nothing is cut off after 72 bytes, and capitals count.
    let cut = sign_in(&caller, "p5@saltmarsh.example", &long[..80], None);
    assert_eq!(cut.problem().kind, Kind::WrongCredentials);
    let capitals = sign_in(&caller, "p5@saltmarsh.example", &long.to_uppercase(), None);
    assert_eq!(capitals.problem().kind, Kind::WrongCredentials);
});

on_both!(a_password_is_changed_by_who_knows_it, |server| {
    let mut wren = server.device_account("Wren");
    let office = wren.elsewhere(false);
    let change = |current: &str, new: &str| PasswordChange {
        current: current.into(),
        new: new.into(),
        end_other_sessions: true,
    };
    let new = "samphire grows by the slipway";

    let wrong = wren.put(path::PASSWORD, &change("tide over the flats", new));
    let weak = wren.put(
        path::PASSWORD,
        &change(&wren.password, "wren saltmarsh wren"),
    );
    assert_eq!((wrong.status, weak.status), (403, 422));
    assert_eq!(weak.problem().errors[0].pointer, "/new");
    assert_eq!(office.get(path::ACCOUNT).status, 200);

    assert_eq!(
        wren.put(path::PASSWORD, &change(&wren.password, new))
            .status,
        204
    );

    assert_eq!(office.get(path::ACCOUNT).status, 401);
    assert_eq!(office.ask_for_tokens(server).status, 401);
    assert_eq!(wren.get(path::ACCOUNT).status, 200);
    assert_eq!(wren.refresh(server).status, 200);
    let old = sign_in(&server.anonymous(), &wren.email, &wren.password, None);
    assert_eq!(old.status, 401);
    assert_eq!(
        sign_in(&server.anonymous(), &wren.email, new, None).status,
        201
    );
});

on_both!(a_weaker_hash_is_replaced_at_the_next_sign_in, |server| {
    let wren = server.account("Wren");
    let id = wren.account();
    let stored = || -> String {
        let found = server.state().store.read(|db| accounts::get(db, id));
        found
            .map_err(|error: StoreError| error)
            .expect("an account")
            .password_hash
    };
    let strong = stored();
    assert!(
        strong.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
        "{strong}"
    );
    let weak = whorl_tests::person::weak_hash(&wren.password);
    let from = strong.clone();
    server
        .state()
        .store
        .write(move |db| accounts::set_password(db, id, &from, weak))
        .expect("a weak hash");

    assert_eq!(
        sign_in(&server.anonymous(), &wren.email, &wren.password, None).status,
        201
    );

    let after = stored();
    assert!(
        after.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
        "{after}"
    );
    assert_ne!(after, strong);
});

on_both!(
    guesses_are_slowed_down_but_lock_nobody_out_of_their_device,
    |server| {
        let wren = server.device_account("Wren");
        let guesser = server.anonymous();
        for _ in 0..5 {
            let answer = sign_in(&guesser, &wren.email, "tide over the grey flats", None);
            assert_eq!(answer.problem().kind, Kind::WrongCredentials);
        }

        let right = sign_in(&guesser, &wren.email, &wren.password, None);
        assert_eq!(right.problem().kind, Kind::TooManyRequests);
        assert_eq!(right.header("retry-after"), Some("1"));
        // The count is shared by all replicas and outlives a restart.
        let replica = server.replica();
        server.restart();
        for caller in [server.anonymous(), replica.anonymous()] {
            assert_eq!(
                sign_in(&caller, &wren.email, &wren.password, None).status,
                429
            );
        }
        let device = sign_in(&guesser, &wren.email, &wren.password, wren.key.as_ref());
        assert_eq!(device.status, 201);
        // Its sign-in ends the row of failures.
        assert_eq!(
            sign_in(&guesser, &wren.email, &wren.password, None).status,
            201
        );
    }
);

on_both!(
    after_a_hundred_wrong_guesses_in_a_row_even_the_right_one_is_refused,
    |server| {
        let wren = server.device_account("Wren");
        let guesser = server.anonymous();
        for n in 0..100 {
            let answer = sign_in(&guesser, &wren.email, "tide over the grey flats", None);
            assert_eq!(answer.status, 401, "guess {n}");
            server.clock.advance(TimeDelta::minutes(15));
        }

        assert_eq!(
            sign_in(&guesser, &wren.email, &wren.password, None).status,
            429
        );
        server.clock.advance(TimeDelta::days(1));
        assert_eq!(
            sign_in(&guesser, &wren.email, &wren.password, None).status,
            429
        );
        operate::unlock(&server.state(), &wren.email).expect("unlocked");
        assert_eq!(
            sign_in(&guesser, &wren.email, &wren.password, None).status,
            201
        );
    }
);

on_both!(
    a_stranger_learns_nothing_about_who_has_an_account,
    |server| {
        let wren = server.account("Wren");
        let guesser = server.anonymous();
        let body = |email: &str| {
            let answer = sign_in(&guesser, email, "tide over the grey flats", None);
            assert_eq!(answer.status, 401);
            let mut problem = answer.problem();
            problem.instance = None;
            problem
        };

        assert_eq!(body(&wren.email), body("nobody@saltmarsh.example"));
        assert_eq!(
            body("no address at all"),
            body("nul\u{0}@saltmarsh.example")
        );
        for _ in 0..4 {
            body("nobody@saltmarsh.example");
        }
        let closed = sign_in(
            &guesser,
            "nobody@saltmarsh.example",
            "tide over the grey flats",
            None,
        );
        assert_eq!(closed.status, 429);
    }
);

on_both!(a_claimed_origin_changes_nothing, |server| {
    for n in 0..21 {
        let caller = server.anonymous();
        let body = json!({"email": format!("n{n}@saltmarsh.example"), "password": "tide over the grey flats"});
        let request = caller
            .request(Method::POST, path::SESSIONS)
            .header("x-forwarded-for", format!("198.51.{n}.7"))
            .json(&body);
        let expected = if n < 20 { 401 } else { 429 };
        assert_eq!(caller.send(request).status, expected, "attempt {n}");
    }
});

on_both!(what_is_not_strict_json_is_refused, |server| {
    let caller = server.anonymous();
    let send = |media_type: &str, body: String| {
        let request = caller.request(Method::POST, path::SESSIONS);
        caller.send(request.header("content-type", media_type).body(body))
    };
    let json = "application/json";
    for (body, status) in [
        (r#"{"email":"a@b","password":"x","role":"owner"}"#, 422),
        (r#"{"email":"a@b","email":"c@d","password":"x"}"#, 422),
        (r#"{"email":"a@b"}"#, 422),
        (r#"{"email":7,"password":"x"}"#, 422),
        (r#"{"email":"a@b","password":"\ud800"}"#, 400),
        (r#"{"email":"a@b","password":"x"} {}"#, 400),
        (r#"{"email":"a@b","password":"x""#, 400),
        ("", 400),
    ] {
        let answer = send(json, body.to_owned());
        assert_eq!(answer.status, status, "{body}: {answer:?}");
        assert_eq!(answer.problem().status, status);
    }
    assert_eq!(send("text/plain", "{}".into()).status, 415);
    assert_eq!(send(json, "x".repeat(4 * 1024 * 1024 + 1)).status, 413);
});

#[test]
fn a_server_for_invited_people_refuses_others() {
    let server = TestServer::start_with(Database::Sqlite, |config| {
        config.registration = Registration::Invited;
    });
    let caller = server.anonymous();

    let without = open(
        &caller,
        "rook@saltmarsh.example",
        "samphire grows by the slipway",
    );
    let with = caller.post(
        path::ACCOUNTS,
        &json!({"email": "rook@saltmarsh.example", "name": "Rook", "invitation_code": "BCDF-GHJK-MN0Q-RST1",
            "password": "samphire grows by the slipway"}),
    );

    assert_eq!(without.problem().kind, Kind::Forbidden);
    assert_eq!(with.problem().kind, Kind::Forbidden);
}

/// The list that Django 5.2 refuses passwords by.
#[test]
fn common_passwords_of_a_public_list_are_refused() {
    let server = TestServer::start(Database::Sqlite);
    let list = judged("common_passwords.py", b"");
    let list: Vec<&str> = list
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|one| one.as_str())
        .collect();
    assert!(list.len() > 40, "{list:?}");
    for password in list {
        let refused = open(&server.anonymous(), "rook@saltmarsh.example", password);
        assert_eq!(refused.status, 422, "{password}: {refused:?}");
        assert_eq!(refused.problem().errors[0].pointer, "/password");
    }
}

#[test]
#[expect(
    clippy::disallowed_methods,
    reason = "beside the store, as whoever has the file would"
)]
fn a_fresh_server_has_no_account_and_gives_no_hints() {
    let place = Place::sqlite();
    let _server = place.start();
    let anonymous = place.anonymous();
    // Neither of anybody nor of the operator; the first is the one that is opened.
    for email in [
        "admin@saltmarsh.example",
        "root@localhost",
        "whorl@saltmarsh.example",
    ] {
        for password in ["admin", "whorl", "password", ""] {
            let refused = sign_in(&anonymous, email, password, None);
            assert_eq!(refused.status, 401, "{email}: {refused:?}");
        }
    }
    let file = place.file().display().to_string();
    let mut database = SqliteConnection::establish(&file).expect("the database");
    let accounts = diesel::select(sql::<BigInt>("(SELECT count(*) FROM account)"));
    assert_eq!(accounts.get_result::<i64>(&mut database), Ok(0));
    // What is kept of a person has no place for a hint or a question.
    let columns = "(SELECT group_concat(name, ' ') FROM pragma_table_info('account'))";
    let columns: String = diesel::select(sql::<Text>(columns))
        .get_result(&mut database)
        .expect("names");
    assert_eq!(
        columns,
        "id email name password_hash operator created_at disabled_at"
    );
}
