//! What is due over HTTP: for a horse, a barn and a list of one's own; what a limited, ended or missing grant shows.

use serde_json::{Value, json};
use whorl_care::figure;
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::rules::Rules;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::path;
use whorl_contract::problem::Kind as Refusal;
use whorl_contract::transfer::{NewTransfer, Transfer, TransferAcceptance};
use whorl_tests::ledger::accepted;
use whorl_tests::pen::{Draft, Pen};
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, TestServer, on_both};

use crate::looks_absent;

/// A mare with a name, feet trimmed eleven weeks ago, an old tetanus shot and a word about how to hold her.
struct Log {
    yard: Yard,
    horse: HorseId,
    vet: Person,
    farrier: Person,
}

fn identity(yard: &Yard, horse: HorseId, name: &str) -> Draft {
    let details = json!({"name": name, "sex": "mare", "foaled_on": "2015-04-12"});
    let draft = yard.pen().draft(horse, Kind::Identity).details(details);
    draft.performed_at("2026-01-05T09:00:00+00:00")
}

impl Log {
    fn on(server: &TestServer) -> Self {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let (vet, farrier) = (
            server.device_account("Senna Quill"),
            server.device_account("Idris Fenn"),
        );
        let _ = yard.admit(&vet, horse, Role::Vet);
        let _ = yard.admit(&farrier, horse, Role::Farrier);
        license(&vet, Role::Vet);
        license(&farrier, Role::Farrier);
        let _ = accepted(&yard.owner, &identity(&yard, horse, "Plover").sign());
        let trim = json!({"service": "trim", "handling": "Leans on the near hind."});
        let trim = Pen::of(&farrier, Role::Farrier)
            .draft(horse, Kind::HoofCare)
            .details(trim)
            .performed_at("2026-12-17T10:00:00+00:00");
        let _ = accepted(&farrier, &trim.sign());
        let shot = yard
            .pen()
            .draft(horse, Kind::Vaccination)
            .details(json!({"targets": ["tetanus"]}))
            .provenance(Provenance::Transcribed)
            .performed_at("2025-11-02T10:00:00+00:00");
        let _ = accepted(&yard.owner, &shot.sign());
        Self {
            yard,
            horse,
            vet,
            farrier,
        }
    }

    /// The vet orders a shorter interval between trims.
    fn order(&self) {
        let plan = Pen::of(&self.vet, Role::Vet)
            .draft(self.horse, Kind::CarePlan)
            .details(
                json!({"domain": "hoof", "interval_weeks": 4, "roles": ["farrier"],
                "instructions": "Short toes."}),
            )
            .performed_at("2026-12-20T10:00:00+00:00");
        let _ = accepted(&self.vet, &plan.sign());
    }
}

fn due(who: &Person, horse: HorseId) -> HorseDue {
    who.get(&path::horse_due(horse)).read()
}

fn codes(due: &HorseDue) -> Vec<&str> {
    due.items.iter().map(|item| item.code.as_str()).collect()
}

on_both!(the_server_says_what_the_figure_says_of_the_log, |server| {
    let log = Log::on(server);
    let told = due(&log.yard.owner, log.horse);
    let events = json!([
        {"kind": "identity", "performed_on": "2026-01-05", "provenance": "recorded", "role": "owner",
         "details": {"name": "Plover", "sex": "mare", "foaled_on": "2015-04-12"}},
        {"kind": "hoof_care", "performed_on": "2026-12-17", "role": "farrier", "details": {"service": "trim"}},
        {"kind": "vaccination", "performed_on": "2025-11-02", "provenance": "transcribed", "role": "owner",
         "details": {"targets": ["tetanus"]}},
    ]);
    let input = json!({"events": events, "on": "2027-03-04",
        "barn": {"time_zone": "Europe/London", "region": "gb"}});
    let rules = Rules::built_in().expect("the packs");
    let expected = figure::run("due", &input, &rules)
        .expect("a figure")
        .expect("no fault");
    assert_eq!(json!(told.items), expected["items"]);
    assert_eq!(json!(told.cautions), expected["cautions"]);
    assert_eq!(told.horse, "Plover");
    assert_eq!(told.on.to_string(), "2027-03-04");
    assert_eq!(
        told.handling.expect("a caution").text,
        "Leans on the near hind."
    );
    assert!(!told.withheld && told.items.len() > 8);

    // As it stood before the trim.
    let before = format!("{}?on=2026-12-01", path::horse_due(log.horse));
    let before: HorseDue = log.yard.owner.get(&before).read();
    let trim = before.items.iter().find(|item| item.code == "hoof.trim");
    assert_eq!(trim.expect("a trim").last_on, None);
});

on_both!(a_limited_grant_is_told_what_rests_on_its_kinds, |server| {
    let log = Log::on(server);
    let smith = server.device_account("Una Pellow");
    let kinds = vec![Kind::HoofCare, Kind::HoofCheck];
    let _ = log
        .yard
        .admit_to(&smith, log.horse, Role::Farrier, Some(kinds));

    let told = due(&smith, log.horse);
    assert_eq!(codes(&told), ["hoof.trim"]);
    assert!(told.withheld);
    assert_eq!(
        told.handling.expect("a caution").text,
        "Leans on the near hind."
    );
    let board: DueBoard = smith.get(path::DUE).read();
    assert!(board.withheld && board.horses[0].withheld);
    assert!(
        board
            .items
            .iter()
            .all(|entry| entry.item.code == "hoof.trim")
    );

    // An order that may not be seen decides on the day: then the day isn't told either, rather than a wrong one.
    log.order();
    let whole = due(&log.farrier, log.horse);
    let trim = whole
        .items
        .iter()
        .find(|item| item.code == "hoof.trim")
        .expect("a trim");
    assert_eq!(trim.rule, "care_plan");
    let told = due(&smith, log.horse);
    assert!(told.items.is_empty() && told.withheld);
    let text = smith.get(&path::horse_due(log.horse)).text();
    for hidden in ["care_plan", "Short toes", "tetanus", "vaccination"] {
        assert!(!text.contains(hidden), "{hidden} in {text}");
    }
});

on_both!(a_board_is_in_order_and_narrowed_by_role_and_day, |server| {
    let log = Log::on(server);
    let second = log.yard.horse();
    let _ = accepted(
        &log.yard.owner,
        &identity(&log.yard, second, "Avocet").sign(),
    );
    let _ = log.yard.admit(&log.farrier, second, Role::Farrier);
    let trim = Pen::of(&log.farrier, Role::Farrier)
        .draft(second, Kind::HoofCare)
        .details(json!({"service": "trim"}))
        .performed_at("2027-03-01T10:00:00+00:00");
    let _ = accepted(&log.farrier, &trim.sign());
    let address = path::barn_due(log.yard.barn);
    let owner = &log.yard.owner;

    let board: DueBoard = owner.get(&address).read();
    let names: Vec<&str> = board
        .horses
        .iter()
        .map(|horse| horse.horse.as_str())
        .collect();
    assert_eq!(names, ["Avocet", "Plover"]);
    assert_eq!(board.horses[1].barn, "Saltmarsh Yard");
    let ranks: Vec<_> = board
        .items
        .iter()
        .map(|entry| figure::due::board::rank(&entry.item))
        .collect();
    assert!(ranks.is_sorted(), "{ranks:?}");
    assert_eq!(board.items[0].item.status, figure::due::Status::Overdue);

    let farriers: DueBoard = owner.get(&format!("{address}?by=farrier")).read();
    assert_eq!(farriers.by, Some(Role::Farrier));
    assert!(
        farriers
            .items
            .iter()
            .all(|entry| entry.item.who.contains(&Role::Farrier))
    );
    assert!((1..board.items.len()).contains(&farriers.items.len()));
    let long: DueBoard = owner.get(&format!("{address}?until=2028-12-31")).read();
    assert!(long.items.len() > board.items.len());
    let short: DueBoard = owner.get(&format!("{address}?until=2027-03-04")).read();
    assert!(short.items.len() <= board.items.len());

    for query in ["by=smith", "until=soon", "since=2027-01-01"] {
        let answer = owner.get(&format!("{address}?{query}"));
        assert!((400..500).contains(&answer.status), "{query}: {answer:?}");
    }
});

on_both!(
    a_list_of_ones_own_holds_what_one_may_do_in_every_barn,
    |server| {
        let log = Log::on(server);
        let other = Yard::of(server.device_account("Perran Vale"));
        let theirs = other.horse();
        let _ = accepted(&other.owner, &identity(&other, theirs, "Dunlin").sign());
        let grant = other.admit(&log.farrier, theirs, Role::Farrier);

        let list: DueBoard = log.farrier.get(path::DUE).read();
        assert_eq!(list.horses.len(), 2);
        let held = list
            .horses
            .iter()
            .find(|horse| horse.horse == "Plover")
            .expect("Plover");
        assert_eq!(
            held.handling.as_ref().expect("a caution").text,
            "Leans on the near hind."
        );
        let mut codes: Vec<&str> = list
            .items
            .iter()
            .map(|entry| entry.item.code.as_str())
            .collect();
        codes.sort_unstable();
        codes.dedup();
        assert!(codes.contains(&"hoof.trim"), "{codes:?}");
        assert!(
            codes
                .iter()
                .all(|code| ["hoof.trim", "weight.measure"].contains(code)),
            "{codes:?}"
        );
        let both = list
            .items
            .iter()
            .filter(|entry| entry.item.code == "hoof.trim")
            .count();
        assert_eq!(both, 2);

        let vets: DueBoard = log.vet.get(path::DUE).read();
        assert!(
            vets.items
                .iter()
                .any(|entry| entry.item.code == "vaccination.tetanus")
        );
        let owners: DueBoard = log.yard.owner.get(path::DUE).read();
        let owners = owners.items.iter().map(|entry| entry.item.code.as_str());
        for code in owners {
            assert!(
                !code.starts_with("vaccination") && !code.starts_with("hoof"),
                "{code}"
            );
        }

        other.revoke(&grant);
        let list: DueBoard = log.farrier.get(path::DUE).read();
        assert_eq!(list.horses.len(), 1);
        assert!(list.items.iter().all(|entry| entry.horse == "Plover"));
    }
);

on_both!(strangers_and_ended_grants_are_told_nothing, |server| {
    let log = Log::on(server);
    let stranger = server.device_account("Orla Vance");
    let nowhere = HorseId(uuid::Uuid::now_v7());
    looks_absent(
        &stranger.get(&path::horse_due(log.horse)),
        &stranger.get(&path::horse_due(nowhere)),
    );
    let no_barn = whorl_care::ids::BarnId(uuid::Uuid::now_v7());
    looks_absent(
        &stranger.get(&path::barn_due(log.yard.barn)),
        &stranger.get(&path::barn_due(no_barn)),
    );
    let list: DueBoard = stranger.get(path::DUE).read();
    assert!(list.items.is_empty() && list.horses.is_empty());

    let hand = server.device_account("Tam Brisling");
    let grant = log.yard.admit(&hand, log.horse, Role::BarnStaff);
    assert!(!due(&hand, log.horse).items.is_empty());
    log.yard.revoke(&grant);
    assert_eq!(hand.get(&path::horse_due(log.horse)).status, 404);
    assert_eq!(hand.get(&path::barn_due(log.yard.barn)).status, 404);
});

on_both!(a_seller_is_not_told_how_the_horse_stands_now, |server| {
    let log = Log::on(server);
    let buyer = Yard::of(server.device_account("Perran Vale"));
    let offer = NewTransfer {
        to_email: buyer.owner.email.clone(),
        password: log.yard.owner.password.clone(),
    };
    let offered: Transfer = log
        .yard
        .owner
        .post(&path::horse_transfers(log.horse), &offer)
        .read();
    let acceptance = TransferAcceptance {
        barn_id: buyer.barn,
        password: buyer.owner.password.clone(),
    };
    let accepted = buyer
        .owner
        .post(&path::transfer_accept(offered.id), &acceptance);
    assert_eq!(accepted.status, 200, "{accepted:?}");

    let seller = &log.yard.owner;
    assert_eq!(seller.get(&path::horse(log.horse)).status, 200);
    for address in [
        path::horse_due(log.horse),
        format!(
            "{}?rules=fei-influenza&on=2027-04-01",
            path::horse_entry(log.horse)
        ),
    ] {
        let answer = seller.get(&address);
        assert_eq!(answer.problem().kind, Refusal::Forbidden, "{answer:?}");
    }
    let list: DueBoard = seller.get(&path::barn_due(log.yard.barn)).read();
    assert!(list.horses.is_empty());
    let theirs: Value = buyer.owner.get(&path::horse_due(log.horse)).read();
    assert_eq!(theirs["horse"], "Plover");
});
