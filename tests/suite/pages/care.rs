//! What the care engine says, on the board and on the pages of a horse and a barn.

use chrono::TimeDelta;
use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_tests::paddock::{self, Record, enter, to_barn, to_horse};
use whorl_tests::{Browser, Person, TestServer, on_both};

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

/// An owner, the farrier who trimmed her mare half a year ago, and the mare.
fn half_a_year_after_a_trim(server: &TestServer) -> (Person, Person, HorseId) {
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
    (wren, idris, horse.id)
}

on_both!(the_board_shows_what_is_due_and_who_may_do_it, |server| {
    let (wren, _, horse) = half_a_year_after_a_trim(server);
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
    assert!(farriers.contains("Trim or shoeing") && !farriers.contains("Vaccination"));
    let vets = browser.get("/?by=vet").text();
    assert!(
        vets.contains("Vaccination against rabies") || vets.contains("Vaccination against tetanus")
    );
    let own = browser.get(&format!("/horses/{horse}")).text();
    assert!(own.contains("What is due") && own.contains("Trim or shoeing"));

    // Whoever may not see the feet's record isn't told that nothing was ever done to them.
    let tove = server.account("Tove");
    let mut new = to_horse(horse, Role::BarnStaff);
    new.kinds = Some(vec![
        Kind::Weight,
        Kind::Identity,
        Kind::Breeding,
        Kind::CarePlan,
    ]);
    let _ = paddock::grant(&wren.elsewhere(false), &tove, &new);
    let limited = Browser::of(server, &tove).get("/").text();
    assert!(limited.contains("Weighing"), "{limited}");
    for hidden in ["Trim or shoeing", "Vaccination", "Worming", "teeth"] {
        assert!(!limited.contains(hidden), "{hidden}");
    }
    assert!(limited.contains("withheld from you"), "{limited}");

    // A farrier who may see nothing but feet is told of the feet, on the board as over the interface.
    let tam = server.account("Tam");
    let mut new = to_horse(horse, Role::Farrier);
    new.kinds = Some(vec![Kind::HoofCare, Kind::HoofCheck]);
    let _ = paddock::grant(&wren.elsewhere(false), &tam, &new);
    let feet = Browser::of(server, &tam);
    for page in ["/".to_owned(), format!("/horses/{horse}")] {
        let text = feet.get(&page).text();
        assert!(
            text.contains("Trim or shoeing") && !text.contains("Weighing"),
            "{text}"
        );
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
    assert!(no.contains("If this plan is kept") && no.contains("FEI: equine influenza"));
    let all = browser.get(&format!("/barns/{}/{ask}", barn.id)).text();
    assert!(all.contains("Samphire") && all.contains("Marram"));
    assert_eq!(
        all.matches("<span class=\"tag yes\">Yes</span>").count(),
        1,
        "{all}"
    );
    assert_eq!(all.matches("<span class=\"tag no\">No</span>").count(), 1);

    // The line for the show office comes before the reasons, and the form is folded away.
    let [line, why, form] = [
        "What stops it first",
        "Why, horse by horse",
        "Other rules or other days",
    ]
    .map(|text| all.find(text).expect(text));
    assert!(form < line && line < why);
    let reasons = &all[why..];
    assert!(
        reasons.contains("Marram") && !reasons.contains("Samphire"),
        "{reasons}"
    );
    // What several clauses stumble over is told once.
    assert_eq!(
        no.matches("No influenza dose that counts is on record.")
            .count(),
        1,
        "{no}"
    );

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
    let no_verdict = |text: &str| {
        text.contains("withheld from you")
            && text.contains("Can't tell")
            && !text.contains("tag yes")
            && !text.contains("tag no")
            && !text.contains("at the earliest")
    };
    assert!(no_verdict(&text), "{text}");
    let text = limited.get(&format!("/barns/{}/{ask}", barn.id)).text();
    assert!(no_verdict(&text) && !text.contains("Marram"), "{text}");
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

on_both!(a_round_is_planned_on_a_page, |server| {
    let (_, idris, _) = half_a_year_after_a_trim(server);
    let browser = Browser::of(server, &idris);
    assert!(browser.get("/").text().contains("href=\"/visits\""));
    let form = browser.get("/visits").text();
    assert!(
        form.contains("Horses a day")
            && form.contains("Saltmarsh Yard")
            && !form.contains("Without a day")
    );
    let plan = browser
        .get("/visits?capacity=4&work=hoof&off=sunday")
        .text();
    for expected in [
        "1 day",
        "Late",
        "Samphire",
        "trim or shoeing",
        "kicks with the near hind",
    ] {
        assert!(plan.contains(expected), "{expected}: {plan}");
    }
    let wrong = browser.get("/visits?capacity=0&from=soon").text();
    assert!(wrong.contains("“soon” is no day"), "{wrong}");
    let wrong = browser.get("/visits?capacity=0").text();
    assert!(wrong.contains("1 to 500 horses a day"), "{wrong}");
    let elsewhere = uuid::Uuid::now_v7();
    let answer = browser.get(&format!("/visits?capacity=4&barn={elsewhere}"));
    assert_eq!(answer.status, 404);
});
