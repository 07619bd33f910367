//! Barns: who opens, sees and changes them.

use std::slice;

use serde_json::json;
use whorl_care::ids::BarnId;
use whorl_care::kind::Role;
use whorl_contract::barn::Barn;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_tests::on_both;
use whorl_tests::paddock::{self, new_id, to_barn, to_horse};

use crate::looks_absent;

on_both!(a_barn_is_opened_listed_and_changed_by_its_owner, |server| {
    let wren = server.account("Wren");

    let opened = wren.post(
        path::BARNS,
        &json!({"name": " Saltmarsh Yard ", "time_zone": "Europe/London", "region": "GB"}),
    );
    assert_eq!(opened.status, 201);
    let barn: Barn = opened.read();

    assert_eq!(barn.owner_id, wren.account());
    assert_eq!(barn.name, "Saltmarsh Yard");
    assert_eq!(barn.region.as_deref(), Some("gb"));
    assert_eq!(barn.created_at, server.now());
    let page: Page<Barn> = wren.get(path::BARNS).read();
    assert_eq!(page, Page::whole(vec![barn.clone()]));

    let moved = json!({"name": "Saltmarsh Yard", "time_zone": "America/New_York", "region": null});
    let changed: Barn = wren.put(&path::barn(barn.id), &moved).read();
    assert_eq!(changed.time_zone, "America/New_York");
    assert_eq!(changed.region, None);
    assert_eq!(wren.get(&path::barn(barn.id)).read::<Barn>(), changed);
});

on_both!(
    a_barn_without_sound_details_is_refused_at_each_of_them,
    |server| {
        let wren = server.account("Wren");
        let wrong = json!({"name": "  ", "time_zone": "Saltmarsh/Yard", "region": "great britain"});

        let answer = wren.post(path::BARNS, &wrong);

        assert_eq!(answer.status, 422);
        let pointers: Vec<String> = answer
            .problem()
            .errors
            .into_iter()
            .map(|one| one.pointer)
            .collect();
        assert_eq!(pointers, ["/name", "/time_zone", "/region"]);
        let unknown = json!({"name": "Saltmarsh Yard", "time_zone": "Europe/London", "owner_id": wren.account()});
        assert_eq!(wren.post(path::BARNS, &unknown).status, 422);
        let page: Page<Barn> = wren.get(path::BARNS).read();
        assert!(page.items.is_empty());
    }
);

on_both!(a_barn_is_hidden_from_strangers, |server| {
    let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let absent = path::barn(new_id::<BarnId>());

    looks_absent(&tamsin.get(&path::barn(barn.id)), &tamsin.get(&absent));
    let details = json!({"name": "Mine", "time_zone": "Europe/London"});
    looks_absent(
        &tamsin.put(&path::barn(barn.id), &details),
        &tamsin.put(&absent, &details),
    );
    assert!(
        tamsin
            .get(path::BARNS)
            .read::<Page<Barn>>()
            .items
            .is_empty()
    );
    assert_eq!(server.anonymous().get(&path::barn(barn.id)).status, 401);
});

on_both!(
    whoever_has_to_do_with_a_barn_sees_it_and_changes_nothing,
    |server| {
        let wren = server.account("Wren");
        let (idris, maren) = (server.account("Idris"), server.account("Maren"));
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let horse = paddock::horse(&wren, barn.id);
        // One by a grant for the barn, the other through a horse that stands there.
        let _ = paddock::grant(&wren, &idris, &to_barn(barn.id, Role::Farrier));
        let _ = paddock::grant(&wren, &maren, &to_horse(horse.id, Role::Vet));

        for person in [&idris, &maren] {
            assert_eq!(person.get(&path::barn(barn.id)).read::<Barn>(), barn);
            let listed: Page<Barn> = person.get(path::BARNS).read();
            assert_eq!(listed.items, slice::from_ref(&barn));
            let details = json!({"name": "Mine", "time_zone": "Europe/London"});
            let refused = person.put(&path::barn(barn.id), &details);
            assert_eq!(
                (refused.status, refused.problem().kind),
                (403, Kind::Forbidden)
            );
        }
    }
);
