//! Transfers: an offer, an acceptance, and all that ends with a sale.

use std::slice;
use std::sync::Barrier;
use std::thread;

use chrono::TimeDelta;
use serde_json::{Value, json};
use whorl_care::ids::{BarnId, HorseId, TransferId};
use whorl_care::kind::Role;
use whorl_contract::grant::Grant;
use whorl_contract::horse::Horse;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_contract::sync::{Outcome, Pulled};
use whorl_contract::transfer::{Transfer, TransferState};
use whorl_tests::paddock::{self, Record, accept, code, enter, new_id, record, to_barn, to_horse};
use whorl_tests::{Answer, Person, on_both};

use crate::looks_absent;

fn offer(seller: &Person, horse: HorseId, to: &str) -> Answer {
    let new = json!({"to_email": to, "password": seller.password});
    seller.post(&path::horse_transfers(horse), &new)
}

fn accepting(buyer: &Person, barn: BarnId) -> Value {
    json!({"barn_id": barn, "password": buyer.password})
}

fn take(buyer: &Person, id: TransferId, barn: BarnId) -> Answer {
    buyer.post(&path::transfer_accept(id), &accepting(buyer, barn))
}

fn listed(person: &Person) -> Vec<Transfer> {
    let page: Page<Transfer> = person.get(path::TRANSFERS).read();
    page.items
}

fn events_of(person: &Person, horse: HorseId) -> usize {
    let wants = json!({"wants": [{"horse_id": horse, "after": 0}]});
    let pulled: Pulled = person.post(path::PULL, &wants).read();
    pulled.runs.iter().map(|run| run.events.len()).sum()
}

on_both!(
    a_sale_moves_the_horse_its_log_and_its_grants_at_once,
    |server| {
        let (wren, buyer) = (
            server.device_account("Wren"),
            server.device_account("Odile"),
        );
        let (idris, maren) = (server.device_account("Idris"), server.account("Maren"));
        let (tamsin, late) = (server.account("Tamsin"), server.account("Corin"));
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let heronsgate = paddock::barn(&buyer, "Heronsgate");
        let horse = paddock::horse(&wren, barn.id).id;
        let other = paddock::horse(&wren, barn.id).id;
        let by_horse = paddock::grant(&wren, &idris, &to_horse(horse, Role::Farrier));
        let _ = paddock::grant(&wren, &maren, &to_barn(barn.id, Role::Vet));
        let _ = paddock::grant(&wren, &tamsin, &to_horse(horse, Role::Owner));
        let open = code(&wren, &to_horse(horse, Role::Vet));
        enter(server, &wren, &Record::weight(horse, Role::Owner));
        enter(server, &idris, &Record::weight(horse, Role::Farrier));

        let offered = offer(&wren, horse, "ODILE@saltmarsh.example");
        assert_eq!(offered.status, 201);
        let offered: Transfer = offered.read();
        assert_eq!(offered.to_email, buyer.email);
        assert_eq!(offered.expires_at, server.now() + TimeDelta::days(14));
        assert_eq!(listed(&buyer), slice::from_ref(&offered));
        assert_eq!(
            buyer.get(&path::horse(horse)).status,
            404,
            "an offer shows nothing yet"
        );

        let done: Transfer = take(&buyer, offered.id, heronsgate.id).read();

        assert_eq!(
            (done.state, done.at_seq),
            (TransferState::Accepted, Some(2))
        );
        assert_eq!(
            take(&buyer, offered.id, heronsgate.id).read::<Transfer>(),
            done
        );
        let theirs: Horse = buyer.get(&path::horse(horse)).read();
        assert_eq!(
            (theirs.owner_id, theirs.barn_id),
            (buyer.account(), heronsgate.id)
        );
        assert_eq!(theirs.roles, [Role::Owner]);
        for ended in [&idris, &maren] {
            assert_eq!(ended.get(&path::horse(horse)).status, 404);
        }
        assert_eq!(maren.get(&path::horse(other)).status, 200);
        let grants: Page<Grant> = idris.get(&format!("{}?ended=true", path::GRANTS)).read();
        assert_eq!(grants.items[0].id, by_horse.id);
        assert_eq!(grants.items[0].revoked_at, Some(server.now()));
        assert_eq!(
            accept(&late, &open).status,
            410,
            "an open invitation is withdrawn"
        );

        // Both sellers keep what they could see, and see nothing that comes after.
        enter(server, &buyer, &Record::weight(horse, Role::Owner));
        for seller in [&wren, &tamsin] {
            let shown: Horse = seller.get(&path::horse(horse)).read();
            assert_eq!((shown.seq, shown.roles.len()), (2, 0));
            assert_eq!(events_of(seller, horse), 2);
        }
        assert_eq!(events_of(&buyer, horse), 3);
        let outcome = record(server, &wren, &Record::weight(horse, Role::Owner));
        assert!(matches!(outcome, Outcome::Refused { .. }));
        let refused = offer(&wren, horse, &buyer.email);
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, Kind::Forbidden)
        );
        assert_eq!(
            wren.put(&path::horse_barn(horse), &json!({"barn_id": barn.id}))
                .status,
            403
        );
    }
);

on_both!(
    what_was_recorded_before_the_sale_waits_for_the_buyer,
    |server| {
        let (wren, buyer) = (server.device_account("Wren"), server.account("Odile"));
        let idris = server.device_account("Idris");
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let heronsgate = paddock::barn(&buyer, "Heronsgate");
        let _ = paddock::grant(&wren, &idris, &to_horse(horse, Role::Farrier));
        let before = server.now();
        server.clock.advance(TimeDelta::minutes(1));
        let offered: Transfer = offer(&wren, horse, &buyer.email).read();
        let _: Transfer = take(&buyer, offered.id, heronsgate.id).read();

        for (author, role) in [(&idris, Role::Farrier), (&wren, Role::Owner)] {
            let mut late = Record::weight(horse, role);
            late.recorded_at = Some(before);
            assert_eq!(record(server, author, &late), Outcome::Held);
        }
        let held: Value = buyer.get(path::HELD).read();
        assert_eq!(held["items"].as_array().expect("items").len(), 2);
    }
);

on_both!(an_offer_tells_nobody_who_has_an_account, |server| {
    let (wren, odile) = (server.account("Wren"), server.account("Odile"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let shape = |to: &str| {
        let offered: Value = offer(&wren, paddock::horse(&wren, barn.id).id, to).read();
        let mut fields: Vec<String> = offered
            .as_object()
            .expect("fields")
            .keys()
            .cloned()
            .collect();
        fields.sort();
        (
            fields,
            offered["state"].clone(),
            offered["decided_at"].clone(),
        )
    };

    assert_eq!(shape(&odile.email), shape("nobody@heronsgate.example"));
    // Whoever opens an account with the address meanwhile finds the offer there.
    let horse = paddock::horse(&wren, barn.id).id;
    let offered: Transfer = offer(&wren, horse, "corin@saltmarsh.example").read();
    let corin = server.account("Corin");
    assert_eq!(listed(&corin), slice::from_ref(&offered));
    let theirs = paddock::barn(&corin, "Heronsgate");
    assert_eq!(take(&corin, offered.id, theirs.id).status, 200);
});

on_both!(
    a_horse_is_offered_by_its_owner_with_the_password_and_once,
    |server| {
        let (wren, idris, tamsin) = (
            server.account("Wren"),
            server.account("Idris"),
            server.account("Tamsin"),
        );
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let _ = paddock::grant(&wren, &idris, &to_horse(horse, Role::Owner));
        let path_of = |horse| path::horse_transfers(horse);

        assert_eq!(offer(&idris, horse, "odile@saltmarsh.example").status, 403);
        looks_absent(
            &offer(&tamsin, horse, "odile@saltmarsh.example"),
            &offer(&tamsin, new_id(), "odile@saltmarsh.example"),
        );
        let guess =
            json!({"to_email": "odile@saltmarsh.example", "password": "not the password at all"});
        let refused = wren.post(&path_of(horse), &guess);
        assert_eq!(
            (refused.status, refused.problem().kind),
            (403, Kind::Forbidden)
        );
        let nowhere = offer(&wren, horse, "somebody");
        assert_eq!(nowhere.problem().errors[0].pointer, "/to_email");
        let own = offer(&wren, horse, &wren.email);
        assert_eq!(own.problem().errors[0].pointer, "/to_email");
        assert!(listed(&wren).is_empty());

        let first: Transfer = offer(&wren, horse, "odile@saltmarsh.example").read();
        let second = offer(&wren, horse, "corin@saltmarsh.example");
        assert_eq!(
            (second.status, second.problem().kind),
            (409, Kind::Conflict)
        );
        for _ in 0..2 {
            assert_eq!(wren.delete(&path::transfer(first.id)).status, 204);
        }
        server.clock.advance(TimeDelta::seconds(1));
        assert_eq!(offer(&wren, horse, "corin@saltmarsh.example").status, 201);
        let states: Vec<TransferState> = listed(&wren).into_iter().map(|one| one.state).collect();
        assert_eq!(states, [TransferState::Withdrawn, TransferState::Offered]);
        assert_eq!(server.anonymous().get(path::TRANSFERS).status, 401);
    }
);

on_both!(
    an_offer_is_answered_by_the_buyer_and_nobody_else,
    |server| {
        let (wren, odile, tamsin) = (
            server.account("Wren"),
            server.account("Odile"),
            server.account("Tamsin"),
        );
        let barn = paddock::barn(&wren, "Saltmarsh Yard");
        let horse = paddock::horse(&wren, barn.id).id;
        let theirs = paddock::barn(&odile, "Heronsgate");
        let offered: Transfer = offer(&wren, horse, &odile.email).read();
        let nothing = json!({});

        assert_eq!(take(&wren, offered.id, barn.id).status, 403);
        assert_eq!(
            wren.post(&path::transfer_decline(offered.id), &nothing)
                .status,
            403
        );
        assert_eq!(odile.delete(&path::transfer(offered.id)).status, 403);
        let absent: TransferId = new_id();
        let at_tamsins = paddock::barn(&tamsin, "The Creek").id;
        looks_absent(
            &take(&tamsin, offered.id, at_tamsins),
            &take(&tamsin, absent, at_tamsins),
        );
        looks_absent(
            &tamsin.post(&path::transfer_decline(offered.id), &nothing),
            &tamsin.post(&path::transfer_decline(absent), &nothing),
        );
        looks_absent(
            &tamsin.delete(&path::transfer(offered.id)),
            &tamsin.delete(&path::transfer(absent)),
        );
        let guess = json!({"barn_id": theirs.id, "password": "not the password at all"});
        assert_eq!(
            odile
                .post(&path::transfer_accept(offered.id), &guess)
                .status,
            403
        );
        let elsewhere = take(&odile, offered.id, barn.id);
        assert_eq!(elsewhere.status, 422);
        assert_eq!(elsewhere.problem().errors[0].pointer, "/barn_id");
        assert_eq!(
            wren.get(&path::horse(horse)).read::<Horse>().owner_id,
            wren.account()
        );

        for _ in 0..2 {
            let declined: Transfer = odile
                .post(&path::transfer_decline(offered.id), &nothing)
                .read();
            assert_eq!(declined.state, TransferState::Declined);
        }
        let late = take(&odile, offered.id, theirs.id);
        assert_eq!((late.status, late.problem().kind), (409, Kind::Conflict));
        assert_eq!(wren.delete(&path::transfer(offered.id)).status, 409);
    }
);

on_both!(an_offer_lapses_after_two_weeks, |server| {
    let (wren, odile) = (server.account("Wren"), server.account("Odile"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
    let theirs = paddock::barn(&odile, "Heronsgate");
    let offered: Transfer = offer(&wren, horse, &odile.email).read();
    server.clock.advance(TimeDelta::days(14));
    let (wren, odile) = (wren.elsewhere(false), odile.elsewhere(false));

    assert_eq!(listed(&odile)[0].state, TransferState::Expired);
    let late = take(&odile, offered.id, theirs.id);
    assert_eq!((late.status, late.problem().kind), (410, Kind::Gone));
    assert_eq!(
        odile
            .post(&path::transfer_decline(offered.id), &json!({}))
            .status,
        410
    );
    assert_eq!(
        offer(&wren, horse, &odile.email).status,
        201,
        "another offer may be made"
    );
});

on_both!(of_two_answers_at_once_one_holds, |server| {
    let (wren, odile) = (server.account("Wren"), server.account("Odile"));
    let barn = paddock::barn(&wren, "Saltmarsh Yard");
    let theirs = paddock::barn(&odile, "Heronsgate");
    for _ in 0..4 {
        let horse = paddock::horse(&wren, barn.id).id;
        let offered: Transfer = offer(&wren, horse, &odile.email).read();
        let start = Barrier::new(2);
        let (taken, withdrawn) = thread::scope(|scope| {
            let taken = scope.spawn(|| {
                start.wait();
                take(&odile, offered.id, theirs.id).status
            });
            let withdrawn = scope.spawn(|| {
                start.wait();
                wren.delete(&path::transfer(offered.id)).status
            });
            (
                taken.join().expect("an answer"),
                withdrawn.join().expect("an answer"),
            )
        });
        let sold = odile.get(&path::horse(horse)).status == 200;
        let state = listed(&wren)
            .into_iter()
            .find(|one| one.id == offered.id)
            .map(|one| one.state);
        if sold {
            assert_eq!((taken, withdrawn), (200, 409));
            assert_eq!(state, Some(TransferState::Accepted));
        } else {
            assert_eq!(withdrawn, 204);
            assert!(matches!(taken, 409 | 410), "{taken}");
            assert_eq!(state, Some(TransferState::Withdrawn));
        }
    }
});

on_both!(
    a_sale_in_the_middle_of_pushes_has_one_exact_place,
    |server| {
        let (wren, odile) = (
            server.device_account("Wren"),
            server.device_account("Odile"),
        );
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id).id;
        let theirs = paddock::barn(&odile, "Heronsgate");
        let offered: Transfer = offer(&wren, horse, &odile.email).read();
        let (accepted, done) = thread::scope(|scope| {
            let pushing = scope.spawn(|| {
                let weight = Record::weight(horse, Role::Owner);
                let mut accepted = 0;
                while matches!(record(server, &wren, &weight), Outcome::Accepted { .. }) {
                    accepted += 1;
                }
                accepted
            });
            let done: Transfer = take(&odile, offered.id, theirs.id).read();
            (pushing.join().expect("the pushes"), done)
        });

        assert_eq!(done.at_seq, Some(accepted));
        assert_eq!(odile.get(&path::horse(horse)).read::<Horse>().seq, accepted);
        assert_eq!(
            i64::try_from(events_of(&wren, horse)).expect("few"),
            accepted
        );
    }
);
