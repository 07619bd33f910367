//! Closing an account: what the operator does when a phone and a password are in the wrong hands.

use serde_json::json;
use whorl_contract::calendar::Calendar;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_http::operate;
use whorl_tests::person::sign_in;
use whorl_tests::{Browser, on_both};

on_both!(a_closed_account_is_out_at_once_and_everywhere, |server| {
    let (wren, idris) = (server.device_account("Wren"), server.account("Idris"));
    let (replica, browser) = (server.replica(), Browser::of(server, &wren));
    let calendar: Calendar = wren.post(path::CALENDARS, &json!({})).read();
    let feed = calendar.address.expect("an address");
    assert_eq!(server.anonymous().get(&feed).status, 200);

    operate::close(&server.state(), &wren.email).expect("closed");

    assert_eq!(wren.get(path::ACCOUNT).status, 401);
    let there = replica.anonymous().with_token(&wren.session.access_token);
    assert_eq!(there.get(path::ACCOUNT).status, 401);
    assert_eq!(wren.ask_for_tokens(server).status, 401);
    assert_eq!(browser.get("/").status, 303);
    assert_eq!(server.anonymous().get(&feed).status, 404);
    let anonymous = server.anonymous();
    let refused = sign_in(&anonymous, &wren.email, &wren.password, wren.key.as_ref());
    assert_eq!(refused.problem().kind, Kind::WrongCredentials);
    assert_eq!(idris.get(path::ACCOUNT).status, 200);

    operate::reopen(&server.state(), &wren.email).expect("open again");

    // What had begun before stays ended: whoever held the phone doesn't come back with it.
    assert_eq!(wren.get(path::ACCOUNT).status, 401);
    assert_eq!(wren.ask_for_tokens(server).status, 401);
    let anew = sign_in(&anonymous, &wren.email, &wren.password, wren.key.as_ref());
    assert_eq!(anew.status, 201);
    assert!(operate::close(&server.state(), "nobody@saltmarsh.example").is_err());
});
