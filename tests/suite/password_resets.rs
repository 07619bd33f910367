//! A forgotten password: the code that the operator has made, and what it does.

use chrono::TimeDelta;
use whorl_contract::account::{PasswordChange, PasswordReset};
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_http::operate;
use whorl_tests::person::sign_in;
use whorl_tests::process::Place;
use whorl_tests::{Answer, Browser, Caller, Person, TestServer, on_both};

use crate::looks_alike;

/// What somebody chooses who forgot the password before it.
const NEW: &str = "samphire grows by the slipway";

fn reset(caller: &Caller, email: &str, code: &str, new: &str) -> Answer {
    let asked = PasswordReset {
        email: email.to_owned(),
        code: code.to_owned(),
        new: new.to_owned(),
    };
    caller.post(path::PASSWORD_RESETS, &asked)
}

/// The code that the operator tells somebody.
fn code(server: &TestServer, email: &str) -> String {
    let (_, code) = operate::offer_reset(&server.state(), email).expect("a code");
    code
}

on_both!(
    who_forgot_their_password_sets_another_by_the_operators_code,
    |server| {
        let (wren, idris) = (server.device_account("Wren"), server.account("Idris"));
        let (replica, browser) = (server.replica(), Browser::of(server, &wren));
        let (anonymous, code) = (server.anonymous(), code(server, &wren.email));

        // The code is its account's, and whoever tries it elsewhere doesn't learn who has an account.
        let elsewhere = reset(&anonymous, &idris.email, &code, NEW);
        let nobody = reset(&anonymous, "nobody@saltmarsh.example", &code, NEW);
        assert_eq!(elsewhere.problem().kind, Kind::Forbidden);
        looks_alike(&elsewhere, &nobody);
        looks_alike(&elsewhere, &reset(&anonymous, "no address", &code, NEW));
        looks_alike(
            &elsewhere,
            &reset(&anonymous, &wren.email, "BCDF-GHJK", NEW),
        );
        // A password that may not be one uses nothing up.
        let weak = reset(&anonymous, &wren.email, &code, "wrenwrenwrenwren");
        assert_eq!(weak.status, 422, "{weak:?}");
        assert_eq!(weak.problem().errors[0].pointer, "/new");

        // Typed as it was heard, at another replica.
        let heard = code.to_lowercase().replace('-', " ");
        assert_eq!(
            reset(&replica.anonymous(), &wren.email, &heard, NEW).status,
            204
        );

        assert_eq!(wren.get(path::ACCOUNT).status, 401);
        assert_eq!(wren.ask_for_tokens(server).status, 401);
        assert_eq!(browser.get("/").status, 303);
        let enter = |password: &str| sign_in(&anonymous, &wren.email, password, None).status;
        assert_eq!((enter(&wren.password), enter(NEW)), (401, 201));
        assert_eq!(reset(&anonymous, &wren.email, &code, NEW).status, 403);
        assert_eq!(idris.get(path::ACCOUNT).status, 200);
    }
);

on_both!(
    a_code_for_a_forgotten_password_ends_by_the_hour_by_another_password_and_with_the_account,
    |server| {
        let (anonymous, wren) = (server.anonymous(), server.account("Wren"));
        let old = code(server, &wren.email);
        server.clock.advance(TimeDelta::minutes(61));
        assert_eq!(reset(&anonymous, &wren.email, &old, NEW).status, 403);

        let wren = wren.elsewhere(false);
        let (first, second) = (code(server, &wren.email), code(server, &wren.email));
        let change = PasswordChange {
            current: wren.password.clone(),
            new: "heron on the weir at noon".to_owned(),
            end_other_sessions: false,
        };
        assert_eq!(wren.put(path::PASSWORD, &change).status, 204);
        for code in [first, second] {
            assert_eq!(reset(&anonymous, &wren.email, &code, NEW).status, 403);
        }

        let last = code(server, &wren.email);
        operate::close(&server.state(), &wren.email).expect("closed");
        assert_eq!(reset(&anonymous, &wren.email, &last, NEW).status, 403);
        let refused = operate::offer_reset(&server.state(), &wren.email);
        assert!(refused.is_err_and(|why| why.to_string().contains("reopen")));
    }
);

on_both!(guessing_resets_makes_a_network_wait, |server| {
    let (anonymous, wren) = (server.anonymous(), server.account("Wren"));
    let code = code(server, &wren.email);
    for _ in 0..20 {
        assert_eq!(reset(&anonymous, &wren.email, "BCDF", NEW).status, 403);
    }
    let waits = reset(&anonymous, &wren.email, &code, NEW);
    assert_eq!(waits.status, 429, "{waits:?}");
    assert!(waits.header("retry-after").is_some());
    server.clock.advance(TimeDelta::minutes(15));
    assert_eq!(reset(&anonymous, &wren.email, &code, NEW).status, 204);
});

#[test]
fn an_operator_has_a_code_made_beside_the_running_server() {
    let place = Place::sqlite();
    let _server = place.start();
    let wren = Person::open(&place.anonymous(), "Wren Halloran", false);
    let make = |email: &str| {
        let mut command = place.command("reset-password");
        command.arg(email).output().expect("a process")
    };
    let done = make(&wren.email);
    assert!(done.status.success(), "{done:?}");
    let told = String::from_utf8(done.stdout).expect("text");
    let (code, rest) = told.split_once('\n').expect("the code in its own line");
    assert!(
        rest.contains("Wren Halloran") && rest.contains("/reset"),
        "{rest}"
    );
    assert_eq!(
        reset(&place.anonymous(), &wren.email, code, NEW).status,
        204
    );
    let refused = make("nobody@saltmarsh.example");
    assert!(!refused.status.success());
    let why = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(why.contains("no account"), "{why}");
    assert!(!place.log().contains(code), "the code is in the log");
}
