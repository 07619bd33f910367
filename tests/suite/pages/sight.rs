//! Who sees what of a horse on its pages.

use serde_json::json;
use whorl_care::kind::{Kind, Role};
use whorl_contract::path;
use whorl_tests::paddock::{self, Record, enter, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::{Answer, Browser, on_both};

use super::{location, pages_of};

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
    assert!(one.contains("402 kg") && one.contains("3 January 2026, 08:00 UTC"));
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

    // A form ends what its own page lists: not what is of another horse, though that is hers too.
    let other = paddock::horse(&wren, paddock::barn(&wren, "Saltings").id);
    let elsewhere = paddock::grant(&wren, &idris, &to_horse(other.id, Role::Farrier));
    let id = elsewhere.id.to_string();
    for scope in ["all", "this-horse"] {
        let refused = owner.submit(&page, &page, &[("grant", &id), ("for", scope)]);
        assert_eq!(refused.status, 404, "{scope}");
    }
    assert_eq!(idris.get(&path::horse(other.id)).status, 200);
    let id = farriers.id.to_string();
    for scope in ["", "everything"] {
        let refused = owner.submit(&page, &page, &[("grant", &id), ("for", scope)]);
        assert_eq!(refused.status, 422, "{scope}");
    }
    assert_eq!(idris.get(&path::horse(horse.id)).status, 200);
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
