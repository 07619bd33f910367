//! From what is due for each horse to a list that somebody works from: what belongs on it, in which order, and for whom.

use chrono::NaiveDate;

use super::{Item, Status};
use crate::care_plan;
use crate::disease::Disease;
use crate::horse::CareEvent;
use crate::kind::{Kind, Provenance, Role};
use crate::policy::{Condition, Policy};
use crate::sentence::words;

/// Which items a list shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Choice {
    /// Only what this role may do; whoever may if missing.
    pub by: Option<Role>,
    /// Also what may be done from this day or an earlier one. If missing, what comes within a month is shown.
    pub until: Option<NaiveDate>,
    /// Everything, also what is up to date.
    pub everything: bool,
}

impl Choice {
    /// Whether the list shows an item.
    #[must_use]
    pub fn takes(&self, item: &Item) -> bool {
        if self.by.is_some_and(|role| !item.who.contains(&role)) {
            return false;
        }
        match (item.status, self.until) {
            _ if self.everything => true,
            (Status::Overdue | Status::AskVet | Status::Due, _) | (Status::Upcoming, None) => true,
            (Status::UpToDate, None) => false,
            (Status::Upcoming | Status::UpToDate, Some(until)) => item
                .due_from
                .or(item.due_by)
                .is_some_and(|day| day <= until),
        }
    }
}

/// Where an item stands on a list: overdue first, then what the vet must be asked, then by day. Of two items of the
/// same rank the horse's name decides, then the item's code.
#[must_use]
pub fn rank(item: &Item) -> (Status, NaiveDate) {
    let by = match item.status {
        Status::Overdue | Status::AskVet | Status::Due => item.due_by,
        Status::Upcoming | Status::UpToDate => item.due_from.or(item.due_by),
    };
    (item.status, by.unwrap_or(NaiveDate::MAX))
}

/// What an item is, in words that fit into a sentence: `vaccination.west_nile` is "vaccination against West Nile virus".
#[must_use]
pub fn name(code: &str) -> String {
    let known = match code {
        "hoof.trim" => "trim or shoeing",
        "dental.exam" => "look at the teeth",
        "weight.measure" => "weighing",
        "parasite.treatment" => "worming",
        "parasite.tapeworm" => "worming against tapeworm",
        "parasite.egg_count" => "egg count",
        "parasite.reduction_test" => "egg count after worming",
        other => {
            let (domain, what) = other.split_once('.').unwrap_or((other, ""));
            let disease = what.parse::<Disease>();
            return match disease {
                Ok(disease) if domain == "vaccination" => {
                    format!("vaccination against {}", disease.name())
                }
                _ => format!("{} {}", words(domain), words(what))
                    .trim()
                    .to_owned(),
            };
        }
    };
    known.to_owned()
}

/// The kind of event that records an item as done.
#[must_use]
pub fn recorded_as(item: &Item) -> Option<Kind> {
    let (domain, what) = item.code.split_once('.')?;
    match (domain, what) {
        ("vaccination", _) => Some(Kind::Vaccination),
        ("parasite", "egg_count" | "reduction_test") => Some(Kind::EggCount),
        ("parasite", _) => Some(Kind::Deworming),
        ("hoof", _) => Some(Kind::HoofCare),
        ("dental", _) => Some(Kind::Dental),
        ("weight", _) => Some(Kind::Weight),
        _ => None,
    }
}

/// The kinds of events without which an item can't be told. Whoever may not see one of them isn't told the item.
#[must_use]
pub fn rests_on(item: &Item) -> &'static [Kind] {
    match recorded_as(item) {
        Some(Kind::Vaccination) => &[Kind::Vaccination],
        Some(Kind::EggCount | Kind::Deworming) => &[Kind::Deworming, Kind::EggCount],
        Some(Kind::HoofCare) => &[Kind::HoofCare],
        Some(Kind::Dental) => &[Kind::Dental],
        Some(Kind::Weight) => &[Kind::Weight],
        // What nobody has said to rest on less rests on everything.
        _ => Kind::ALL,
    }
}

/// Whether somebody in a role may do an item and record it as done, by the policy in force at a place: a copy from paper
/// is no doing. Barn staff may do what a care plan in force lets them.
#[must_use]
pub fn may_do(
    policy: &Policy,
    role: Role,
    item: &Item,
    place: Option<&str>,
    events: &[CareEvent],
    on: NaiveDate,
) -> bool {
    let Some(kind) = recorded_as(item) else {
        return false;
    };
    let Some(row) = policy.row(kind, place) else {
        return false;
    };
    let cell = row.cell(role);
    if !cell
        .grades
        .iter()
        .any(|grade| *grade != Provenance::Transcribed)
    {
        return false;
    }
    match cell.only {
        None => item.who.contains(&role),
        Some(Condition::CarePlan) => care_plan::names(events, kind, role, on),
        Some(Condition::Hoof) => kind == Kind::HoofCare && item.who.contains(&role),
        Some(Condition::OwnEvents) => false,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::rules::{Mark, Rules};

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn item(code: &str, status: Status, from: &str, by: &str, who: &[Role]) -> Item {
        Item {
            code: code.to_owned(),
            status,
            due_from: Some(day(from)),
            due_by: Some(day(by)),
            dose_number: None,
            last_on: None,
            reason: "since it is so".to_owned(),
            rule: "some".to_owned(),
            who: who.to_vec(),
            source: "some".to_owned(),
            mark: Mark::Read,
        }
    }

    #[test]
    fn a_list_takes_what_is_pressing_and_what_comes_until_its_day() {
        let coming = item(
            "hoof.trim",
            Status::UpToDate,
            "2027-06-01",
            "2027-06-15",
            &[Role::Farrier],
        );
        let late = item(
            "dental.exam",
            Status::Overdue,
            "2026-01-01",
            "2026-02-01",
            &[Role::Vet],
        );
        let plain = Choice::default();
        assert!(plain.takes(&late) && !plain.takes(&coming));
        let until = |text| Choice {
            until: Some(day(text)),
            ..plain
        };
        assert!(!until("2027-05-31").takes(&coming));
        assert!(until("2027-06-01").takes(&coming) && until("2020-01-01").takes(&late));
        let farriers = Choice {
            by: Some(Role::Farrier),
            everything: true,
            until: None,
        };
        assert!(farriers.takes(&coming) && !farriers.takes(&late));
        assert!(rank(&late) < rank(&coming));
    }

    #[test]
    fn barn_staff_may_do_what_a_plan_in_force_lets_them() {
        let rules = Rules::built_in().expect("the packs");
        let treat = item(
            "parasite.treatment",
            Status::Due,
            "2026-05-01",
            "2026-06-01",
            &[Role::Owner, Role::Vet],
        );
        let plan: CareEvent = serde_json::from_value(json!({
            "kind": "care_plan", "id": "01970000-0000-7000-8000-000000000001", "performed_on": "2026-04-01",
            "role": "vet", "details": {"domain": "parasite", "actives": ["ivermectin"], "roles": ["barn_staff"],
            "instructions": "by tape", "valid_until": "2026-09-30"}
        })).expect("an event");
        let may = |role, events: &[CareEvent], on| {
            may_do(&rules.policy, role, &treat, Some("gb"), events, day(on))
        };
        assert!(may(Role::Owner, &[], "2026-05-01") && may(Role::Vet, &[], "2026-05-01"));
        assert!(!may(Role::BarnStaff, &[], "2026-05-01"));
        let log = [plan];
        assert!(may(Role::BarnStaff, &log, "2026-05-01"));
        assert!(
            !may(Role::BarnStaff, &log, "2026-10-01"),
            "the plan has ended"
        );
        assert!(
            !may(Role::BarnStaff, &log, "2026-03-31"),
            "it wasn't made yet"
        );
        assert!(!may(Role::Farrier, &log, "2026-05-01"));
    }

    #[test]
    fn everyone_works_in_their_own_field() {
        let rules = Rules::built_in().expect("the packs");
        let on = "2026-05-01";
        let all = [Role::Farrier, Role::Vet];
        let (trim, shot) = (
            item("hoof.trim", Status::Due, on, on, &all),
            item("vaccination.tetanus", Status::Due, on, on, &[Role::Vet]),
        );
        let may = |role, item| may_do(&rules.policy, role, item, None, &[], day(on));
        assert!(may(Role::Farrier, &trim) && !may(Role::Farrier, &shot));
        assert!(may(Role::Vet, &shot) && !may(Role::Owner, &shot) && !may(Role::Owner, &trim));
        assert_eq!(rests_on(&trim), [Kind::HoofCare]);
        assert_eq!(
            rests_on(&item("luck.charm", Status::Due, on, on, &all)),
            Kind::ALL
        );
    }
}
