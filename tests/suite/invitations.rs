//! Invitations: a code that works once, for somebody else, in time.

use chrono::TimeDelta;
use serde_json::json;
use whorl_care::ids::InvitationId;
use whorl_care::kind::Role;
use whorl_contract::grant::{Grant, Invitation, InvitationCode};
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_tests::paddock::{self, accept, code, new_id, to_barn, to_horse};
use whorl_tests::{Answer, on_both};

use crate::{looks_absent, looks_alike};

fn no_such_code() -> InvitationCode {
    InvitationCode {
        code: "BCDF-GHJK-MNPQ-RSTV".to_owned(),
    }
}

fn is_gone(answer: &Answer) {
    assert_eq!(
        (answer.status, answer.problem().kind),
        (410, Kind::Gone),
        "{answer:?}"
    );
}

on_both!(
    a_code_gives_one_grant_to_whoever_brings_it_first,
    |server| {
        let (wren, idris, tamsin) = (
            server.account("Wren"),
            server.account("Idris"),
            server.account("Tamsin"),
        );
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let made = wren.post(path::INVITATIONS, &to_barn(barn.id, Role::Farrier));
        assert_eq!(made.status, 201);
        let invitation: Invitation = made.read();
        assert_eq!(invitation.expires_at, server.now() + TimeDelta::days(7));
        let handed_over = InvitationCode {
            // As somebody writes down what was read out to them.
            code: invitation
                .code
                .clone()
                .expect("a code")
                .to_lowercase()
                .replace('-', " "),
        };

        let taken = accept(&idris, &handed_over);
        assert_eq!(taken.status, 201);
        let grant: Grant = taken.read();

        assert_eq!(
            (grant.account_id, grant.role),
            (idris.account(), Role::Farrier)
        );
        assert_eq!((grant.barn_id, grant.horse_id), (Some(barn.id), None));
        // The answer got lost on the way: asked once more, it is the same.
        let again = accept(&idris, &handed_over);
        assert_eq!((again.status, again.read::<Grant>()), (200, grant));
        let late = accept(&tamsin, &handed_over);
        is_gone(&late);
        looks_alike(&late, &accept(&tamsin, &no_such_code()));

        let listed: Page<Invitation> = wren.get(path::INVITATIONS).read();
        assert_eq!(listed.items.len(), 1);
        assert_eq!(listed.items[0].code, None, "a code is shown once");
        assert_eq!(listed.items[0].accepted_by, Some(idris.account()));
        let used = wren.delete(&path::invitation(invitation.id));
        assert_eq!((used.status, used.problem().kind), (409, Kind::Conflict));
    }
);

on_both!(
    a_code_of_ones_own_a_withdrawn_and_a_late_one_give_nothing,
    |server| {
        let (wren, idris) = (server.account("Wren"), server.account("Idris"));
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
        let new = to_horse(horse.id, Role::Farrier);

        let own = accept(&wren, &code(&wren, &new));
        assert_eq!((own.status, own.problem().kind), (409, Kind::Conflict));

        let invitation: Invitation = wren.post(path::INVITATIONS, &new).read();
        for _ in 0..2 {
            assert_eq!(wren.delete(&path::invitation(invitation.id)).status, 204);
        }
        let withdrawn = InvitationCode {
            code: invitation.code.expect("a code"),
        };
        is_gone(&accept(&idris, &withdrawn));

        let late = code(&wren, &new);
        server.clock.advance(TimeDelta::days(7));
        let idris = idris.elsewhere(false);
        is_gone(&accept(&idris, &late));
        assert_eq!(idris.get(&path::horse(horse.id)).status, 404);
    }
);

on_both!(only_the_owner_invites_and_only_to_what_there_is, |server| {
    let (wren, idris, tamsin) = (
        server.account("Wren"),
        server.account("Idris"),
        server.account("Tamsin"),
    );
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let horse = paddock::horse(&wren, barn.id);
    let _ = paddock::grant(&wren, &idris, &to_barn(barn.id, Role::BarnStaff));

    for new in [to_barn(barn.id, Role::Vet), to_horse(horse.id, Role::Owner)] {
        let refused = idris.post(path::INVITATIONS, &new);
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, Kind::Forbidden)
        );
    }
    looks_absent(
        &tamsin.post(path::INVITATIONS, &to_horse(horse.id, Role::Vet)),
        &tamsin.post(path::INVITATIONS, &to_horse(new_id(), Role::Vet)),
    );
    looks_absent(
        &tamsin.post(path::INVITATIONS, &to_barn(barn.id, Role::Vet)),
        &tamsin.post(path::INVITATIONS, &to_barn(new_id(), Role::Vet)),
    );
    let made: Invitation = wren
        .post(path::INVITATIONS, &to_barn(barn.id, Role::Vet))
        .read();
    looks_absent(
        &idris.delete(&path::invitation(made.id)),
        &idris.delete(&path::invitation(new_id::<InvitationId>())),
    );
    assert!(
        idris
            .get(path::INVITATIONS)
            .read::<Page<Invitation>>()
            .items
            .is_empty()
    );
    assert_eq!(
        server
            .anonymous()
            .post(path::ACCEPT_INVITATION, &no_such_code())
            .status,
        401
    );
});

on_both!(
    an_invitation_that_makes_no_sense_is_refused_with_its_field,
    |server| {
        let wren = server.account("Wren");
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let horse = paddock::horse(&wren, barn.id);
        let base = json!({"horse_id": horse.id, "role": "farrier"});
        let yesterday = server.now() - TimeDelta::days(1);
        let cases = [
            (json!({"barn_id": barn.id}), "/horse_id"),
            (json!({"horse_id": null}), "/horse_id"),
            (json!({"until": yesterday}), "/until"),
            (
                json!({"from": "2027-05-01T00:00:00Z", "until": "2027-05-01T00:00:00Z"}),
                "/until",
            ),
            (json!({"kinds": []}), "/kinds"),
            (json!({"kinds": ["weight", "amendment"]}), "/kinds"),
            (json!({"role": "owner", "kinds": ["weight"]}), "/kinds"),
        ];
        for (change, pointer) in cases {
            let mut new = base.clone();
            for (name, value) in change.as_object().expect("fields") {
                new[name] = value.clone();
            }
            let answer = wren.post(path::INVITATIONS, &new);
            assert_eq!(answer.status, 422, "{new}");
            let pointers: Vec<_> = answer
                .problem()
                .errors
                .into_iter()
                .map(|one| one.pointer)
                .collect();
            assert_eq!(pointers, [pointer], "{new}");
        }
        for unreadable in [
            json!({"role": "groom"}),
            json!({"code": "CHOSEN"}),
            json!({"kinds": ["levitation"]}),
        ] {
            let mut new = base.clone();
            for (name, value) in unreadable.as_object().expect("fields") {
                new[name] = value.clone();
            }
            assert_eq!(wren.post(path::INVITATIONS, &new).status, 422, "{new}");
        }
        assert!(
            wren.get(path::INVITATIONS)
                .read::<Page<Invitation>>()
                .items
                .is_empty()
        );
    }
);

on_both!(guessing_codes_costs_ever_more_time, |server| {
    let (wren, idris) = (server.account("Wren"), server.account("Idris"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let right = code(&wren, &to_horse(horse.id, Role::Farrier));
    for _ in 0..5 {
        is_gone(&accept(&idris, &no_such_code()));
    }

    let early = accept(&idris, &right);
    assert_eq!(
        (early.status, early.problem().kind),
        (429, Kind::TooManyRequests)
    );
    let wait: i64 = early
        .header("retry-after")
        .expect("a time")
        .parse()
        .expect("seconds");
    server.clock.advance(TimeDelta::seconds(wait));
    is_gone(&accept(&idris, &no_such_code()));
    assert_eq!(accept(&idris, &right).status, 429);
    server.clock.advance(TimeDelta::seconds(2 * wait));
    assert_eq!(accept(&idris, &right).status, 201);
    // Somebody else was never made to wait, and what was right ends the count.
    is_gone(&accept(&idris, &no_such_code()));
});

on_both!(a_code_is_kept_as_a_hash_only, |server| {
    let wren = server.account("Wren");
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let code = code(&wren, &to_barn(barn.id, Role::Vet)).code;
    let plain: Vec<u8> = code.bytes().filter(u8::is_ascii_alphanumeric).collect();

    let rows = server
        .state()
        .store
        .read(|db| whorl_store::invitations::made_by(db, wren.account()))
        .expect("the row");

    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0].code_hash.len(), 32);
    let stored = format!("{:?}", rows[0]);
    assert!(!stored.contains(&code));
    assert!(!stored.contains(&String::from_utf8(plain).expect("letters")));
});
