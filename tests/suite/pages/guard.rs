//! What keeps a page from harm: forms from elsewhere, scripts in what people wrote, caches, and errors told as pages.

use reqwest::Method;
use serde_json::json;
use whorl_care::kind::Role;
use whorl_contract::path;
use whorl_tests::paddock::{self, Record, enter, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::{Browser, on_both};

use super::{location, pages_of};

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
