//! Grants: what they give, to whom they show, and how they end.

use std::slice;
use std::thread;

use chrono::TimeDelta;
use serde_json::json;
use whorl_care::ids::GrantId;
use whorl_care::kind::{Kind, Role};
use whorl_contract::grant::Grant;
use whorl_contract::horse::Horse;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind as ProblemKind;
use whorl_contract::sync::Outcome;
use whorl_tests::paddock::{self, Record, enter, new_id, record, to_barn, to_horse};
use whorl_tests::{Person, on_both};

use crate::looks_absent;

/// In the order of a list: by id. Those of one instant come in no other.
fn in_order<const N: usize>(grants: [&Grant; N]) -> Vec<Grant> {
    let mut grants: Vec<Grant> = grants.into_iter().cloned().collect();
    grants.sort_by_key(|grant| grant.id);
    grants
}

fn listed(person: &Person, query: &str) -> Vec<Grant> {
    let page: Page<Grant> = person.get(&format!("{}{query}", path::GRANTS)).read();
    page.items
}

on_both!(an_owner_sees_every_grant_and_ends_it_at_once, |server| {
    let (wren, idris) = (server.account("Wren"), server.account("Idris"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let horse = paddock::horse(&wren, barn.id);
    let by_horse = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let by_barn = paddock::grant(&wren, &idris, &to_barn(barn.id, Role::Farrier));
    assert_eq!(by_horse.account_name, "Idris");
    assert_eq!(by_horse.granted_by, wren.account());
    let both = in_order([&by_horse, &by_barn]);
    assert_eq!(listed(&wren, ""), both);
    assert_eq!(listed(&idris, ""), both);
    assert_eq!(listed(&wren, &format!("?horse_id={}", horse.id)), both);
    assert_eq!(
        listed(&wren, &format!("?barn_id={}", barn.id)),
        slice::from_ref(&by_barn)
    );

    // The same token all along: nothing of it says what its holder may do.
    assert_eq!(wren.delete(&path::grant(by_horse.id)).status, 204);
    assert_eq!(idris.get(&path::horse(horse.id)).status, 200);
    assert_eq!(wren.delete(&path::grant(by_barn.id)).status, 204);
    assert_eq!(idris.get(&path::horse(horse.id)).status, 404);

    assert!(listed(&wren, "").is_empty());
    let ended = listed(&wren, "?ended=true");
    assert_eq!(ended.len(), 2);
    assert!(
        ended
            .iter()
            .all(|grant| grant.revoked_at == Some(server.now()))
    );
    assert_eq!(
        wren.delete(&path::grant(by_horse.id)).status,
        204,
        "again changes nothing"
    );
});

on_both!(
    a_holder_gives_a_grant_up_and_a_stranger_learns_nothing,
    |server| {
        let (wren, idris, tamsin) = (
            server.account("Wren"),
            server.account("Idris"),
            server.account("Tamsin"),
        );
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
        let grant = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));

        assert!(listed(&tamsin, "").is_empty());
        looks_absent(
            &tamsin.delete(&path::grant(grant.id)),
            &tamsin.delete(&path::grant(new_id::<GrantId>())),
        );
        let hidden = tamsin.get(&format!("{}?horse_id={}", path::GRANTS, horse.id));
        assert_eq!(hidden.status, 404);
        assert_eq!(
            server.anonymous().delete(&path::grant(grant.id)).status,
            401
        );

        assert_eq!(idris.delete(&path::grant(grant.id)).status, 204);
        assert_eq!(idris.get(&path::horse(horse.id)).status, 404);
    }
);

on_both!(
    a_co_owner_sees_all_and_ends_no_grant_but_their_own,
    |server| {
        let (wren, tamsin, idris) = (
            server.account("Wren"),
            server.account("Tamsin"),
            server.account("Idris"),
        );
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let horse = paddock::horse(&wren, barn.id);
        let own = paddock::grant(&wren, &tamsin, &to_horse(horse.id, Role::Owner));
        let farriers = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
        let shown: Horse = tamsin.get(&path::horse(horse.id)).read();
        assert_eq!(shown.roles, [Role::Owner]);

        assert_eq!(listed(&tamsin, ""), in_order([&own, &farriers]));
        let refused = tamsin.delete(&path::grant(farriers.id));
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, ProblemKind::Forbidden)
        );
        let to = json!({"barn_id": barn.id});
        assert_eq!(tamsin.put(&path::horse_barn(horse.id), &to).status, 403);
        assert_eq!(
            tamsin
                .post(path::INVITATIONS, &to_horse(horse.id, Role::Vet))
                .status,
            403
        );

        assert_eq!(tamsin.delete(&path::grant(own.id)).status, 204);
        assert_eq!(tamsin.get(&path::horse(horse.id)).status, 404);
        assert_eq!(idris.get(&path::horse(horse.id)).status, 200);
    }
);

on_both!(
    a_boarder_ends_a_barns_grant_for_their_own_horse_alone,
    |server| {
        let (wren, tamsin) = (server.account("Wren"), server.account("Tamsin"));
        let maren = server.account("Maren");
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let wrens = paddock::horse(&wren, barn.id);
        let _ = paddock::grant(&wren, &tamsin, &to_barn(barn.id, Role::Owner));
        let boarder = paddock::horse(&tamsin, barn.id);
        let vets = paddock::grant(&wren, &maren, &to_barn(barn.id, Role::Vet));
        assert_eq!(maren.get(&path::horse(boarder.id)).status, 200);
        // The boarder sees who else may see their horse.
        let covering = listed(&tamsin, &format!("?horse_id={}", boarder.id));
        assert!(covering.contains(&vets));

        let whole = tamsin.delete(&path::grant(vets.id));
        assert_eq!(
            (whole.status, whole.problem().kind),
            (403, ProblemKind::Forbidden)
        );
        let of = |horse| format!("{}?horse_id={horse}", path::grant(vets.id));
        assert_eq!(tamsin.delete(&of(wrens.id)).status, 404);
        assert_eq!(wren.delete(&of(boarder.id)).status, 404);
        assert_eq!(tamsin.delete(&of(boarder.id)).status, 204);
        assert_eq!(
            tamsin.delete(&of(boarder.id)).status,
            204,
            "again changes nothing"
        );

        assert_eq!(maren.get(&path::horse(boarder.id)).status, 404);
        assert_eq!(maren.get(&path::horse(wrens.id)).status, 200);
        let seen: Page<Horse> = maren.get(path::HORSES).read();
        assert_eq!(
            seen.items.iter().map(|one| one.id).collect::<Vec<_>>(),
            [wrens.id]
        );
        let covering = listed(&tamsin, &format!("?horse_id={}", boarder.id));
        assert!(!covering.contains(&vets));
    }
);

on_both!(
    a_grant_holds_from_its_first_instant_to_before_its_last,
    |server| {
        let (wren, idris) = (
            server.device_account("Wren"),
            server.device_account("Idris"),
        );
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
        let (from, until) = (
            server.now() + TimeDelta::days(1),
            server.now() + TimeDelta::days(3),
        );
        let mut new = to_horse(horse.id, Role::Farrier);
        (new.from, new.until) = (Some(from), Some(until));
        let _ = paddock::grant(&wren, &idris, &new);
        let page = path::horse(horse.id);
        let weight = Record::weight(horse.id, Role::Farrier);

        assert_eq!(idris.get(&page).status, 404);
        assert!(matches!(
            record(server, &idris, &weight),
            Outcome::Refused { .. }
        ));
        server.clock.advance(TimeDelta::days(1));
        let idris = idris.elsewhere(true);
        assert_eq!(idris.get(&page).status, 200);
        enter(server, &idris, &weight);
        server.clock.advance(TimeDelta::days(2));
        let idris = idris.elsewhere(true);
        assert_eq!(idris.get(&page).status, 404);
        assert!(matches!(
            record(server, &idris, &weight),
            Outcome::Refused { .. }
        ));
        let mut in_time = weight;
        in_time.recorded_at = Some(until - TimeDelta::microseconds(1));
        assert_eq!(record(server, &idris, &in_time), Outcome::Held);
    }
);

on_both!(a_limit_to_some_kinds_binds_what_is_recorded, |server| {
    let (wren, idris) = (
        server.device_account("Wren"),
        server.device_account("Idris"),
    );
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let mut new = to_horse(horse.id, Role::BarnStaff);
    new.kinds = Some(vec![Kind::Weight, Kind::Weight]);
    let grant = paddock::grant(&wren, &idris, &new);
    assert_eq!(grant.kinds, Some(vec![Kind::Weight]));

    enter(server, &idris, &Record::weight(horse.id, Role::BarnStaff));
    let score = json!({"score": 5.5});
    let other = Record::new(horse.id, Role::BarnStaff, Kind::BodyCondition, score);
    let Outcome::Refused { problem } = record(server, &idris, &other) else {
        panic!("it was taken")
    };
    assert_eq!(problem.kind, ProblemKind::NoGrant);
});

on_both!(no_record_enters_after_its_grant_was_ended, |server| {
    let wren = server.device_account("Wren");
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let horse = paddock::horse(&wren, barn.id);
    for round in 0..6 {
        let idris = server.device_account(&format!("Idris {round}"));
        let scope = if round % 2 == 0 {
            to_horse(horse.id, Role::Farrier)
        } else {
            to_barn(barn.id, Role::Farrier)
        };
        let grant = paddock::grant(&wren, &idris, &scope);
        let seq_after_the_end = thread::scope(|scope| {
            for _ in 0..2 {
                scope.spawn(|| {
                    let weight = Record::weight(horse.id, Role::Farrier);
                    while matches!(record(server, &idris, &weight), Outcome::Accepted { .. }) {}
                });
            }
            scope
                .spawn(|| {
                    while wren.get(&path::horse(horse.id)).read::<Horse>().seq < 4 * (round + 1) {}
                    assert_eq!(wren.delete(&path::grant(grant.id)).status, 204);
                    wren.get(&path::horse(horse.id)).read::<Horse>().seq
                })
                .join()
                .expect("the end")
        });
        let last: Horse = wren.get(&path::horse(horse.id)).read();
        assert_eq!(last.seq, seq_after_the_end, "round {round}");
    }
});
