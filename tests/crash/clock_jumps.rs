//! A server whose clock jumps by ten years, there and back: places alone make the order, and tokens end as they say.

use chrono::TimeDelta;
use whorl_contract::path;
use whorl_contract::session::Session;
use whorl_tests::ledger::{accepted, pull_all, push_one, refusal};
use whorl_tests::person::sign_in;
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Person, TestServer, on_both};

const YEARS: i64 = 3653;

/// Signs in without a device.
fn again(server: &TestServer, person: &Person) -> Caller {
    let caller = server.anonymous();
    let session: Session = sign_in(&caller, &person.email, &person.password, None).read();
    caller.with_token(&session.access_token)
}

on_both!(ten_years_there_and_back_change_no_order, |server| {
    let yard = Yard::open(server);
    let (horse, pen) = (yard.horse(), yard.pen());
    let mut caller = Caller::clone(&yard.owner);
    let mut sent = Vec::new();
    for (jump, seq) in [0, -YEARS, 2 * YEARS, -YEARS].into_iter().zip(1..) {
        server.clock.advance(TimeDelta::days(jump));
        if jump > 0 {
            // The token has ended.
            assert_eq!(caller.get(path::ACCOUNT).status, 401);
        }
        if jump != 0 {
            caller = again(server, &yard.owner);
        }
        let now = server.now().fixed_offset();
        let event = pen.weight(horse, 500.0).recorded_at(now);
        let event = event.with(|envelope| envelope.performed_at = now);
        let event = event.sign();
        assert_eq!(accepted(&caller, &event), seq);
        // Once more: it is known, whatever the time.
        let _ = push_one(&caller, &event);
        sent.push(event.envelope.get().to_owned());
    }
    // A device whose clock runs ten years ahead is told so, and what it recorded stays with it.
    let ahead = server.now() + TimeDelta::days(YEARS);
    let early = pen.weight(horse, 500.0).recorded_at(ahead).sign();
    let why = refusal(&caller, &early);
    assert!(why.errors[0].detail.contains("clock"), "{why:?}");

    let copy = pull_all(&caller, horse, 2);
    let texts = copy.events.iter();
    let texts: Vec<&str> = texts
        .map(|event| event.envelope.as_ref().expect("an envelope").get())
        .collect();
    assert_eq!(texts, sent);
});
