//! Licences: entered by their holders, looked at by others.

use std::slice;

use serde_json::{Value, json};
use whorl_care::ids::LicenceId;
use whorl_care::kind::Role;
use whorl_contract::licence::Licence;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_contract::sync::Outcome;
use whorl_tests::paddock::{self, Record, enter, new_id, record, to_horse};
use whorl_tests::{Person, on_both};

use crate::looks_absent;

fn new() -> Value {
    json!({"role": "vet", "number": " SV-20418 ", "jurisdiction": "US-FL", "valid_until": "2028-12-31"})
}

fn listed(person: &Person, query: &str) -> Vec<Licence> {
    let page: Page<Licence> = person.get(&format!("{}{query}", path::LICENCES)).read();
    page.items
}

on_both!(
    a_licence_is_entered_once_and_withdrawn_by_its_holder,
    |server| {
        let maren = server.account("Maren");

        let entered = maren.post(path::LICENCES, &new());
        assert_eq!(entered.status, 201);
        let licence: Licence = entered.read();

        assert_eq!(
            (licence.account_id, licence.account_name.as_str()),
            (maren.account(), "Maren")
        );
        assert_eq!(
            (licence.number.as_str(), licence.jurisdiction.as_str()),
            ("SV-20418", "us-fl")
        );
        assert_eq!((licence.seen_by, licence.withdrawn_at), (None, None));
        let again = maren.post(path::LICENCES, &new());
        assert_eq!(
            (again.status, again.read::<Licence>()),
            (200, licence.clone())
        );
        assert_eq!(listed(&maren, ""), slice::from_ref(&licence));

        for _ in 0..2 {
            assert_eq!(maren.delete(&path::licence(licence.id)).status, 204);
        }
        assert!(listed(&maren, "").is_empty());
        // Withdrawn is withdrawn: the same paper is entered anew.
        assert_eq!(maren.post(path::LICENCES, &new()).status, 201);
    }
);

on_both!(
    a_licence_that_cannot_stand_is_refused_at_each_field,
    |server| {
        let maren = server.account("Maren");
        let wrong = json!({"role": "owner", "number": " ", "jurisdiction": "Florida", "valid_until": "2027-03-03"});

        let answer = maren.post(path::LICENCES, &wrong);

        assert_eq!(answer.status, 422);
        let pointers: Vec<String> = answer
            .problem()
            .errors
            .into_iter()
            .map(|one| one.pointer)
            .collect();
        assert_eq!(
            pointers,
            ["/role", "/number", "/jurisdiction", "/valid_until"]
        );
        let mut seen = new();
        seen["seen_by"] = json!(maren.account());
        assert_eq!(maren.post(path::LICENCES, &seen).status, 422);
        assert!(listed(&maren, "").is_empty());
    }
);

on_both!(
    an_owner_marks_the_licence_of_whoever_holds_a_grant,
    |server| {
        let (wren, maren) = (server.account("Wren"), server.account("Maren"));
        let (idris, tamsin) = (server.account("Idris"), server.account("Tamsin"));
        let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
        let grant = paddock::grant(&wren, &maren, &to_horse(horse.id, Role::Vet));
        let _ = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
        let licence: Licence = maren.post(path::LICENCES, &new()).read();
        let seen = path::licence_seen(licence.id);
        let nothing = json!({});

        // A stranger, and a colleague at the same horse, learn nothing.
        for other in [&tamsin, &idris] {
            looks_absent(
                &other.post(&seen, &nothing),
                &other.post(&path::licence_seen(new_id::<LicenceId>()), &nothing),
            );
            assert_eq!(other.delete(&path::licence(licence.id)).status, 404);
            assert!(listed(other, "").is_empty());
            assert!(listed(other, &format!("?account_id={}", maren.account())).is_empty());
        }
        let own = maren.post(&seen, &nothing);
        assert_eq!((own.status, own.problem().kind), (403, Kind::Forbidden));
        assert_eq!(wren.delete(&path::licence(licence.id)).status, 403);

        let marked: Licence = wren.post(&seen, &nothing).read();
        assert_eq!(marked.seen_by, Some(wren.account()));
        assert_eq!(marked.seen_at, Some(server.now()));
        assert_eq!(
            listed(&wren, &format!("?account_id={}", maren.account())),
            slice::from_ref(&marked)
        );
        assert_eq!(listed(&maren, ""), [marked]);

        // Once the grant has ended the owner still knows whose licence stood behind a record, and marks no more.
        assert_eq!(wren.delete(&path::grant(grant.id)).status, 204);
        assert_eq!(listed(&wren, "").len(), 1);
        assert_eq!(wren.post(&seen, &nothing).status, 403);
        assert_eq!(server.anonymous().post(&seen, &nothing).status, 401);
    }
);

on_both!(the_operator_marks_any_licence, |server| {
    let (operator, maren) = (server.account("Operator"), server.account("Maren"));
    let id = operator.account();
    server
        .state()
        .store
        .write(move |db| whorl_store::accounts::make_operator(db, id))
        .expect("an operator");
    let licence: Licence = maren.post(path::LICENCES, &new()).read();

    assert!(listed(&operator, "").is_empty());
    let theirs = listed(&operator, &format!("?account_id={}", maren.account()));
    assert_eq!(theirs, slice::from_ref(&licence));
    let marked: Licence = operator
        .post(&path::licence_seen(licence.id), &json!({}))
        .read();
    assert_eq!(marked.seen_by, Some(operator.account()));

    assert_eq!(maren.delete(&path::licence(licence.id)).status, 204);
    let withdrawn = operator.post(&path::licence_seen(licence.id), &json!({}));
    assert_eq!(
        (withdrawn.status, withdrawn.problem().kind),
        (409, Kind::Conflict)
    );
});

on_both!(without_a_licence_nothing_is_attested, |server| {
    let (wren, idris) = (server.account("Wren"), server.device_account("Idris"));
    let horse = paddock::horse(&wren, paddock::barn(&wren, "Saltmarsh Yard").id);
    let _ = paddock::grant(&wren, &idris, &to_horse(horse.id, Role::Farrier));
    let trim = Record::trim(horse.id, "Stands like a rock.");
    let refused = |outcome| match outcome {
        Outcome::Refused { problem } => problem,
        other => panic!("{other:?}"),
    };

    let problem = refused(record(server, &idris, &trim));
    assert_eq!(problem.kind, Kind::PolicyRefuses);
    assert!(problem.policy_row.is_some());
    let licence = paddock::licence(&idris, Role::Farrier);
    enter(server, &idris, &trim);
    assert_eq!(idris.delete(&path::licence(licence.id)).status, 204);
    assert_eq!(
        refused(record(server, &idris, &trim)).kind,
        Kind::PolicyRefuses
    );
});
