//! Pages: who gets in, what the browser is told to keep off, and that nobody sees more there than over the interface.

use chrono::TimeDelta;
use reqwest::Method;
use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::session::SessionInfo;
use whorl_tests::paddock::{self, Record, enter, to_barn, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::{Answer, Browser, Database, Person, TestServer, on_both};

/// Every page of a horse.
fn pages_of(horse: &impl std::fmt::Display) -> Vec<String> {
    ["", "/history", "/entry", "/grants"]
        .map(|part| format!("/horses/{horse}{part}"))
        .to_vec()
}

fn location(answer: &Answer) -> Option<&str> {
    assert_eq!(answer.status, 303, "{answer:?}");
    answer.header("location")
}

fn cookies(answer: &Answer) -> Vec<String> {
    let set = answer.headers.get_all("set-cookie").iter();
    set.map(|one| one.to_str().expect("text").to_owned())
        .collect()
}

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

on_both!(a_form_is_taken_only_from_our_own_page, |server| {
    let (wren, idris) = (server.account("Wren"), server.account("Idris"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let grant = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let browser = Browser::of(server, &wren);
    let grants = format!("/horses/{}/grants", horse.id);
    let id = grant.id.to_string();
    let token = browser.get(&grants).form_token();
    let others = Browser::of(server, &idris).get(&grants).form_token();
    let own = server.url();
    let send = |headers: &[(&str, &str)], token: Option<&str>| {
        let mut fields = vec![("grant", id.as_str()), ("for", "all")];
        fields.extend(token.map(|token| ("form_token", token)));
        browser
            .send(Method::POST, &grants, headers, Some(&fields))
            .status
    };
    let before = browser.get("/sign-in").status;
    assert_eq!(before, 303);
    for (headers, token) in [
        (vec![("origin", own.as_str())], None),
        (vec![("origin", own.as_str())], Some("")),
        (vec![("origin", own.as_str())], Some(others.as_str())),
        (vec![("origin", own.as_str())], Some(&token[1..])),
        (
            vec![("origin", "https://elsewhere.example")],
            Some(token.as_str()),
        ),
        (vec![("origin", "null")], Some(token.as_str())),
        (vec![("sec-fetch-site", "cross-site")], Some(token.as_str())),
        (vec![("sec-fetch-site", "same-site")], Some(token.as_str())),
    ] {
        assert_eq!(send(&headers, token), 403, "{headers:?} {token:?}");
    }
    assert_eq!(
        idris.get(&path::horse(horse.id)).status,
        200,
        "nothing was changed"
    );
    let fits = [("origin", own.as_str()), ("sec-fetch-site", "same-origin")];
    assert_eq!(send(&fits, Some(&token)), 303);
    assert_eq!(idris.get(&path::horse(horse.id)).status, 404);

    // So it is with signing in and out.
    let stranger = Browser::new(server);
    let credentials = [
        ("email", wren.email.as_str()),
        ("password", wren.password.as_str()),
    ];
    assert_eq!(stranger.post("/sign-in", &credentials).status, 422);
    let token = Browser::new(server).get("/sign-in").form_token();
    let borrowed = [
        ("form_token", token.as_str()),
        credentials[0],
        credentials[1],
    ];
    let _ = stranger.get("/sign-in");
    assert_eq!(stranger.post("/sign-in", &borrowed).status, 422);
    let token = stranger.get("/sign-in").form_token();
    let fits = [
        ("form_token", token.as_str()),
        credentials[0],
        credentials[1],
    ];
    let foreign = [("origin", "https://elsewhere.example")];
    assert_eq!(
        stranger
            .send(Method::POST, "/sign-in", &foreign, Some(&fits))
            .status,
        403
    );
    assert_eq!(browser.post("/sign-out", &[]).status, 403);
    assert_eq!(browser.get("/").status, 200);
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

on_both!(every_page_keeps_scripts_and_caches_off, |server| {
    let wren = server.device_account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let browser = Browser::of(server, &wren);
    let mut paths = pages_of(&horse.id);
    paths.extend(["/".to_owned(), "/horses/nothing".to_owned()]);
    for path in &paths {
        let page = browser.get(path);
        assert_eq!(
            page.header("content-security-policy"),
            Some(
                "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; \
                 frame-ancestors 'none'; base-uri 'none'"
            ),
            "{path}"
        );
        assert_eq!(page.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(page.header("referrer-policy"), Some("same-origin"));
        assert_eq!(page.header("cache-control"), Some("no-store"));
        assert_eq!(page.header("strict-transport-security"), None);
        let text = page.text();
        for kept_out in [
            "<script",
            " style=",
            "<style",
            " onclick",
            "href=\"http",
            "src=",
            "url(",
        ] {
            assert!(!text.contains(kept_out), "{path}: {kept_out}");
        }
        assert_eq!(text.matches("<h1").count(), 1, "{path}");
        assert!(
            text.contains("<html lang=\"en\"") && text.contains("<main"),
            "{path}"
        );
    }
    let text = browser.get("/").text();
    let (_, sheet) = text
        .split_once("rel=\"stylesheet\" href=\"")
        .expect("a sheet");
    let sheet = browser.get(sheet.split('"').next().expect("its address"));
    assert_eq!(
        sheet.header("content-type"),
        Some("text/css; charset=utf-8")
    );
    assert!(
        sheet
            .header("cache-control")
            .is_some_and(|kept| kept.contains("immutable"))
    );
    let etag = sheet.header("etag").expect("an ETag").to_owned();
    let again = browser.send(Method::GET, "/style.css", &[("if-none-match", &etag)], None);
    assert_eq!(
        (again.status, again.header("cache-control")),
        (304, Some("no-cache"))
    );
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

on_both!(another_account_sees_nothing, |server| {
    let (wren, tamsin) = (server.device_account("Wren"), server.account("Tamsin"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    enter(
        server,
        &wren,
        &Record::identity(horse.id, json!({"name": "Samphire"})),
    );
    let browser = Browser::of(server, &tamsin);
    let id = horse.id.to_string();
    let herd = browser.get("/").text();
    assert!(!herd.contains(&id) && !herd.contains("Samphire") && !herd.contains("Saltmarsh Yard"));
    let plain = |answer: &Answer| (answer.status, answer.text());
    for (hidden, absent) in pages_of(&id).iter().zip(pages_of(&wren.account())) {
        assert_eq!(
            plain(&browser.get(hidden)),
            plain(&browser.get(&absent)),
            "{hidden}"
        );
        assert_eq!(browser.get(hidden).status, 404);
        let stranger = Browser::new(server);
        assert!(location(&stranger.get(hidden)).is_some_and(|to| to.starts_with("/sign-in?back=")));
    }

    let grant = paddock::grant(&wren, &tamsin, &to_horse(horse.id, Role::Farrier));
    for page in pages_of(&id) {
        assert_eq!(browser.get(&page).status, 200, "{page}");
    }
    assert!(browser.get("/").text().contains("Samphire"));
    assert_eq!(wren.delete(&path::grant(grant.id)).status, 204);
    for page in pages_of(&id) {
        assert_eq!(browser.get(&page).status, 404, "{page}");
    }
    assert!(!browser.get("/").text().contains("Samphire"));
});

on_both!(what_people_write_is_text_and_nothing_else, |server| {
    let wren = server.device_account("<script>alert(1)</script>");
    let idris = server.device_account("Idris");
    let barn = paddock::barn(&wren, "<img src=x onerror=alert(2)>");
    let horse = paddock::horse(&wren, barn.id);
    let named = json!({"name": "<script>alert(3)</script>", "markings": "\"'><b>star</b>"});
    enter(server, &wren, &Record::identity(horse.id, named));
    let _ = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let _ = paddock::licence(&idris, Role::Farrier);
    enter(
        server,
        &idris,
        &Record::trim(horse.id, "<svg onload=alert(4)> kicks"),
    );
    let noted = Pen::of(&wren, Role::Owner)
        .weight(horse.id, 512.0)
        .recorded_at(server.now())
        .note("</p><script>alert(5)</script>");
    let pushed = wren.post(path::EVENTS, &json!({"events": [noted.sign()]}));
    assert_eq!(pushed.status, 200, "{pushed:?}");

    let browser = Browser::of(server, &wren);
    let mut paths = pages_of(&horse.id);
    paths.push("/".to_owned());
    for path in &paths {
        let text = browser.get(path).text();
        for raw in ["<script", "<img", "<b>", "<svg onload"] {
            assert!(!text.contains(raw), "{path}: {raw}");
        }
        assert!(text.contains("&lt;script&gt;alert(3)"), "{path}");
    }
    let text = browser.get(&paths[1]).text();
    assert!(
        text.contains("&lt;script&gt;alert(5)")
            && text.contains("&lt;svg onload=alert(4)&gt; kicks")
    );
    let query = "?kind=%22%3E%3Cscript%3E&from=%22%3E%3Cscript%3E";
    let text = browser.get(&format!("{}{query}", paths[1])).text();
    assert!(!text.contains("<script") && text.contains("role=\"alert\""));
});

on_both!(a_limited_account_sees_only_its_kinds, |server| {
    let (wren, idris) = (server.device_account("Wren"), server.account("Idris"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let id = json!({"name": "Samphire", "microchip": "826098500123456"});
    enter(server, &wren, &Record::identity(horse.id, id));
    enter(server, &wren, &Record::weight(horse.id, Role::Owner));
    let score = json!({"score": 3.5});
    enter(
        server,
        &wren,
        &Record::new(horse.id, Role::Owner, Kind::BodyCondition, score),
    );
    let mut new = to_horse(horse.id, Role::BarnStaff);
    new.kinds = Some(vec![Kind::Weight]);
    let _ = paddock::grant(&wren, &idris, &new);

    let limited = Browser::of(server, &idris);
    for page in &pages_of(&horse.id)[..2] {
        let text = limited.get(page).text();
        assert!(
            text.contains("Samphire") && text.contains("512 kg"),
            "{page}"
        );
        for hidden in ["3.5", "826098500123456", "Body condition"] {
            assert!(!text.contains(hidden), "{page}: {hidden}");
        }
    }
    let text = limited
        .get(&format!("/horses/{}/history?kind=body_condition", horse.id))
        .text();
    assert!(!text.contains("3.5"));
    let whole = Browser::of(server, &wren)
        .get(&pages_of(&horse.id)[1])
        .text();
    assert!(whole.contains("3.5") && whole.contains("826098500123456"));
});

on_both!(a_history_is_shown_by_kind_day_and_page, |server| {
    let wren = server.device_account("Wren");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let pen = Pen::of(&wren, Role::Owner);
    let mut events = Vec::new();
    for day in 1..=45 {
        let at = format!(
            "2026-{:02}-{:02}T08:00:00+00:00",
            1 + day / 28,
            1 + day % 28
        );
        let weight = pen
            .weight(horse.id, 400.0 + f64::from(day))
            .performed_at(&at);
        events.push(weight.recorded_at(server.now()).sign());
    }
    let withdrawn = pen.weight(horse.id, 999.0).recorded_at(server.now());
    let why = pen
        .draft(horse.id, Kind::Retraction)
        .about(withdrawn.id())
        .details(json!({"reason": "the other grey mare"}))
        .recorded_at(server.now());
    events.extend([withdrawn.sign(), why.sign()]);
    let pushed = wren.post(path::EVENTS, &json!({"events": events}));
    assert_eq!(pushed.status, 200, "{pushed:?}");

    let browser = Browser::of(server, &wren);
    let history = format!("/horses/{}/history", horse.id);
    let first = browser.get(&format!("{history}?kind=weight")).text();
    assert_eq!(first.matches("<article").count(), 40);
    assert!(first.contains("445 kg") && !first.contains("405 kg") && !first.contains("999 kg"));
    let (_, next) = first.split_once("rel=\"next\" href=\"").expect("more");
    let next = next
        .split('"')
        .next()
        .expect("an address")
        .replace("&amp;", "&");
    assert!(next.ends_with("&kind=weight"), "{next}");
    let second = browser.get(&next).text();
    assert_eq!(second.matches("<article").count(), 5);
    assert!(second.contains("401 kg") && !second.contains("rel=\"next\""));

    let one = browser
        .get(&format!("{history}?from=2026-01-03&until=2026-01-03"))
        .text();
    assert_eq!(one.matches("<article").count(), 1);
    assert!(one.contains("402 kg") && one.contains("3 January 2026, 08:00"));
    let all = browser.get(&format!("{history}?withdrawn=yes")).text();
    assert!(
        all.contains("999 kg") && all.contains("Withdrawn") && all.contains("the other grey mare")
    );
    let wrong = browser.get(&format!("{history}?from=yesterday")).text();
    assert!(wrong.contains("aria-describedby=\"refused\"") && wrong.contains("role=\"alert\""));
});

on_both!(an_owner_ends_a_grant_on_its_page, |server| {
    let (wren, idris, maren) = (
        server.account("Wren"),
        server.account("Idris"),
        server.account("Maren"),
    );
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let farriers = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let vets = paddock::grant(&wren, &maren, &to_horse(horse.id, Role::Vet));
    let page = format!("/horses/{}/grants", horse.id);
    let owner = Browser::of(server, &wren);
    let text = owner.get(&page).text();
    assert!(text.contains("Idris") && text.contains("Maren") && text.contains("<caption"));
    let vet = Browser::of(server, &maren);
    assert!(!vet.get(&page).text().contains("Idris"));

    let id = farriers.id.to_string();
    let refused = vet.submit(&page, &page, &[("grant", &id), ("for", "all")]);
    assert_eq!(refused.status, 404);
    let done = owner.submit(&page, &page, &[("grant", &id), ("for", "all")]);
    assert_eq!(location(&done), Some(page.as_str()));
    assert_eq!(idris.get(&path::horse(horse.id)).status, 404);
    // Whoever gives up what they had is not led to what they see no more.
    let id = vets.id.to_string();
    let done = vet.submit(&page, &page, &[("grant", &id), ("for", "all")]);
    assert_eq!(location(&done), Some("/"));
    assert_eq!(owner.submit(&page, &page, &[("grant", "none")]).status, 404);
});

on_both!(a_browser_is_told_of_errors_in_pages, |server| {
    let wren = server.account("Wren");
    let browser = Browser::of(server, &wren);
    let html = [("accept", "text/html,application/xhtml+xml")];
    let lost = browser.send(Method::GET, "/no/such/page", &html, None);
    assert_eq!(lost.status, 404);
    assert!(
        lost.text().contains("<h1>Nothing to see here</h1>"),
        "{lost:?}"
    );
    // Programs get what they always got.
    assert_eq!(
        server.anonymous().get("/no/such/page").problem().status,
        404
    );
    assert_eq!(
        browser
            .send(Method::GET, "/v1/no", &html, None)
            .problem()
            .status,
        404
    );
    let wrong = browser.send(Method::DELETE, "/", &html, None);
    assert_eq!(wrong.status, 405);
    assert!(wrong.text().contains("<h1>"), "{wrong:?}");
    // The pass of a browser is none for the interface.
    assert_eq!(browser.get(path::ACCOUNT).status, 401);
    for forged in [
        "",
        "wp1",
        "wp1.x.y",
        "wp1.0199f3a0-7c00-7000-8000-000000000002.AAAA",
    ] {
        let stranger = Browser::new(server);
        stranger.keep("whorl", forged);
        assert_eq!(location(&stranger.get("/")), Some("/sign-in"), "{forged}");
    }
});

/// A vaccination by a vet of today's Europe, so that its course can be told.
fn influenza(server: &TestServer, vet: &Person, horse: HorseId) {
    let dose = json!({
        "targets": ["influenza"], "product": "Tidevax Flu", "lot_number": "SM-0417",
        "expiration_date": "2028-01-31", "route": "intramuscular", "site": "left_neck",
    });
    let record = Record {
        provenance: Provenance::Attested,
        ..Record::new(horse, Role::Vet, Kind::Vaccination, dose)
    };
    enter(server, vet, &record);
}

on_both!(the_board_shows_what_is_due_and_who_may_do_it, |server| {
    let (wren, idris) = (
        server.device_account("Wren"),
        server.device_account("Idris"),
    );
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let horse = paddock::horse(&wren, barn.id);
    let id = json!({"name": "Samphire", "sex": "mare", "foaled_on": "2015-04-12"});
    enter(server, &wren, &Record::identity(horse.id, id));
    let _ = paddock::grant(&wren, &idris, &to_barn(barn.id, Role::Farrier));
    let _ = paddock::licence(&idris, Role::Farrier);
    enter(
        server,
        &idris,
        &Record::trim(horse.id, "kicks with the near hind"),
    );
    server.clock.advance(TimeDelta::days(6 * 30));
    let browser = Browser::of(server, &wren);
    let board = browser.get("/").text();
    let place = |text: &str| {
        board
            .find(text)
            .unwrap_or_else(|| panic!("{text}: {board}"))
    };
    assert!(place("kicks with the near hind") < place("Overdue ("));
    assert!(place("Overdue (") < place("Trim or shoeing"));
    assert!(place("was due by") < place("by farrier or vet"));
    let farriers = browser.get("/?by=farrier").text();
    assert!(farriers.contains("Trim or shoeing") && !farriers.contains("Vaccination:"));
    let vets = browser.get("/?by=vet").text();
    assert!(vets.contains("Vaccination: rabies") || vets.contains("Vaccination: tetanus"));
    let own = browser.get(&format!("/horses/{}", horse.id)).text();
    assert!(own.contains("What is due") && own.contains("Trim or shoeing"));

    // Whoever may not see the feet's record isn't told that nothing was ever done to them.
    let tove = server.account("Tove");
    let mut new = to_horse(horse.id, Role::BarnStaff);
    new.kinds = Some(vec![
        Kind::Weight,
        Kind::Identity,
        Kind::Breeding,
        Kind::CarePlan,
    ]);
    let _ = paddock::grant(&wren.elsewhere(false), &tove, &new);
    let limited = Browser::of(server, &tove).get("/").text();
    assert!(limited.contains("Weighing"), "{limited}");
    for hidden in ["Trim or shoeing", "Vaccination", "Worming", "Teeth"] {
        assert!(!limited.contains(hidden), "{hidden}");
    }
});

on_both!(a_check_for_entry_is_told_for_a_horse_and_a_barn, |server| {
    let (wren, maren) = (
        server.device_account("Wren"),
        server.device_account("Maren"),
    );
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let (fit, unfit) = (
        paddock::horse(&wren, barn.id),
        paddock::horse(&wren, barn.id),
    );
    for (horse, name) in [(&fit, "Samphire"), (&unfit, "Marram")] {
        let id = json!({"name": name, "microchip": "826098500123456"});
        enter(server, &wren, &Record::identity(horse.id, id));
    }
    let _ = paddock::grant(&wren, &maren, &to_barn(barn.id, Role::Vet));
    let _ = paddock::licence(&maren, Role::Vet);
    influenza(server, &maren, fit.id);
    server.clock.advance(TimeDelta::days(30));
    influenza(server, &maren.elsewhere(true), fit.id);
    server.clock.advance(TimeDelta::days(30));
    let on = server.now().date_naive();
    let browser = Browser::of(server, &wren);
    let ask = format!("entry?rules=fei-influenza&rules=microchip-iso-11784&arrives={on}");
    let yes = browser.get(&format!("/horses/{}/{ask}", fit.id)).text();
    assert!(
        yes.contains("May Samphire enter? <span class=\"tag yes\">Yes</span>"),
        "{yes}"
    );
    let no = browser.get(&format!("/horses/{}/{ask}", unfit.id)).text();
    assert!(
        no.contains("May Marram enter? <span class=\"tag no\">No</span>"),
        "{no}"
    );
    assert!(no.contains("at the earliest") && no.contains("FEI: equine influenza"));
    let all = browser.get(&format!("/barns/{}/{ask}", barn.id)).text();
    assert!(all.contains("Samphire") && all.contains("Marram"));
    assert_eq!(
        all.matches("<span class=\"tag yes\">Yes</span>").count(),
        1,
        "{all}"
    );
    assert_eq!(all.matches("<span class=\"tag no\">No</span>").count(), 1);

    let plain = browser.get(&format!("/horses/{}/entry", fit.id)).text();
    assert!(plain.contains("By which rules") && !plain.contains("enter? <span"));
    for (query, field) in [
        ("rules=no-such-rules", "wrong-rules"),
        ("rules=fei-influenza&arrives=soon", "wrong-arrives"),
        (
            "rules=fei-influenza&arrives=2027-06-02&leaves=2027-06-01",
            "wrong-leaves",
        ),
    ] {
        for page in [format!("/horses/{}", fit.id), format!("/barns/{}", barn.id)] {
            let text = browser.get(&format!("{page}/entry?{query}")).text();
            assert!(
                text.contains(&format!("aria-describedby=\"{field}\"")),
                "{query}: {text}"
            );
            assert!(text.contains(&format!("id=\"{field}\"")), "{query}");
            assert!(!text.contains("tag yes"), "{query}");
        }
    }

    // Whoever may not see the vaccinations gets no verdict that rests on their absence.
    let tove = server.account("Tove");
    let mut new = to_horse(fit.id, Role::BarnStaff);
    new.kinds = Some(vec![Kind::Weight]);
    let _ = paddock::grant(&wren.elsewhere(false), &tove, &new);
    let limited = Browser::of(server, &tove);
    let text = limited.get(&format!("/horses/{}/{ask}", fit.id)).text();
    assert!(text.contains("This can't be checked for you") && !text.contains("class=\"tag"));
    let text = limited.get(&format!("/barns/{}/{ask}", barn.id)).text();
    assert!(text.contains("Not shown") && !text.contains("Marram"));
    let stranger = Browser::of(server, &server.account("Tamsin"));
    assert_eq!(
        stranger.get(&format!("/barns/{}/{ask}", barn.id)).status,
        404
    );
});

on_both!(a_barns_recall_tells_whom_to_tell, |server| {
    let (wren, maren) = (
        server.device_account("Wren"),
        server.device_account("Maren"),
    );
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let other = paddock::barn(&wren, "Herons' Gate");
    let horses = [barn.id, barn.id, other.id].map(|barn| paddock::horse(&wren, barn));
    for (horse, name) in horses.iter().zip(["Samphire", "Marram", "Tern"]) {
        enter(
            server,
            &wren,
            &Record::identity(horse.id, json!({"name": name})),
        );
    }
    for barn in [barn.id, other.id] {
        let _ = paddock::grant(&wren, &maren, &to_barn(barn, Role::Vet));
    }
    let _ = paddock::licence(&maren, Role::Vet);
    influenza(server, &maren, horses[0].id);
    influenza(server, &maren, horses[2].id);

    let page = format!("/barns/{}/recall", barn.id);
    let owner = Browser::of(server, &wren);
    assert!(owner.get(&page).text().contains("Lot number"));
    let found = owner.get(&format!("{page}?lot=sm+0417")).text();
    assert!(
        found.contains("1 dose to horses that stand here"),
        "{found}"
    );
    assert!(found.contains("1 dose to horses elsewhere"), "{found}");
    assert!(found.contains("Samphire") && found.contains("Tern") && !found.contains("Marram"));
    assert!(
        found.contains("Maren (gave it)") && found.contains("Wren (owner)"),
        "{found}"
    );
    let none = owner.get(&format!("{page}?lot=ZZ-1")).text();
    assert!(
        none.contains("no doses to horses that stand here"),
        "{none}"
    );
    let wrong = owner.get(&format!("{page}?lot=--")).text();
    assert!(wrong.contains("aria-describedby=\"refused\""), "{wrong}");

    let stranger = Browser::of(server, &server.account("Tamsin"));
    assert_eq!(stranger.get(&format!("{page}?lot=sm0417")).status, 404);
    let tove = server.account("Tove");
    let mut new = to_horse(horses[0].id, Role::BarnStaff);
    new.kinds = Some(vec![Kind::Weight]);
    let _ = paddock::grant(&wren, &tove, &new);
    let limited = Browser::of(server, &tove)
        .get(&format!("{page}?lot=sm0417"))
        .text();
    assert!(
        limited.contains("no doses to horses that stand here"),
        "{limited}"
    );
    assert!(limited.contains("of 1 not every kind of entry is open to it"));
});
