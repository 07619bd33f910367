//! Visit plans over HTTP: a round over two barns, what is late, what has no day, and what may not be seen.

use chrono::{Datelike, NaiveDate, Weekday};
use serde_json::{Value, json};
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_care::visits::Reason;
use whorl_contract::path;
use whorl_contract::problem::Kind as Refusal;
use whorl_contract::visits::VisitPlan;
use whorl_tests::ledger::accepted;
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};
use whorl_tests::{Person, TestServer, on_both};

fn question(more: &Value) -> Value {
    let mut question =
        json!({"work": "hoof", "from": "2027-03-04", "until": "2027-05-31", "capacity": 2});
    for (name, value) in more.as_object().expect("fields") {
        question[name] = value.clone();
    }
    question
}

fn planned(who: &Person, more: &Value) -> VisitPlan {
    who.post(path::VISIT_PLAN, &question(more)).read()
}

/// The horses of each day.
fn round(plan: &VisitPlan) -> Vec<(NaiveDate, Vec<&str>)> {
    let names = plan.days.iter().map(|day| {
        let horses = day.barns.iter().flat_map(|barn| &barn.horses);
        (day.on, horses.map(|horse| horse.horse.as_str()).collect())
    });
    names.collect()
}

fn named(yard: &Yard, name: &str) -> HorseId {
    yard.horse_who_is(json!({"name": name, "sex": "mare", "foaled_on": "2015-04-12"}))
}

fn trimmed(farrier: &Person, horse: HorseId, day: &str, handling: Option<&str>) {
    let trim = json!({"service": "trim", "handling": handling});
    let trim = Pen::of(farrier, Role::Farrier)
        .draft(horse, Kind::HoofCare)
        .details(trim)
        .performed_at(&format!("{day}T10:00:00+00:00"));
    let _ = accepted(farrier, &trim.sign());
}

/// Two yards with a farrier: two horses trimmed lately, one long ago.
fn yards(server: &TestServer) -> (Yard, Yard, Person, Vec<HorseId>) {
    let (one, other) = (
        Yard::open(server),
        Yard::of(server.device_account("Ansel Ferriby")),
    );
    let farrier = server.device_account("Idris Fenn");
    license(&farrier, Role::Farrier);
    let horses = vec![
        named(&one, "Plover"),
        named(&one, "Marram"),
        named(&other, "Tern"),
    ];
    for (yard, horse) in [(&one, horses[0]), (&one, horses[1]), (&other, horses[2])] {
        let _ = yard.admit(&farrier, horse, Role::Farrier);
    }
    trimmed(
        &farrier,
        horses[0],
        "2027-02-20",
        Some("Leans on the near hind."),
    );
    trimmed(&farrier, horses[1], "2026-09-01", None);
    trimmed(&farrier, horses[2], "2027-02-22", None);
    (one, other, farrier, horses)
}

on_both!(
    a_round_takes_the_fewest_days_and_what_is_late_first,
    |server| {
        let (one, _, farrier, horses) = yards(server);
        let plan = planned(&farrier, &json!({}));
        assert!(plan.is_fewest && plan.not_planned.is_empty() && !plan.withheld);
        // Only what this work rests on is said aloud, not what the horses' vaccinations rest on.
        let said = plan.cautions.join("\n");
        assert!(said.contains("the interval of a barefoot horse"), "{said}");
        assert!(!said.contains("adult") && !said.contains("egg"), "{said}");
        let days = round(&plan);
        assert_eq!(days.len(), 2, "{days:?}");
        assert_eq!(days[0].0.to_string(), "2027-03-04");
        assert!(days[0].1.contains(&"Marram"), "{days:?}");
        let plover = plan
            .days
            .iter()
            .flat_map(|day| &day.barns)
            .flat_map(|barn| &barn.horses);
        let plover = plover
            .clone()
            .find(|horse| horse.horse == "Plover")
            .expect("Plover");
        assert_eq!(
            plover.handling.as_ref().expect("a caution").text,
            "Leans on the near hind."
        );
        let late: Vec<bool> = plan.days[0].barns[0]
            .horses
            .iter()
            .map(|horse| horse.late)
            .collect();
        assert!(late.contains(&true));

        // The same for one barn, and for its owner, who may not trim but may plan.
        let barn = json!({"barn_id": one.barn});
        let names = |plan: &VisitPlan| -> Vec<String> {
            let days = round(plan);
            days.into_iter()
                .flat_map(|(_, names)| names)
                .map(str::to_owned)
                .collect()
        };
        assert_eq!(names(&planned(&farrier, &barn)), ["Marram", "Plover"]);
        assert_eq!(
            names(&planned(&one.owner, &json!({}))),
            ["Marram", "Plover"]
        );
        // What the owner may do themselves is no trim.
        let own = planned(&one.owner, &json!({"work": null}));
        let items = own
            .days
            .iter()
            .flat_map(|day| &day.barns)
            .flat_map(|barn| &barn.horses);
        let mut items = items.flat_map(|horse| &horse.items);
        assert!(items.all(|item| item.code != "hoof.trim"));

        // Done is done.
        trimmed(&farrier, horses[1], "2027-03-03", None);
        let after = planned(&farrier, &json!({"capacity": 9}));
        assert!(
            after
                .days
                .iter()
                .all(|day| day.on.to_string() != "2027-03-04")
        );
    }
);

on_both!(
    days_off_and_barns_are_kept_to_and_nothing_is_dropped,
    |server| {
        let (_, _, farrier, _) = yards(server);
        let weekdays = json!(["thursday", "friday", "saturday", "sunday"]);
        let plan = planned(
            &farrier,
            &json!({"days_off": {"weekdays": weekdays, "dates": ["2027-03-08"]}}),
        );
        assert!(!plan.days.is_empty());
        for day in &plan.days {
            assert!(day.on.weekday().num_days_from_monday() <= Weekday::Wed.num_days_from_monday());
            assert_ne!(day.on.to_string(), "2027-03-08");
        }
        let plan = planned(&farrier, &json!({"capacity": 9, "one_barn_a_day": true}));
        assert!(plan.is_fewest && plan.days.iter().all(|day| day.barns.len() == 1));

        // Two weeks in which two of the three need nothing yet, and nobody comes for the third.
        let nobody = json!({"until": "2027-03-07", "days_off": {"weekdays": weekdays}});
        let plan = planned(&farrier, &nobody);
        assert!(plan.days.is_empty());
        let left: Vec<(&str, Reason)> = plan
            .not_planned
            .iter()
            .map(|one| (one.horse.as_str(), one.reason))
            .collect();
        assert!(left.contains(&("Marram", Reason::NobodyComes)), "{left:?}");

        for (wrong, pointer) in [
            (json!({"until": "2027-03-03"}), "/until"),
            (json!({"until": "2028-03-04"}), "/until"),
            (json!({"capacity": 0}), "/capacity"),
            (
                json!({"days_off": {"weekdays": vec!["friday"; 8]}}),
                "/days_off/weekdays",
            ),
            (
                json!({"days_off": {"dates": vec!["2027-03-08"; 401]}}),
                "/days_off/dates",
            ),
        ] {
            let problem = farrier.post(path::VISIT_PLAN, &question(&wrong)).problem();
            assert_eq!(
                (problem.kind, problem.errors[0].pointer.as_str()),
                (Refusal::Invalid, pointer)
            );
        }
        let answer = farrier.post(
            path::VISIT_PLAN,
            &question(&json!({"days_off": {"weekdays": ["moonday"]}})),
        );
        assert_eq!(answer.status, 422, "{answer:?}");
    }
);

on_both!(a_plan_shows_nobody_more_than_the_due_list, |server| {
    let (one, other, _, horses) = yards(server);
    let dentist = server.device_account("Una Pellow");
    let kinds = Some(vec![Kind::Dental]);
    let _ = one.admit_to(&dentist, horses[0], Role::Vet, kinds);
    let hooves = planned(&dentist, &json!({}));
    assert!(hooves.days.is_empty() && hooves.not_planned.is_empty() && hooves.withheld);
    let teeth = planned(&dentist, &json!({"work": "dental"}));
    assert_eq!(
        round(&teeth)
            .iter()
            .map(|(_, names)| names.len())
            .sum::<usize>(),
        1
    );
    assert_eq!(round(&teeth)[0].1, ["Plover"]);

    // Of another's barn nobody is told; who has no horse has no plan.
    let elsewhere = dentist.post(path::VISIT_PLAN, &question(&json!({"barn_id": other.barn})));
    assert_eq!(elsewhere.problem().kind, Refusal::NotFound);
    let stranger = server.device_account("Jory Pask");
    let plan = planned(&stranger, &json!({}));
    assert!(plan.days.is_empty() && plan.not_planned.is_empty());
});
