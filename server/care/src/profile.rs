//! The horse's profile, from its log.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::details::{Breeding, BreedingStep, Details, HoofCare, Identity, Service};
use crate::effective::{Standing, effective};
use crate::horse::{CareEvent, Horse, Pregnancy};
use crate::ids::EventId;
use crate::kind::{Foot, Kind, Role};

/// A caution for everyone who will pick up the horse's feet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = ProfileHandling))]
pub struct Handling {
    /// The caution.
    pub text: String,
    /// The day it was written down.
    pub on: NaiveDate,
    /// In which capacity it was written.
    pub role: Option<Role>,
    /// The event that holds it.
    pub event_id: Option<EventId>,
}

/// The horse as its log tells it: identity events in their order, its last weight, its shoes, its pregnancy.
///
/// Amendments and retractions are taken into account. What no event tells is unknown.
#[must_use]
pub fn profile(events: &[CareEvent]) -> Horse {
    let mut horse = Horse::default();
    let mut shoes = Shoes::default();
    let log = effective(events);
    let standing = in_order(log.in_force());
    // Reading details costs more than all else here: those of the last weight are enough, and most other kinds tell nothing of this.
    horse.weight_kg = standing
        .iter()
        .rev()
        .find_map(|(_, one)| match read(one, &[Kind::Weight]) {
            Some(Details::Weight(weight)) => Some(weight.weight_kg),
            _ => None,
        });
    for (day, one) in standing {
        match read(one, &[Kind::Identity, Kind::HoofCare, Kind::Breeding]) {
            Some(Details::Identity(identity)) => change(&mut horse, identity),
            Some(Details::HoofCare(visit)) => shoes.after(&visit),
            Some(Details::Breeding(breeding)) => breed(&mut horse, breeding, day),
            _ => {}
        }
    }
    horse.shod = shoes.worn();
    horse
}

/// What an event says now, if it is of one of these kinds.
fn read(standing: &Standing<'_>, kinds: &[Kind]) -> Option<Details> {
    let kind = standing.event.kind;
    let details = kinds.contains(&kind).then_some(standing.details)?;
    Details::parse_known(kind, details)
}

/// The latest caution on handling the feet, whichever visit it comes from: a visit that says nothing leaves it standing.
#[must_use]
pub fn handling(events: &[CareEvent]) -> Option<Handling> {
    let log = effective(events);
    let visits = log
        .in_force()
        .filter(|standing| standing.event.kind == Kind::HoofCare);
    in_order(visits)
        .into_iter()
        .rev()
        .find_map(|(on, standing)| {
            let text = standing.details.get("handling")?.as_str()?.trim();
            (!text.is_empty()).then(|| Handling {
                text: text.to_owned(),
                on,
                role: standing.role,
                event_id: standing.event.id,
            })
        })
}

/// Standing events with their days, the earliest first. One without a day can't be placed and is left out.
fn in_order<'s, 'a: 's>(
    standing: impl Iterator<Item = &'s Standing<'a>>,
) -> Vec<(NaiveDate, &'s Standing<'a>)> {
    let mut placed: Vec<_> = standing
        .filter_map(|one| Some((one.event.day().ok()?, one)))
        .collect();
    placed.sort_by_key(|(day, one)| (*day, one.event.performed_at, one.event.id));
    placed
}

/// Lays the changed parts over the profile.
fn change(horse: &mut Horse, identity: Identity) {
    fn lay<T>(over: &mut Option<T>, new: Option<T>) {
        if new.is_some() {
            *over = new;
        }
    }
    lay(&mut horse.name, identity.name);
    lay(&mut horse.registered_name, identity.registered_name);
    lay(&mut horse.sex, identity.sex);
    lay(&mut horse.foaled_on, identity.foaled_on);
    lay(&mut horse.breed_type, identity.breed_type);
    lay(&mut horse.microchip, identity.microchip);
    lay(&mut horse.ueln, identity.ueln);
    lay(&mut horse.colour, identity.colour);
    lay(&mut horse.markings, identity.markings);
    lay(&mut horse.dam_vaccinated, identity.dam_vaccinated);
    lay(&mut horse.mature_weight_kg, identity.mature_weight_kg);
    if let Some(risks) = identity.risks {
        horse.risks = risks;
    }
}

/// A covered mare is taken to be in foal until a check, a loss or a foaling says otherwise: of two mistakes, taking an
/// empty mare for one in foal is the harmless one.
fn breed(horse: &mut Horse, breeding: Breeding, day: NaiveDate) {
    match (breeding.step, breeding.in_foal) {
        (BreedingStep::Covered, _) => {
            horse.pregnancy = Some(Pregnancy {
                covered_on: Some(day),
            });
        }
        (BreedingStep::PregnancyChecked, Some(true)) => {
            horse
                .pregnancy
                .get_or_insert(Pregnancy { covered_on: None });
        }
        (BreedingStep::PregnancyChecked, Some(false))
        | (BreedingStep::Foaled | BreedingStep::Lost, _) => horse.pregnancy = None,
        (BreedingStep::PregnancyChecked, None) | (BreedingStep::Weaned, _) => {}
    }
}

/// Which feet wear a shoe, as far as visits tell, in the order of [`Foot::ALL`].
#[derive(Default)]
struct Shoes([Option<bool>; 4]);

impl Shoes {
    fn after(&mut self, visit: &HoofCare) {
        for (foot, shod) in Foot::ALL.iter().zip(&mut self.0) {
            let care = visit.feet.get(foot);
            let meant = visit.feet.is_empty() || care.is_some();
            match visit.service {
                Service::Shoe | Service::Reset if meant => *shod = Some(true),
                Service::Pull if meant => *shod = Some(false),
                Service::Trim if meant => {
                    *shod = Some(care.is_some_and(|care| care.shoe.is_some()));
                }
                // Trimmed with nothing said of this foot: it may keep a shoe that is known of, no other.
                Service::Trim => *shod = shod.or(Some(false)),
                Service::Repair if care.is_some_and(|care| care.shoe.is_some()) => {
                    *shod = Some(true);
                }
                _ => {}
            }
        }
    }

    /// Whether the horse wears any shoe; unknown while a foot is.
    fn worn(&self) -> Option<bool> {
        if self.0.contains(&Some(true)) {
            return Some(true);
        }
        self.0.iter().all(Option::is_some).then_some(false)
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::horse::{Risk, Sex};

    fn event(kind: &str, n: u32, day: &str, details: &Value) -> CareEvent {
        let id = format!("01970000-0000-7000-8000-{n:012}");
        let document = json!({"kind": kind, "id": id, "performed_on": day, "details": details, "role": "farrier"});
        serde_json::from_value(document).expect("an event")
    }

    fn about(kind: &str, n: u32, target: u32, details: &Value) -> CareEvent {
        let mut event = event(kind, n, "2026-12-31", details);
        event.target_id = format!("01970000-0000-7000-8000-{target:012}").parse().ok();
        event
    }

    #[test]
    fn later_identity_replaces_only_what_it_names() {
        let log = [
            event(
                "identity",
                2,
                "2026-05-01",
                &json!({"sex": "gelding", "risks": ["travels"]}),
            ),
            event(
                "identity",
                1,
                "2025-01-01",
                &json!({"name": "Cockle", "sex": "colt", "foaled_on": "2024-05", "risks": ["near_water", "travels"]}),
            ),
        ];
        let horse = profile(&log);
        assert_eq!(horse.name.as_deref(), Some("Cockle"));
        assert_eq!(horse.sex, Some(Sex::Gelding));
        assert_eq!(
            horse.foaled_on.map(|on| on.to_string()).as_deref(),
            Some("2024-05")
        );
        assert_eq!(horse.risks, [Risk::Travels]);
        assert_eq!(horse.shod, None);
    }

    #[test]
    fn amendments_and_retractions_are_taken_into_account() {
        let log = [
            event("weight", 1, "2026-01-01", &json!({"weight_kg": 480})),
            event("weight", 2, "2026-02-01", &json!({"weight_kg": 4900})),
            event("weight", 3, "2026-03-01", &json!({"weight_kg": 510})),
            about(
                "amendment",
                4,
                2,
                &json!({"reason": "slip", "details": {"weight_kg": 490}}),
            ),
            about("retraction", 5, 3, &json!({"reason": "another horse"})),
        ];
        assert_eq!(profile(&log).weight_kg, Some(490.0));
    }

    #[test]
    fn what_a_newer_program_wrote_does_not_hide_what_is_known() {
        let details =
            &json!({"name": "Cockle", "temper": "kind", "risks": ["travels", "meteorites"]});
        let horse = profile(&[event("identity", 1, "2026-01-01", details)]);
        assert_eq!(horse.name.as_deref(), Some("Cockle"));
        assert_eq!(horse.risks, [Risk::Travels]);
    }

    #[test]
    fn shoes_follow_the_visits() {
        let visit =
            |n: u32, details: &Value| event("hoof_care", n, &format!("2026-0{n}-01"), details);
        let mut log = vec![visit(1, &json!({"service": "trim"}))];
        assert_eq!(profile(&log).shod, Some(false));
        log.push(visit(
            2,
            &json!({"service": "shoe", "feet": {"LF": {}, "RF": {}}}),
        ));
        assert_eq!(profile(&log).shod, Some(true));
        log.push(visit(
            3,
            &json!({"service": "trim", "feet": {"LH": {}, "RH": {}}}),
        ));
        assert_eq!(
            profile(&log).shod,
            Some(true),
            "front shoes stay on while the hinds are trimmed"
        );
        log.push(visit(4, &json!({"service": "pull", "feet": {"LF": {}}})));
        assert_eq!(profile(&log).shod, Some(true));
        log.push(visit(5, &json!({"service": "pull", "feet": {"RF": {}}})));
        assert_eq!(profile(&log).shod, Some(false));
        log.push(visit(
            6,
            &json!({"service": "repair", "feet": {"RF": {"shoe": {"type": "plain"}}}}),
        ));
        assert_eq!(profile(&log).shod, Some(true));
        let pulled = [visit(1, &json!({"service": "pull", "feet": {"LF": {}}}))];
        assert_eq!(profile(&pulled).shod, None, "the other three are unknown");
    }

    #[test]
    fn a_pregnancy_runs_from_covering_to_foaling() {
        let step =
            |n: u32, details: &Value| event("breeding", n, &format!("2026-0{n}-01"), details);
        let covered = |n| step(n, &json!({"step": "covered"}));
        let since = |log: &[CareEvent]| {
            profile(log)
                .pregnancy
                .map(|one| one.covered_on.map(|on| on.to_string()))
        };
        let mut log = vec![covered(1), covered(2)];
        assert_eq!(
            since(&log),
            Some(Some("2026-02-01".to_owned())),
            "the last covering counts"
        );
        log.push(step(3, &json!({"step": "pregnancy_checked"})));
        assert_eq!(since(&log), Some(Some("2026-02-01".to_owned())));
        let empty = [
            covered(1),
            step(2, &json!({"step": "pregnancy_checked", "in_foal": false})),
        ];
        assert_eq!(since(&empty), None);
        let bought_in_foal = [step(
            2,
            &json!({"step": "pregnancy_checked", "in_foal": true}),
        )];
        assert_eq!(since(&bought_in_foal), Some(None));
        log.push(step(4, &json!({"step": "foaled"})));
        log.push(step(5, &json!({"step": "weaned"})));
        assert_eq!(since(&log), None);
    }

    #[test]
    fn a_handling_caution_stands_until_another_is_written() {
        let log = [
            event("hoof_care", 2, "2026-05-01", &json!({"service": "trim"})),
            event(
                "hoof_care",
                1,
                "2026-03-01",
                &json!({"service": "trim", "handling": "Kicks with the left hind."}),
            ),
            event(
                "hoof_care",
                3,
                "2026-06-01",
                &json!({"service": "trim", "handling": " "}),
            ),
        ];
        let caution = handling(&log).expect("a caution");
        assert_eq!(caution.text, "Kicks with the left hind.");
        assert_eq!(
            (caution.on.to_string().as_str(), caution.role),
            ("2026-03-01", Some(Role::Farrier))
        );
        let withdrawn = [
            log[1].clone(),
            about("retraction", 9, 1, &json!({"reason": "another horse"})),
        ];
        assert_eq!(handling(&withdrawn), None);
    }
}
