//! Horses: opening a log, seeing what it says, and moving from barn to barn.

use serde_json::json;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::sync::Outcome;
use whorl_tests::on_both;
use whorl_tests::paddock::{self, Record, enter, new_id, record, to_barn, to_horse};

use crate::looks_absent;

on_both!(opening_a_log_twice_opens_one, |server| {
    let wren = server.account("Wren");
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let other = paddock::barn(&wren, "Saltmarsh Winter Quarters");
    let new = NewHorse {
        id: new_id(),
        barn_id: barn.id,
    };

    let first = wren.post(path::HORSES, &new);
    let second = wren.post(path::HORSES, &new);

    assert_eq!((first.status, second.status), (201, 200));
    let horse: Horse = first.read();
    assert_eq!(second.read::<Horse>(), horse);
    assert_eq!((horse.owner_id, horse.seq), (wren.account(), 0));
    assert_eq!(horse.roles, [Role::Owner]);
    assert_eq!(horse.handling, None);

    let elsewhere = NewHorse {
        barn_id: other.id,
        ..new
    };
    assert_eq!(
        wren.post(path::HORSES, &elsewhere).problem().kind,
        ProblemKind::Conflict
    );
    server.clock.advance(chrono::TimeDelta::seconds(1));
    // The horse has moved since, and the answer to the first request comes to be asked for once more.
    let moved = wren.put(&path::horse_barn(horse.id), &json!({"barn_id": other.id}));
    assert_eq!(moved.read::<Horse>().barn_id, other.id);
    let again = wren.post(path::HORSES, &new);
    assert_eq!(
        (again.status, again.read::<Horse>().barn_id),
        (200, other.id)
    );
});

on_both!(an_id_that_is_taken_is_taken_for_everybody_else, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let theirs = paddock::barn(&tamsin, "Heronsgate");

    let new = NewHorse {
        id: horse.id,
        barn_id: theirs.id,
    };
    let answer = tamsin.post(path::HORSES, &new);

    assert_eq!(
        (answer.status, answer.problem().kind),
        (409, ProblemKind::Conflict)
    );
    assert_eq!(wren.get(&path::horse(horse.id)).read::<Horse>(), horse);
});

on_both!(a_horse_needs_a_barn_that_its_owner_may_use, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let ask = |barn_id: BarnId| {
        let new = NewHorse {
            id: new_id(),
            barn_id,
        };
        tamsin.post(path::HORSES, &new)
    };

    let (hidden, absent) = (ask(barn.id), ask(new_id()));
    assert_eq!(hidden.status, 422);
    assert_eq!(hidden.problem().errors, absent.problem().errors);
    assert_eq!(hidden.problem().errors[0].pointer, "/barn_id");

    // A grant as owner for the barn is room for horses of one's own, and no sight of others'.
    let theirs = paddock::horse(&wren, barn.id);
    let _ = paddock::grant(&wren, &tamsin, &to_barn(barn.id, Role::Owner));
    assert_eq!(ask(barn.id).status, 201);
    looks_absent(
        &tamsin.get(&path::horse(theirs.id)),
        &tamsin.get(&path::horse(new_id::<HorseId>())),
    );
    // Whoever runs the barn looks after the boarder.
    let listed: Page<Horse> = wren.get(path::HORSES).read();
    let boarder = listed
        .items
        .iter()
        .find(|one| one.owner_id == tamsin.account());
    assert_eq!(boarder.expect("the boarder").roles, [Role::BarnStaff]);
});

on_both!(a_horse_is_hidden_from_strangers, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let absent: HorseId = new_id();

    looks_absent(
        &tamsin.get(&path::horse(horse.id)),
        &tamsin.get(&path::horse(absent)),
    );
    let to = json!({"barn_id": paddock::barn(&tamsin, "Heronsgate").id});
    looks_absent(
        &tamsin.put(&path::horse_barn(horse.id), &to),
        &tamsin.put(&path::horse_barn(absent), &to),
    );
    assert!(
        tamsin
            .get(path::HORSES)
            .read::<Page<Horse>>()
            .items
            .is_empty()
    );
    assert_eq!(tamsin.get("/v1/horses/not-an-id").status, 404);
    assert_eq!(server.anonymous().get(path::HORSES).status, 401);
});

on_both!(a_long_list_comes_in_pages_without_a_gap, |server| {
    let wren = server.account("Wren");
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let mut ids: Vec<HorseId> = (0..5).map(|_| paddock::horse(&wren, barn.id).id).collect();
    ids.sort_unstable();

    let mut seen = Vec::new();
    let mut next = format!("{}?limit=2", path::HORSES);
    let mut pages = 0;
    loop {
        let page: Page<Horse> = wren.get(&next).read();
        seen.extend(page.items.iter().map(|one| one.id));
        pages += 1;
        let Some(cursor) = page.next_cursor else {
            break;
        };
        next = format!("{}?limit=2&cursor={cursor}", path::HORSES);
    }

    assert_eq!((seen, pages), (ids, 3));
    let all: Page<Horse> = wren
        .get(&format!("{}?limit=1000000000", path::HORSES))
        .read();
    assert_eq!(all.items.len(), 5);
    let wrong = wren.get(&format!("{}?cursor=first", path::HORSES));
    assert_eq!(wrong.problem().errors[0].pointer, "/cursor");
    assert_eq!(wren.get(&format!("{}?page=2", path::HORSES)).status, 400);
});

on_both!(the_profile_and_the_caution_come_from_the_log, |server| {
    let wren = server.device_account("Wren");
    let idris = server.device_account("Idris");
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let _ = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let _ = paddock::licence(&idris, Role::Farrier);
    let identity = json!({"name": "Plover", "sex": "mare", "foaled_on": "2016-04-19"});

    enter(server, &wren, &Record::identity(horse.id, identity));
    enter(server, &wren, &Record::weight(horse.id, Role::Owner));
    enter(
        server,
        &idris,
        &Record::trim(horse.id, "Leans on the near hind."),
    );

    let shown: Horse = wren.get(&path::horse(horse.id)).read();
    assert_eq!(shown.seq, 3);
    assert_eq!(shown.profile.name.as_deref(), Some("Plover"));
    assert_eq!(shown.profile.weight_kg, Some(512.0));
    assert_eq!(
        shown.handling.as_ref().expect("a caution").text,
        "Leans on the near hind."
    );
    let listed: Page<Horse> = wren.get(path::HORSES).read();
    assert_eq!(listed.items, [shown]);
});

on_both!(
    a_limit_to_some_kinds_hides_the_rest_but_never_a_caution,
    |server| {
        let wren = server.device_account("Wren");
        let (idris, tamsin) = (server.device_account("Idris"), server.account("Tamsin"));
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
        let _ = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
        let _ = paddock::licence(&idris, Role::Farrier);
        let mut limited = to_horse(horse.id, Role::BarnStaff);
        limited.kinds = Some(vec![Kind::BodyCondition]);
        let _ = paddock::grant(&wren, &tamsin, &limited);
        let identity = json!({"name": "Plover", "sex": "mare", "risks": ["travels"], "registered_name": "Plover of the Strand"});
        enter(server, &wren, &Record::identity(horse.id, identity));
        enter(server, &wren, &Record::weight(horse.id, Role::Owner));
        enter(
            server,
            &idris,
            &Record::trim(horse.id, "Kicks with the left hind."),
        );

        let shown: Horse = tamsin.get(&path::horse(horse.id)).read();

        assert_eq!(
            shown.handling.expect("a caution").text,
            "Kicks with the left hind."
        );
        assert_eq!(shown.profile.name.as_deref(), Some("Plover"));
        assert_eq!(shown.profile.registered_name, None);
        assert_eq!(shown.profile.weight_kg, None);
        assert_eq!(shown.profile.shod, None);
        assert!(shown.profile.risks.is_empty());
        assert_eq!(shown.seq, 3);
    }
);

on_both!(
    grants_of_a_barn_follow_the_barn_and_not_the_horse,
    |server| {
        let wren = server.account("Wren");
        let (idris, maren) = (server.account("Idris"), server.account("Maren"));
        let (here, there) = (
            paddock::barn(&wren, "Saltmarsh Yard"),
            paddock::barn(&wren, "Cordgrass"),
        );
        let horse = paddock::horse(&wren, here.id);
        let _ = paddock::grant(&wren, &idris, &to_barn(here.id, Role::Farrier));
        let _ = paddock::grant(&wren, &maren, &to_barn(there.id, Role::Vet));
        let page = path::horse(horse.id);
        assert_eq!(
            (idris.get(&page).status, maren.get(&page).status),
            (200, 404)
        );

        let refused = idris.put(&path::horse_barn(horse.id), &json!({"barn_id": there.id}));
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, ProblemKind::Forbidden)
        );
        let moved = wren.put(&path::horse_barn(horse.id), &json!({"barn_id": there.id}));

        assert_eq!(moved.read::<Horse>().barn_id, there.id);
        assert_eq!(
            (idris.get(&page).status, maren.get(&page).status),
            (404, 200)
        );
    }
);

on_both!(
    what_was_recorded_before_a_horse_moved_waits_for_its_owner,
    |server| {
        let (wren, idris) = (
            server.device_account("Wren"),
            server.device_account("Idris"),
        );
        let (here, there) = (
            paddock::barn(&wren, "Saltmarsh Yard"),
            paddock::barn(&wren, "Cordgrass"),
        );
        let horse = paddock::horse(&wren, here.id);
        let _ = paddock::grant(&wren, &idris, &to_barn(here.id, Role::Farrier));
        let before = server.now();
        server.clock.advance(chrono::TimeDelta::minutes(2));
        let moved = wren.put(&path::horse_barn(horse.id), &json!({"barn_id": there.id}));
        assert_eq!(moved.status, 200);
        server.clock.advance(chrono::TimeDelta::minutes(2));

        let mut late = Record::weight(horse.id, Role::Farrier);
        late.recorded_at = Some(before);
        assert_eq!(record(server, &idris, &late), Outcome::Held);
        late.recorded_at = None;
        assert!(matches!(
            record(server, &idris, &late),
            Outcome::Refused { .. }
        ));
    }
);
