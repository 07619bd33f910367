//! Whether a care plan lets somebody do what they did.

use chrono::NaiveDate;

use crate::details::{CarePlan, Details, Domain};
use crate::effective::{Effective, Standing, effective};
use crate::horse::CareEvent;
use crate::ids::EventId;
use crate::kind::{Kind, Provenance, Role};

/// What was done, by whom, and when.
#[derive(Clone, Copy, Debug)]
pub struct Act<'a> {
    /// What was done.
    pub details: &'a Details,
    /// In which capacity.
    pub role: Role,
    /// The day, by the wall clock there.
    pub on: NaiveDate,
    /// What it amends, if it is an amendment: the kind, and the day on which that was done.
    pub amends: Option<(Kind, NaiveDate)>,
}

/// Why no care plan covers an act, in words.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NotCovered(String);

/// The care plan of a horse's log that covers an act.
///
/// A plan covers what its domain, its roles and its dewormers name, from the day it was made to its last day. It must
/// stand on a professional's word: attested, or countersigned. Once it is retracted it covers nothing more; what was
/// done before that day stays covered. A drug's name is free text, so a medication must name its plan. An amendment is
/// covered if what it says now would have been, on the day of what it amends: a plan's end doesn't keep anybody from
/// mending a lot number, and nobody comes by an amendment to a dewormer that the plan doesn't name.
///
/// # Errors
///
/// Why none does: of the plan that the act names, else of the latest that is about the same thing.
pub fn covering(events: &[CareEvent], act: &Act<'_>) -> Result<Option<EventId>, NotCovered> {
    if let (Details::Amendment(amendment), Some((kind, on))) = (act.details, act.amends) {
        let amended = amendment.new_details(kind);
        let details = &amended.map_err(|faults| NotCovered(faults.to_string()))?;
        let amends = None;
        return covering(
            events,
            &Act {
                details,
                on,
                amends,
                ..*act
            },
        );
    }
    let Some(domain) = domain_of(act.details.kind()) else {
        let kind = act.details.kind();
        return Err(NotCovered(format!("no care plan is about {kind}")));
    };
    let log = effective(events);
    let named = named_plan(act.details);
    if named.is_none() && domain == Domain::Medication {
        return Err(NotCovered(
            "say under which care plan the drug was given: care_plan_id".to_owned(),
        ));
    }
    let mut best = NotCovered(match named {
        Some(id) => format!("this horse has no care plan {id}"),
        None => format!("this horse has no care plan for {domain}"),
    });
    for (standing, plan) in plans(&log) {
        let meant = named.map_or(plan.domain == domain, |id| standing.event.id == Some(id));
        if !meant {
            continue;
        }
        match covers(&standing, &plan, domain, act) {
            Ok(()) => return Ok(standing.event.id),
            Err(reason) => best = NotCovered(reason),
        }
    }
    Err(best)
}

/// The care plans of a log, the oldest first. One that holds what this program doesn't know may be narrower than it
/// looks, so it covers nothing.
fn plans<'a>(log: &Effective<'a>) -> Vec<(Standing<'a>, CarePlan)> {
    let mut plans: Vec<_> = log
        .standing
        .iter()
        .filter(|standing| standing.event.kind == Kind::CarePlan)
        .filter_map(
            |standing| match Details::parse(Kind::CarePlan, standing.details) {
                Ok(Details::CarePlan(plan)) => Some((*standing, plan)),
                _ => None,
            },
        )
        .collect();
    plans.sort_by_key(|(standing, _)| (standing.event.day().ok(), standing.event.id));
    plans
}

/// Whether a care plan in force on a day names a role to do what a kind records, whatever else it narrows.
#[must_use]
pub fn names(events: &[CareEvent], kind: Kind, role: Role, on: NaiveDate) -> bool {
    let Some(domain) = domain_of(kind) else {
        return false;
    };
    plans(&effective(events))
        .iter()
        .any(|(standing, plan)| in_force(standing, plan, domain, role, on).is_ok())
}

fn covers(
    standing: &Standing<'_>,
    plan: &CarePlan,
    domain: Domain,
    act: &Act<'_>,
) -> Result<(), String> {
    in_force(standing, plan, domain, act.role, act.on)?;
    if let Details::Deworming(given) = act.details {
        let other = given
            .actives
            .iter()
            .find(|active| !plan.actives.contains(active));
        if let Some(active) = other {
            return Err(format!("the care plan doesn't name {active}"));
        }
    }
    Ok(())
}

/// Whether a plan stands on a day for a role, on a professional's word.
fn in_force(
    standing: &Standing<'_>,
    plan: &CarePlan,
    domain: Domain,
    role: Role,
    on: NaiveDate,
) -> Result<(), String> {
    let by_professional =
        standing.provenance == Provenance::Attested || standing.countersigned_by.is_some();
    if !by_professional {
        return Err("the care plan is a copy that no vet or farrier has countersigned".to_owned());
    }
    if plan.domain != domain {
        return Err(format!(
            "the care plan is about {}, not {domain}",
            plan.domain
        ));
    }
    let from = standing.event.day().map_err(|faults| faults.to_string())?;
    if on < from {
        return Err(format!("the care plan was made on {from}, after {on}"));
    }
    if let Some(last) = plan.valid_until.filter(|last| on > *last) {
        return Err(format!("the care plan ended on {last}"));
    }
    if let Some(retraction) = standing.retracted_by {
        let since = retraction.day().ok();
        if since.is_none_or(|since| on >= since) {
            return Err("the care plan has been withdrawn".to_owned());
        }
    }
    if !plan.roles.contains(&role) {
        let role = role.code().replace('_', " ");
        return Err(format!("the care plan doesn't name {role} to carry it out"));
    }
    Ok(())
}

const fn domain_of(kind: Kind) -> Option<Domain> {
    match kind {
        Kind::HoofCare | Kind::HoofCheck => Some(Domain::Hoof),
        Kind::Vaccination => Some(Domain::Vaccination),
        Kind::Deworming | Kind::EggCount => Some(Domain::Parasite),
        Kind::Dental => Some(Domain::Dental),
        Kind::Medication => Some(Domain::Medication),
        _ => None,
    }
}

const fn named_plan(details: &Details) -> Option<EventId> {
    match details {
        Details::Deworming(given) => given.care_plan_id,
        Details::Medication(given) => given.care_plan_id,
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    const PLAN: &str = "01970000-0000-7000-8000-000000000001";
    const OTHER: &str = "01970000-0000-7000-8000-000000000002";

    fn event(document: Value) -> CareEvent {
        serde_json::from_value(document).expect("an event")
    }

    fn plan(changes: &Value) -> CareEvent {
        let mut details = json!({"domain": "parasite", "actives": ["ivermectin", "praziquantel"],
            "roles": ["barn_staff"], "instructions": "by tape", "valid_until": "2026-09-30"});
        for (name, value) in changes.as_object().expect("an object") {
            details[name] = value.clone();
        }
        event(
            json!({"kind": "care_plan", "id": PLAN, "performed_on": "2026-04-01", "role": "vet",
            "details": details}),
        )
    }

    fn decide(
        log: &[CareEvent],
        kind: Kind,
        details: &Value,
        role: Role,
        on: &str,
    ) -> Result<String, String> {
        let details = Details::parse(kind, details).expect("details");
        let on = on.parse().expect("a day");
        let act = Act {
            details: &details,
            role,
            on,
            amends: None,
        };
        covering(log, &act)
            .map(|id| id.expect("an id").to_string())
            .map_err(|reason| reason.to_string())
    }

    fn paste(log: &[CareEvent], on: &str) -> Result<String, String> {
        let details = json!({"actives": ["ivermectin"]});
        decide(log, Kind::Deworming, &details, Role::BarnStaff, on)
    }

    #[track_caller]
    fn refused(decided: Result<String, String>, part: &str) {
        let reason = decided.expect_err("a refusal");
        assert!(reason.contains(part), "{reason}");
    }

    #[test]
    fn an_amendment_is_covered_as_what_it_amends_would_have_been() {
        let log = [plan(&json!({}))];
        let amend = |active: &str, day: &str| {
            let details = json!({"reason": "the other tube", "details": {"actives": [active], "lot_number": "DP-7732"}});
            let details = Details::parse(Kind::Amendment, &details).expect("details");
            let act = Act {
                details: &details,
                role: Role::BarnStaff,
                on: "2026-11-02".parse().expect("a day"),
                amends: Some((Kind::Deworming, day.parse().expect("a day"))),
            };
            covering(&log, &act)
                .map(|id| id.expect("an id").to_string())
                .map_err(|reason| reason.to_string())
        };
        assert_eq!(amend("praziquantel", "2026-09-30"), Ok(PLAN.to_owned()));
        refused(amend("moxidectin", "2026-09-30"), "doesn't name moxidectin");
        refused(amend("praziquantel", "2026-10-01"), "ended on 2026-09-30");
    }

    #[test]
    fn covers_from_its_first_day_to_its_last() {
        let log = [plan(&json!({}))];
        refused(paste(&log, "2026-03-31"), "made on 2026-04-01");
        assert_eq!(paste(&log, "2026-04-01"), Ok(PLAN.to_owned()));
        assert_eq!(paste(&log, "2026-09-30"), Ok(PLAN.to_owned()));
        refused(paste(&log, "2026-10-01"), "ended on 2026-09-30");
        refused(paste(&[], "2026-05-01"), "no care plan for parasite");
    }

    #[test]
    fn covers_only_what_it_names() {
        let log = [plan(&json!({}))];
        let give = |actives: Value, role| {
            decide(
                &log,
                Kind::Deworming,
                &json!({"actives": actives}),
                role,
                "2026-05-01",
            )
        };
        assert!(give(json!(["praziquantel", "ivermectin"]), Role::BarnStaff).is_ok());
        refused(
            give(json!(["ivermectin", "moxidectin"]), Role::BarnStaff),
            "name moxidectin",
        );
        refused(give(json!(["ivermectin"]), Role::Owner), "name owner");
        let nothing = [plan(&json!({"actives": []}))];
        refused(paste(&nothing, "2026-05-01"), "name ivermectin");
        let newer = [plan(&json!({"doses_in_all": 1}))];
        refused(paste(&newer, "2026-05-01"), "no care plan");
    }

    #[test]
    fn a_plan_that_the_act_names_must_be_the_one() {
        let log = [plan(&json!({}))];
        let named =
            |kind, details: Value| decide(&log, kind, &details, Role::BarnStaff, "2026-05-01");
        let deworming = |id| json!({"actives": ["ivermectin"], "care_plan_id": id});
        assert!(named(Kind::Deworming, deworming(PLAN)).is_ok());
        refused(
            named(Kind::Deworming, deworming(OTHER)),
            "no care plan 01970000",
        );
        let drug = json!({"drug": "omeprazole", "dose": "1 tube", "care_plan_id": PLAN});
        refused(
            named(Kind::Medication, drug),
            "about parasite, not medication",
        );
        let unnamed = json!({"drug": "omeprazole", "dose": "1 tube"});
        refused(
            named(Kind::Medication, unnamed),
            "say under which care plan",
        );
        refused(
            named(Kind::Movement, json!({"to": "Headland"})),
            "no care plan is about movement",
        );
    }

    #[test]
    fn a_withdrawn_plan_covers_what_was_done_before_and_nothing_after() {
        let retraction = event(
            json!({"kind": "retraction", "id": OTHER, "target_id": PLAN, "role": "vet",
            "performed_on": "2026-06-10", "details": {"reason": "resistance found"}}),
        );
        let log = [plan(&json!({})), retraction];
        assert!(paste(&log, "2026-06-09").is_ok());
        refused(paste(&log, "2026-06-10"), "withdrawn");
    }

    #[test]
    fn an_amended_plan_covers_as_amended() {
        let amendment = event(
            json!({"kind": "amendment", "id": OTHER, "target_id": PLAN, "role": "vet",
            "performed_on": "2026-05-10",
            "details": {"reason": "longer", "details": {"domain": "parasite", "roles": ["barn_staff"],
                "actives": ["fenbendazole"], "valid_until": "2026-12-31"}}}),
        );
        let log = [plan(&json!({})), amendment];
        refused(paste(&log, "2026-05-11"), "name ivermectin");
    }

    #[test]
    fn a_copied_plan_covers_nothing_until_it_is_countersigned() {
        let mut copied = plan(&json!({}));
        copied.provenance = Provenance::Transcribed;
        refused(paste(&[copied.clone()], "2026-05-01"), "countersigned");
        let countersign = event(
            json!({"kind": "countersign", "id": OTHER, "target_id": PLAN, "role": "vet",
            "performed_on": "2026-04-02", "details": {"statement": "mine"}}),
        );
        assert!(paste(&[copied, countersign], "2026-05-01").is_ok());
    }
}
