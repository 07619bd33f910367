//! Signing in and out in a browser: what the session is, when it ends, and that a failure tells nothing.

use chrono::TimeDelta;
use reqwest::Method;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::session::SessionInfo;
use whorl_http::operate;
use whorl_tests::paddock::{self};
use whorl_tests::{Answer, Browser, Database, TestServer, on_both};

use super::{cookies, location};

on_both!(
    signing_in_leads_to_the_herd_and_signing_out_ends_the_session,
    |server| {
        let wren = server.account("Wren");
        let browser = Browser::new(server);
        assert_eq!(location(&browser.get("/")), Some("/sign-in"));
        let form = browser.get("/sign-in");
        assert_eq!(form.status, 200);
        assert!(
            form.header("content-type")
                .is_some_and(|kind| kind.starts_with("text/html"))
        );

        let entered = browser.sign_in(&wren.email, &wren.password);
        assert_eq!(location(&entered), Some("/"));
        let set = cookies(&entered);
        let session = set
            .iter()
            .find(|one| one.starts_with("whorl=wp1."))
            .expect("a session");
        for wanted in ["; Path=/", "; HttpOnly", "; SameSite=Lax"] {
            assert!(session.contains(wanted), "{session}");
        }
        assert!(
            !session.contains("Max-Age") && !session.contains("Domain"),
            "{session}"
        );
        let herd = browser.get("/");
        assert_eq!(herd.status, 200);
        assert!(herd.text().contains("Wren"));
        assert_eq!(location(&browser.get("/sign-in")), Some("/"));

        // It is among the account's sessions, and can be ended there.
        let listed: Page<SessionInfo> = wren.get(path::SESSIONS).read();
        assert_eq!(listed.items.len(), 2);

        let copy = Browser::new(server);
        let (name, value) = session
            .split(';')
            .next()
            .and_then(|one| one.split_once('='))
            .expect("a cookie");
        copy.keep(name, value);
        assert_eq!(copy.get("/").status, 200);
        let left = browser.submit("/", "/sign-out", &[]);
        assert_eq!(location(&left), Some("/sign-in"));
        assert!(cookies(&left)[0].starts_with("whorl=; "));
        // Whoever kept the cookie has nothing of it.
        assert_eq!(location(&copy.get("/")), Some("/sign-in"));
        let listed: Page<SessionInfo> = wren.get(path::SESSIONS).read();
        assert_eq!(listed.items.len(), 1);
    }
);

on_both!(a_session_ended_elsewhere_ends_in_the_browser, |server| {
    let wren = server.account("Wren");
    let browser = Browser::of(server, &wren);
    let listed: Page<SessionInfo> = wren.get(path::SESSIONS).read();
    let other = listed
        .items
        .iter()
        .find(|one| !one.current)
        .expect("the browser's");
    assert_eq!(wren.delete(&path::session(other.id)).status, 204);
    assert_eq!(location(&browser.get("/")), Some("/sign-in"));
});

on_both!(a_session_ends_when_unused_and_after_its_time, |server| {
    let wren = server.account("Wren");
    let shared = Browser::of(server, &wren);
    let own = Browser::new(server);
    let token = own.get("/sign-in").form_token();
    let fields = [
        ("form_token", token.as_str()),
        ("email", &wren.email),
        ("password", &wren.password),
        ("own", "yes"),
    ];
    let entered = own.post("/sign-in", &fields);
    assert!(cookies(&entered)[0].contains("; Max-Age=2592000"));
    server
        .clock
        .advance(TimeDelta::hours(12) - TimeDelta::seconds(1));
    assert_eq!(shared.get("/").status, 200);
    server.clock.advance(TimeDelta::seconds(1));
    assert_eq!(location(&shared.get("/")), Some("/sign-in"));
    // Used every six days it lives for thirty, and no longer.
    for _ in 0..4 {
        assert_eq!(own.get("/").status, 200);
        server.clock.advance(TimeDelta::days(6));
    }
    assert_eq!(own.get("/").status, 200);
    server.clock.advance(TimeDelta::days(6));
    assert_eq!(location(&own.get("/")), Some("/sign-in"));

    let unused = Browser::new(server);
    let token = unused.get("/sign-in").form_token();
    let fields = [
        ("form_token", token.as_str()),
        fields[1],
        fields[2],
        fields[3],
    ];
    assert_eq!(unused.post("/sign-in", &fields).status, 303);
    server.clock.advance(TimeDelta::days(7));
    assert_eq!(location(&unused.get("/")), Some("/sign-in"));
});

on_both!(who_fails_to_sign_in_learns_nothing, |server| {
    let wren = server.account("Wren");
    let told = |email: &str, password: &str| {
        let answer = Browser::new(server).sign_in(email, password);
        assert_eq!(answer.status, 422);
        assert!(
            cookies(&answer)
                .iter()
                .all(|one| !one.starts_with("whorl=")),
            "{answer:?}"
        );
        let text = answer.text();
        let (_, alert) = text.split_once("role=\"alert\">").expect("what is wrong");
        alert.split('<').next().expect("words").to_owned()
    };
    let wrong = told(&wren.email, "not the tidal gate at all");
    assert_eq!(
        wrong,
        told("nobody@saltmarsh.example", "not the tidal gate at all")
    );
    assert_eq!(wrong, told("no address", &wren.password));
    assert_eq!(wrong, told(&wren.email, "short"));
    let (_, shown) = (
        wrong,
        Browser::new(server).sign_in("<script>\"@x.example", "x"),
    );
    assert!(
        shown
            .text()
            .contains("value=\"&lt;script&gt;&quot;@x.example\"")
    );

    // The throttle is the interface's own.
    for _ in 0..6 {
        let _ = Browser::new(server).sign_in(&wren.email, "not the tidal gate at all");
    }
    let waits = Browser::new(server).sign_in(&wren.email, &wren.password);
    assert_eq!(waits.status, 429);
    assert!(waits.header("retry-after").is_some());
});

on_both!(nobody_is_led_elsewhere_after_signing_in, |server| {
    let wren = server.account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let wanted = format!("/horses/{}/history?kind=weight&from=2026-01-01", horse.id);
    let browser = Browser::new(server);
    let asked = browser.get(&wanted);
    let asked = location(&asked).expect("a way").to_owned();
    let form = browser.get(&asked);
    let hidden = wanted.replace('&', "&amp;");
    assert!(
        form.text()
            .contains(&format!("name=\"back\" value=\"{hidden}\"")),
        "{form:?}"
    );
    for (back, leads) in [
        (wanted.as_str(), wanted.as_str()),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
    ] {
        let browser = Browser::new(server);
        let token = browser.get("/sign-in").form_token();
        let fields = [
            ("form_token", token.as_str()),
            ("email", &wren.email),
            ("password", &wren.password),
            ("back", back),
        ];
        assert_eq!(
            location(&browser.post("/sign-in", &fields)),
            Some(leads),
            "{back}"
        );
    }
});

#[test]
fn over_tls_cookies_are_bound_to_the_host() {
    let server = TestServer::start_with(Database::Sqlite, |config| {
        config.public_url = Some("https://horses.example".parse().expect("an address"));
    });
    let wren = server.account("Wren");
    let browser = Browser::new(&server);
    let form = browser.get("/sign-in");
    assert_eq!(
        form.header("strict-transport-security"),
        Some("max-age=31536000")
    );
    let before = cookies(&form);
    assert!(before[0].starts_with("__Host-whorl-before="), "{before:?}");
    assert!(before[0].ends_with("; Secure"), "{before:?}");
    let token = form.form_token();
    let fields = [
        ("form_token", token.as_str()),
        ("email", &wren.email),
        ("password", &wren.password),
    ];
    // The origin is the one that people see, whatever the proxy speaks to.
    let origin = [("origin", "https://horses.example")];
    let entered = browser.send(Method::POST, "/sign-in", &origin, Some(&fields));
    let set = cookies(&entered);
    assert!(set[0].starts_with("__Host-whorl=wp1."), "{set:?}");
    for wanted in ["; Path=/", "; HttpOnly", "; SameSite=Lax", "; Secure"] {
        assert!(set[0].contains(wanted), "{set:?}");
    }
    assert_eq!(browser.get("/").status, 200);
    assert_eq!(
        browser.submit("/", "/sign-out", &[]).status,
        403,
        "it came from 127.0.0.1"
    );
}

on_both!(a_forgotten_password_is_set_anew_in_a_browser, |server| {
    let wren = server.account("Wren");
    let (_, code) = operate::offer_reset(&server.state(), &wren.email).expect("a code");
    let new = "samphire grows by the slipway";
    let browser = Browser::new(server);
    let form = browser.get("/sign-in").text();
    assert!(form.contains("href=\"/reset\""), "{form}");
    let fields = |code| [("email", wren.email.as_str()), ("code", code), ("new", new)];
    let alert = |answer: &Answer| {
        let text = answer.text();
        let (_, alert) = text.split_once("role=\"alert\">").expect("what is wrong");
        alert.split('<').next().expect("words").to_owned()
    };

    let wrong = browser.submit("/reset", "/reset", &fields("BCDF-GHJK"));
    assert_eq!(wrong.status, 422);
    assert!(
        alert(&wrong).contains("Address and code"),
        "{}",
        alert(&wrong)
    );
    // Not from a page that this browser was given.
    let made_up = browser.post("/reset", &fields(&code));
    assert_eq!(made_up.status, 422);
    assert!(
        alert(&made_up).contains("open for too long"),
        "{}",
        alert(&made_up)
    );
    let origin = [("origin", "https://elsewhere.example")];
    let foreign = browser.send(Method::POST, "/reset", &origin, Some(&fields(&code)));
    assert_eq!(foreign.status, 403);
    let short = [
        ("email", wren.email.as_str()),
        ("code", code.as_str()),
        ("new", "short"),
    ];
    let short = browser.submit("/reset", "/reset", &short);
    assert_eq!(short.status, 422);
    assert!(alert(&short).contains("15 characters"), "{}", alert(&short));
    // The password was wrong, not the code, and nobody types that twice.
    assert!(short.text().contains(&format!("value=\"{code}\"")));

    let set = browser.submit("/reset", "/reset", &fields(&code));
    let to = location(&set).expect("another page").to_owned();
    assert!(browser.get(&to).text().contains("Your new password is set"));
    assert_eq!(location(&browser.sign_in(&wren.email, new)), Some("/"));
    let again = Browser::new(server).submit("/reset", "/reset", &fields(&code));
    assert_eq!(again.status, 422);
});
