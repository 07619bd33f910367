//! Links to a history on pages: an owner makes and ends them, and a buyer reads what is behind one without an account.

use chrono::TimeDelta;
use whorl_care::kind::Role;
use whorl_contract::path;
use whorl_tests::{Browser, on_both};

use super::location;
use crate::bundles::Log;

/// The secret that a page shows after a link was made.
fn secret(page: &str) -> String {
    let (_, rest) = page.split_once("/shared/").expect("a link");
    rest.chars()
        .take_while(|one| one.is_ascii_alphanumeric() || "-_".contains(*one))
        .collect()
}

/// Whether a number stands in a text other than within an id, which holds any three digits now and then.
fn shows_number(text: &str, number: &str) -> bool {
    let words = text.split(|one: char| !one.is_ascii_alphanumeric() && one != '.');
    let mut after = words.filter_map(|word| word.strip_prefix(number));
    after.any(|rest| !rest.starts_with(|one: char| one.is_ascii_hexdigit()))
}

on_both!(an_owner_shares_on_a_page_and_a_buyer_reads_it, |server| {
    let log = Log::on(server);
    let page = format!("/horses/{}/shares", log.horse);
    let owner = Browser::of(server, &log.yard.owner);
    let made = owner.submit(
        &page,
        &page,
        &[("label", "for Perran"), ("days", "30"), ("seal", "weight")],
    );
    assert_eq!(made.status, 200, "{}", made.text());
    let token = secret(&made.text());
    assert!(token.len() >= 32 && made.text().contains("<svg"));
    // Once: the list knows the link by its name only.
    let again = owner.get(&page).text();
    assert!(again.contains("for Perran") && !again.contains(&token));

    let buyer = Browser::new(server);
    let answer = buyer.get(&format!("/shared/{token}"));
    assert_eq!(answer.status, 200);
    for (name, value) in [
        ("x-robots-tag", "noindex, nofollow"),
        ("cache-control", "no-store"),
        ("referrer-policy", "no-referrer"),
    ] {
        assert_eq!(answer.header(name), Some(value));
    }
    let text = answer.text();
    for shown in [
        "Plover",
        "Maren Oduya",
        "the content of 3 entries",
        "1 entry was withdrawn",
        "whorl verify",
        "Copied from paper",
        "Vouched for",
    ] {
        assert!(text.contains(shown), "{shown}: {text}");
    }
    let own = owner.get(&format!("/horses/{}", log.horse)).text();
    for weight in ["431", "444.5"] {
        assert!(shows_number(&own, weight), "{weight}: {own}");
    }
    for weight in ["431", "980", "444.5"] {
        assert!(!shows_number(&text, weight), "{weight}: {text}");
    }
    for hidden in ["before breakfast", "Read pounds", "for Perran"] {
        assert!(!text.contains(hidden), "{hidden}");
    }
    let paper = buyer.get(&path::shared_pdf(&token));
    assert_eq!(paper.header("content-type"), Some("application/pdf"));
    assert_eq!(paper.header("cache-control"), Some("no-store"));
    assert!(paper.body.starts_with(b"%PDF-"));
    assert!(owner.get(&page).text().contains("2 times"));

    let list = owner.get(&page).text();
    let (_, rest) = list
        .split_once("name=\"end\" value=\"")
        .expect("a way to end it");
    let id = rest.split('"').next().expect("an id");
    let ended = owner.submit(&page, &page, &[("end", id)]);
    assert_eq!(location(&ended), Some(page.as_str()));
    let unknown = buyer.get("/shared/kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi");
    let gone = buyer.get(&format!("/shared/{token}"));
    assert_eq!((gone.status, gone.text()), (404, unknown.text()));
    assert_eq!(gone.header("x-robots-tag"), Some("noindex, nofollow"));
    assert_eq!(buyer.get(&path::shared_pdf(&token)).status, 404);

    let made = owner.submit(&page, &page, &[("days", "1")]);
    let token = secret(&made.text());
    server.clock.advance(TimeDelta::days(1));
    let expired = buyer.get(&format!("/shared/{token}"));
    assert_eq!((expired.status, expired.text()), (404, unknown.text()));
});

on_both!(
    only_an_owner_finds_the_page_and_bad_forms_share_nothing,
    |server| {
        let log = Log::on(server);
        let page = format!("/horses/{}/shares", log.horse);
        let (owner, vet) = (
            Browser::of(server, &log.yard.owner),
            Browser::of(server, &log.vet),
        );
        let stranger = Browser::of(server, &server.account("Tamsin Roe"));
        let horse = format!("/horses/{}", log.horse);
        assert!(owner.get(&horse).text().contains(&page));
        assert!(!vet.get(&horse).text().contains(&page));
        assert_eq!(vet.get(&page).status, 403);
        assert_eq!(stranger.get(&page).status, 404);
        assert!(
            location(&Browser::new(server).get(&page)).is_some_and(|to| to.starts_with("/sign-in"))
        );
        // A form that is whole but for its sender.
        let friend = server.account("Orla Vance");
        let _ = log.yard.admit(&friend, log.horse, Role::Farrier);
        let farrier = Browser::of(server, &friend);
        let token = farrier.get("/").form_token();
        let sent = farrier.post(&page, &[("form_token", &token), ("days", "1")]);
        assert_eq!(sent.status, 403);
        assert_eq!(owner.post(&page, &[("days", "1")]).status, 403);

        for wrong in [
            vec![],
            vec![("days", "0")],
            vec![("days", "91")],
            vec![("days", "soon")],
            vec![("days", "1"), ("seal", "everything")],
            vec![("days", "1"), ("before", "spring")],
        ] {
            let refused = owner.submit(&page, &page, &wrong);
            assert_eq!(refused.status, 422, "{wrong:?}");
            assert!(refused.text().contains("No link was made."), "{wrong:?}");
            assert!(!refused.text().contains("/shared/"));
        }
        assert!(owner.get(&page).text().contains("There is no link yet."));
    }
);
