//! What a log says now: amendments replace, retractions withdraw, countersigns vouch.
//!
//! Pure, and the same whatever order the events come in. Nothing is left out: a withdrawn event is still there,
//! with the event that withdrew it.

use std::collections::HashMap;

use chrono::{DateTime, NaiveTime, Utc};
use serde_json::Value;

use crate::fault::Faults;
use crate::horse::CareEvent;
use crate::ids::EventId;
use crate::kind::{Kind, Provenance, Role};

/// An event as it stands after everything that was said about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing<'a> {
    /// The event as it was recorded.
    pub event: &'a CareEvent,
    /// Its details now: those of the last amendment, else its own.
    pub details: &'a Value,
    /// The amendment in force.
    pub amended_by: Option<&'a CareEvent>,
    /// The retraction in force; a figure takes no account of a retracted event.
    pub retracted_by: Option<&'a CareEvent>,
    /// Who vouched for it as it reads now: a vet before a farrier. A countersign given before a later amendment
    /// does not vouch for what was amended.
    pub countersigned_by: Option<Role>,
    /// How far it can be relied on: the weaker of the event's grade and its amendment's.
    pub provenance: Provenance,
    /// In which capacity it was recorded, or amended.
    pub role: Option<Role>,
}

/// A log with everything resolved.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Effective<'a> {
    /// Every event but amendments, retractions and countersigns, in the order given.
    pub standing: Vec<Standing<'a>>,
    /// Amendments, retractions and countersigns whose target is not among the events.
    pub unresolved: Vec<&'a CareEvent>,
}

impl<'a> Effective<'a> {
    /// The events that have not been retracted.
    pub fn in_force(&self) -> impl Iterator<Item = &Standing<'a>> {
        self.standing
            .iter()
            .filter(|one| one.retracted_by.is_none())
    }
}

/// Checks that no two different events share an id; the same event twice is harmless.
///
/// # Errors
///
/// A fault for each event whose id another event has already taken.
pub fn check_ids(events: &[CareEvent]) -> Result<(), Faults> {
    let mut seen: HashMap<EventId, &CareEvent> = HashMap::with_capacity(events.len());
    let mut faults = Faults::default();
    for (n, event) in events.iter().enumerate() {
        let Some(id) = event.id else { continue };
        match seen.insert(id, event) {
            Some(other) if other != event => faults.add(
                format!("/{n}/id"),
                format!("another event of this log has the id {id} and says something else"),
            ),
            _ => {}
        }
    }
    faults.or(())
}

/// Resolves a log: see [`Standing`].
#[must_use]
pub fn effective(events: &[CareEvent]) -> Effective<'_> {
    if !events.iter().any(|event| event.kind.is_about_another()) {
        return Effective {
            standing: without_repeats(events).map(plain).collect(),
            unresolved: Vec::new(),
        };
    }
    let said = Said::of(events);
    let mut resolved = Effective::default();
    for (n, event) in events.iter().enumerate() {
        if said.repeats[n] {
            continue;
        }
        if !event.kind.is_about_another() {
            resolved.standing.push(said.standing(n));
        } else if said.reach[n] == Reach::Nowhere {
            resolved.unresolved.push(event);
        }
    }
    resolved
}

/// The events without later copies of one with the same id.
fn without_repeats(events: &[CareEvent]) -> impl Iterator<Item = &CareEvent> {
    let mut seen = std::collections::HashSet::with_capacity(events.len());
    events
        .iter()
        .filter(move |event| event.id.is_none_or(|id| seen.insert(id)))
}

fn plain(event: &CareEvent) -> Standing<'_> {
    Standing {
        event,
        details: &event.details,
        amended_by: None,
        retracted_by: None,
        countersigned_by: event.countersigned_by,
        provenance: event.provenance,
        role: event.role,
    }
}

/// When an event was made, as far as it says: ids of version 7 rise with time and settle what is left.
fn order(event: &CareEvent) -> (Option<DateTime<Utc>>, Option<EventId>) {
    let midnight = |day: chrono::NaiveDate| day.and_time(NaiveTime::MIN).and_utc();
    let instant = event.performed_at.map(|at| at.to_utc());
    (instant.or(event.performed_on.map(midnight)), event.id)
}

/// Where following the targets of an event leads.
#[derive(Clone, Copy, PartialEq)]
enum Reach {
    Unknown,
    /// To a missing event, or round in a circle.
    Nowhere,
    /// To the event proper at this index, in so many steps.
    Root(usize, usize),
}

/// What was said about each event, all by index into the log. Built without recursion: a hostile log may hold a
/// chain of a hundred thousand retractions.
struct Said<'a> {
    events: &'a [CareEvent],
    repeats: Vec<bool>,
    target: Vec<Option<usize>>,
    reach: Vec<Reach>,
    retracted_by: Vec<Option<usize>>,
    amended_by: Vec<Option<usize>>,
    countersigned_by: Vec<Option<Role>>,
}

impl<'a> Said<'a> {
    fn of(events: &'a [CareEvent]) -> Self {
        let mut index: HashMap<EventId, usize> = HashMap::with_capacity(events.len());
        let mut repeats = vec![false; events.len()];
        for (n, event) in events.iter().enumerate() {
            if let Some(id) = event.id {
                repeats[n] = *index.entry(id).or_insert(n) != n;
            }
        }
        let target = events
            .iter()
            .map(|event| event.target_id.and_then(|id| index.get(&id).copied()))
            .collect();
        let mut said = Self {
            events,
            repeats,
            target,
            reach: vec![Reach::Unknown; events.len()],
            retracted_by: vec![None; events.len()],
            amended_by: vec![None; events.len()],
            countersigned_by: events.iter().map(|event| event.countersigned_by).collect(),
        };
        (0..events.len()).for_each(|n| said.follow(n));
        said.resolve();
        said
    }

    /// Finds where the targets lead from `start`, and for all on the way.
    fn follow(&mut self, start: usize) {
        let mut way = Vec::new();
        let mut at = start;
        let end = loop {
            match self.reach[at] {
                Reach::Unknown if !self.events[at].kind.is_about_another() => {
                    self.reach[at] = Reach::Root(at, 0);
                }
                Reach::Unknown => {
                    // A circle comes back to one that is marked so while it is on the way.
                    self.reach[at] = Reach::Nowhere;
                    way.push(at);
                    match self.target[at] {
                        Some(next) => at = next,
                        None => break Reach::Nowhere,
                    }
                }
                known => break known,
            }
        };
        if let Reach::Root(root, steps) = end {
            for (more, n) in way.into_iter().rev().enumerate() {
                self.reach[n] = Reach::Root(root, steps + more + 1);
            }
        }
    }

    fn resolve(&mut self) {
        let mut said: Vec<(usize, usize)> = Vec::new();
        for (n, reach) in self.reach.iter().enumerate() {
            if let (false, Reach::Root(_, steps @ 1..)) = (self.repeats[n], *reach) {
                said.push((steps, n));
            }
        }
        said.sort_unstable();
        // The farthest first: whether a retraction holds is known once all that is said about it is.
        for (_, n) in said.iter().rev() {
            self.retract(*n);
        }
        let mut live = vec![false; self.events.len()];
        for (_, n) in &said {
            live[*n] = self.amend(*n, &live);
        }
        for (_, n) in &said {
            self.countersign(*n);
        }
    }

    fn retract(&mut self, n: usize) {
        if self.events[n].kind != Kind::Retraction || self.retracted_by[n].is_some() {
            return;
        }
        if let Some(target) = self.target[n] {
            let first = match self.retracted_by[target] {
                Some(other) if order(&self.events[other]) <= order(&self.events[n]) => other,
                _ => n,
            };
            self.retracted_by[target] = Some(first);
        }
    }

    /// Puts an amendment in force unless a later one is; says whether it stands at all.
    fn amend(&mut self, n: usize, live: &[bool]) -> bool {
        let (Reach::Root(root, _), Some(target)) = (self.reach[n], self.target[n]) else {
            return false;
        };
        let stands = self.events[n].kind == Kind::Amendment
            && self.retracted_by[n].is_none()
            && (target == root || live[target]);
        if stands {
            let last = match self.amended_by[root] {
                Some(other) if order(&self.events[other]) >= order(&self.events[n]) => other,
                _ => n,
            };
            self.amended_by[root] = Some(last);
            // What was vouched for when it was handed over is no longer what it says.
            self.countersigned_by[root] = None;
        }
        stands
    }

    fn countersign(&mut self, n: usize) {
        let event = &self.events[n];
        let (Reach::Root(root, _), Some(target)) = (self.reach[n], self.target[n]) else {
            return;
        };
        let saw_it_as_it_reads = match self.amended_by[root] {
            Some(amendment) if target == root => order(event) > order(&self.events[amendment]),
            Some(amendment) => target == amendment,
            None => target == root,
        };
        let counts = event.kind == Kind::Countersign
            && self.retracted_by[n].is_none()
            && event.provenance == Provenance::Attested
            && saw_it_as_it_reads;
        // A figure's input may lack the role: attested then means by somebody whose licence covers it.
        let role = event.role.unwrap_or(Role::Vet);
        if counts && matches!(role, Role::Vet | Role::Farrier) {
            self.countersigned_by[root] = self.countersigned_by[root].max(Some(role));
        }
    }

    fn standing(&self, n: usize) -> Standing<'a> {
        let event = &self.events[n];
        let amended_by = self.amended_by[n].map(|by| &self.events[by]);
        let details = amended_by.and_then(|one| one.details.get("details"));
        Standing {
            event,
            details: details.unwrap_or(&event.details),
            amended_by,
            retracted_by: self.retracted_by[n].map(|by| &self.events[by]),
            countersigned_by: self.countersigned_by[n],
            provenance: amended_by
                .map_or(event.provenance, |one| event.provenance.max(one.provenance)),
            role: amended_by.and_then(|one| one.role).or(event.role),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;

    fn id(n: u32) -> String {
        format!("01970000-0000-7000-8000-{n:012}")
    }

    fn event(document: Value) -> CareEvent {
        serde_json::from_value(document).expect("an event")
    }

    fn dose() -> CareEvent {
        event(
            json!({"kind": "vaccination", "id": id(1), "performed_on": "2026-03-01",
            "provenance": "transcribed", "details": {"targets": ["tetanus"]}}),
        )
    }

    fn about(kind: &str, n: u32, target: u32, day: &str) -> CareEvent {
        event(
            json!({"kind": kind, "id": id(n), "target_id": id(target), "role": "vet",
            "performed_on": day,
            "details": {"reason": "read again", "statement": "seen", "details": {"targets": [n]}}}),
        )
    }

    fn only(events: &[CareEvent]) -> Standing<'_> {
        let resolved = effective(events);
        assert_eq!(resolved.standing.len(), 1);
        resolved.standing[0]
    }

    #[test]
    fn the_last_amendment_gives_the_details() {
        let log = [
            about("amendment", 3, 2, "2026-03-05"),
            dose(),
            about("amendment", 2, 1, "2026-03-02"),
        ];
        let standing = only(&log);
        assert_eq!(standing.details, &json!({"targets": [3]}));
        assert_eq!(standing.amended_by.and_then(|one| one.id), log[0].id);
    }

    #[test]
    fn a_retraction_withdraws_and_can_itself_be_withdrawn() {
        let log = [dose(), about("retraction", 2, 1, "2026-03-02")];
        assert_eq!(only(&log).retracted_by, Some(&log[1]));
        assert_eq!(effective(&log).in_force().count(), 0);
        let log = [
            dose(),
            about("retraction", 2, 1, "2026-03-02"),
            about("retraction", 3, 2, "2026-03-03"),
        ];
        assert_eq!(only(&log).retracted_by, None);
    }

    #[test]
    fn a_retracted_amendment_takes_its_own_amendments_with_it() {
        let log = [
            dose(),
            about("amendment", 2, 1, "2026-03-02"),
            about("amendment", 3, 2, "2026-03-03"),
            about("retraction", 4, 2, "2026-03-04"),
        ];
        assert_eq!(only(&log).details, &log[0].details);
    }

    #[test]
    fn a_countersign_vouches_for_what_it_saw_only() {
        let countersign = |day: &str| about("countersign", 4, 1, day);
        let log = [dose(), countersign("2026-03-04")];
        assert_eq!(only(&log).countersigned_by, Some(Role::Vet));
        let log = [
            dose(),
            countersign("2026-03-04"),
            about("amendment", 5, 1, "2026-03-05"),
        ];
        assert_eq!(only(&log).countersigned_by, None);
        let log = [
            dose(),
            about("amendment", 5, 1, "2026-03-05"),
            countersign("2026-03-06"),
        ];
        assert_eq!(only(&log).countersigned_by, Some(Role::Vet));
        let log = [
            dose(),
            countersign("2026-03-04"),
            about("retraction", 6, 4, "2026-03-05"),
        ];
        assert_eq!(only(&log).countersigned_by, None);
    }

    #[test]
    fn a_weak_amendment_weakens_a_strong_event() {
        let mut strong = dose();
        strong.provenance = Provenance::Attested;
        let mut weak = about("amendment", 2, 1, "2026-03-02");
        weak.provenance = Provenance::Transcribed;
        assert_eq!(only(&[strong, weak]).provenance, Provenance::Transcribed);
    }

    #[test]
    fn what_points_nowhere_or_in_a_circle_is_reported_and_changes_nothing() {
        let log = [
            dose(),
            about("retraction", 2, 9, "2026-03-02"),
            about("retraction", 3, 4, "2026-03-02"),
            about("retraction", 4, 3, "2026-03-02"),
        ];
        assert_eq!(only(&log).retracted_by, None);
        assert_eq!(effective(&log).unresolved.len(), 3);
    }

    #[test]
    fn the_same_event_twice_counts_once_and_a_stolen_id_is_a_fault() {
        let log = [dose(), dose(), about("countersign", 2, 1, "2026-03-02")];
        assert_eq!(effective(&log).standing.len(), 1);
        assert!(check_ids(&log).is_ok());
        let mut other = dose();
        other.performed_on = other.performed_on.and_then(|day| day.succ_opt());
        let faults = check_ids(&[dose(), other]).unwrap_err();
        assert_eq!(faults.0[0].pointer, "/1/id");
    }

    #[test]
    fn a_long_chain_of_retractions_is_resolved() {
        let mut log = vec![dose()];
        log.extend((2..20_002).map(|n| about("retraction", n, n - 1, "2026-03-02")));
        assert_eq!(only(&log).retracted_by, None);
        log.pop();
        assert!(only(&log).retracted_by.is_some());
    }

    proptest! {
        #[test]
        fn the_order_of_events_does_not_matter(
            said in prop::collection::vec((0usize..3, 1u32..8, 1u32..28), 0..8),
            seed in any::<u64>(),
        ) {
            let kinds = ["amendment", "retraction", "countersign"];
            let mut log = vec![dose()];
            for (n, (kind, target, day)) in (2u32..).zip(said) {
                log.push(about(kinds[kind], n, target, &format!("2026-03-{day:02}")));
            }
            let mut shuffled = log.clone();
            let mut state = seed | 1;
            for n in (1..shuffled.len()).rev() {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                shuffled.swap(n, (state >> 33) as usize % (n + 1));
            }
            prop_assert_eq!(only(&log), only(&shuffled));
            prop_assert_eq!(
                effective(&log).unresolved.len(),
                effective(&shuffled).unresolved.len()
            );
        }
    }
}
