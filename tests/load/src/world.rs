//! A herd of any size with its people and its records, the same for the same seed. The events are signed for real.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Map, Value, json};
use whorl_care::details;
use whorl_care::ids::{AccountId, BarnId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::event::{Content, Envelope, SignedEvent, VOCABULARY};
use whorl_contract::key::{Hash, Salt, SecretKey};

use crate::Outcome;
use crate::seed::Seed;

/// The records of a horse with a long log are spread over so many days before the herd's last day.
const DAYS: i64 = 1_800;

/// The herd's last day: 2026-10-01T08:00:00Z, in milliseconds since 1970.
const LAST: i64 = 1_790_841_600_000;

/// So many barns share a vet and a farrier.
const BARNS_OF_A_VET: u64 = 10;

/// How large the herd is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct World {
    /// Which of the herds of this size it is.
    pub(crate) seed: u64,
    /// How many horses there are.
    pub(crate) horses: u64,
    /// How many events there are in all.
    pub(crate) events: u64,
    /// The herd that is measured: the first horses, with these logs, are the same in every larger herd.
    pub(crate) core: Core,
}

/// The horses that are measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Core {
    /// How many.
    pub(crate) horses: u64,
    /// How many events they have in all.
    pub(crate) events: u64,
    /// Every twentieth of them has so many.
    pub(crate) long: u64,
    /// So many horses stand in each barn.
    pub(crate) barn: u64,
}

/// Who has to do with a barn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Part {
    Owner,
    Vet,
    Farrier,
}

/// Somebody with an account and a device.
#[derive(Clone, Debug)]
pub(crate) struct Person {
    pub(crate) account: AccountId,
    pub(crate) device: DeviceId,
    pub(crate) key: SecretKey,
    pub(crate) email: String,
    pub(crate) name: String,
    pub(crate) role: Role,
}

/// What streams of numbers are for.
mod purpose {
    pub(super) const PERSON: u64 = 1;
    pub(super) const BARN: u64 = 2;
    pub(super) const HORSE: u64 = 3;
    pub(super) const EVENT: u64 = 4;
    pub(super) const NEW: u64 = 5;
}

impl World {
    /// How many barns there are.
    pub(crate) fn barns(&self) -> u64 {
        self.horses.div_ceil(self.core.barn)
    }

    /// The id of a barn.
    pub(crate) fn barn(&self, n: u64) -> BarnId {
        Seed::new(self.seed, purpose::BARN, n).id(first_millis())
    }

    /// The id of a horse.
    pub(crate) fn horse(&self, n: u64) -> HorseId {
        Seed::new(self.seed, purpose::HORSE, n).id(first_millis())
    }

    /// Which barn a horse stands in.
    pub(crate) fn barn_of(&self, horse: u64) -> u64 {
        horse / self.core.barn
    }

    /// The horses with long logs among those that are measured.
    pub(crate) fn long_logs(&self) -> impl Iterator<Item = u64> + use<> {
        (0..self.core.horses).step_by(20)
    }

    /// How many events a horse has.
    pub(crate) fn log_length(&self, horse: u64) -> u64 {
        let core = self.core;
        let long = core.horses.div_ceil(20);
        if horse >= core.horses {
            let (rest, events) = (self.horses - core.horses, self.events - core.events);
            return share(events, rest, horse - core.horses);
        }
        if horse.is_multiple_of(20) {
            return core.long;
        }
        let short = core.horses - long;
        share(
            core.events - core.long * long,
            short,
            horse - horse / 20 - 1,
        )
    }

    /// Somebody who has to do with a barn.
    pub(crate) fn person(&self, part: Part, barn: u64) -> Person {
        let (n, role, what) = match part {
            Part::Owner => (barn, Role::Owner, "owner"),
            Part::Vet => (barn / BARNS_OF_A_VET, Role::Vet, "vet"),
            Part::Farrier => (barn / BARNS_OF_A_VET, Role::Farrier, "farrier"),
        };
        let mut seed = Seed::new(self.seed, purpose::PERSON + ((part as u64) << 8), n);
        Person {
            account: seed.id(first_millis()),
            device: seed.id(first_millis()),
            key: SecretKey::from_seed(&seed.bytes()),
            email: format!("{what}.{n}@saltmarsh.example"),
            name: format!("{what} {n}"),
            role,
        }
    }

    /// One of the events that the herd begins with: the `n`th of a horse, from 0.
    pub(crate) fn event(&self, horse: u64, n: u64, people: &[Person; 3]) -> Outcome<Made> {
        let mut seed = Seed::new(self.seed, purpose::EVENT, (horse << 20) | n);
        let (kind, part) = what_is_recorded(n);
        let length = self.log_length(horse).max(1);
        let back = DAYS * 86_400_000 / signed(length) * signed(length - n);
        let at = LAST - back + signed(seed.below(3_600_000));
        let details = details_of(kind, horse, n, &mut seed);
        sign(
            &people[part as usize],
            self.horse(horse),
            kind,
            details,
            at,
            &mut seed,
        )
    }

    /// A record that was made just now, for pushing: the `n`th of a device's run.
    pub(crate) fn new_event(&self, owner: &Person, horse: u64, run: u64, n: u64) -> Outcome<Made> {
        let mut seed = Seed::new(self.seed, purpose::NEW.wrapping_add(run << 8), n);
        let details = details_of(Kind::Weight, horse, n, &mut seed);
        sign(
            owner,
            self.horse(horse),
            Kind::Weight,
            details,
            now().timestamp_millis(),
            &mut seed,
        )
    }
}

/// An event, and what of it a row needs.
#[derive(Clone, Debug)]
pub(crate) struct Made {
    pub(crate) envelope: Envelope,
    pub(crate) event: SignedEvent,
}

/// The machine's time.
pub(crate) fn now() -> DateTime<Utc> {
    std::time::SystemTime::now().into()
}

/// When the people, barns and horses of every herd came.
pub(crate) fn first_day() -> DateTime<Utc> {
    DateTime::from_timestamp_millis(LAST).unwrap_or_default() - TimeDelta::days(DAYS + 1)
}

fn first_millis() -> u64 {
    first_day().timestamp_millis().unsigned_abs()
}

fn signed(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// The part that falls to the `n`th of `among`.
fn share(all: u64, among: u64, n: u64) -> u64 {
    all * (n + 1) / among - all * n / among
}

/// What a horse's log holds: who it is, and then what a yard records over the years.
fn what_is_recorded(n: u64) -> (Kind, Part) {
    if n == 0 {
        return (Kind::Identity, Part::Owner);
    }
    match n % 10 {
        0 | 5 => (Kind::HoofCare, Part::Farrier),
        2 => (Kind::Deworming, Part::Vet),
        3 => (Kind::BodyCondition, Part::Owner),
        4 => (Kind::Vaccination, Part::Vet),
        6 => (Kind::HoofCheck, Part::Owner),
        7 => (Kind::Vitals, Part::Owner),
        8 => (Kind::Observation, Part::Owner),
        _ => (Kind::Weight, Part::Owner),
    }
}

fn details_of(kind: Kind, horse: u64, n: u64, seed: &mut Seed) -> Value {
    let mut details = details::example(kind);
    match kind {
        Kind::Identity => details["name"] = json!(format!("Horse {horse}")),
        Kind::Weight => {
            let grams = 420_000 + seed.below(160_000);
            return json!({"weight_kg": f64::from(u32::try_from(grams / 100).unwrap_or(0)) / 10.0, "method": "scale"});
        }
        Kind::HoofCare => {
            details = json!({"service": "trim", "feet": {"LF": {
                "before": {"toe_length_mm": 92.0, "toe_angle_deg": 50.0, "method": "gauge"},
                "after": {"toe_length_mm": 84.0, "toe_angle_deg": 52.5, "method": "gauge"}}}, "next_in_weeks": 7});
        }
        Kind::Observation => {
            return json!({"text": "Short in front on the hard track, sound on grass."});
        }
        Kind::Deworming => {
            details["care_plan_id"] = Value::Null;
            details["lot_number"] = json!(format!("DP-{}", n / 40));
        }
        Kind::Vaccination => details["lot_number"] = json!(format!("TV-{}", n / 40)),
        _ => {}
    }
    details
}

fn sign(
    author: &Person,
    horse_id: HorseId,
    kind: Kind,
    details: Value,
    at: i64,
    seed: &mut Seed,
) -> Outcome<Made> {
    let at = DateTime::from_timestamp_millis(at).unwrap_or_default();
    let id: EventId = seed.id(at.timestamp_millis().unsigned_abs());
    let content = Content {
        performed_by: None,
        note: None,
        attachments: Vec::new(),
        details,
    };
    let envelope = Envelope {
        id,
        horse_id,
        kind,
        vocabulary: VOCABULARY,
        performed_at: at.fixed_offset(),
        recorded_at: at.fixed_offset(),
        author_id: author.account,
        device_id: author.device,
        role: author.role,
        provenance: if author.role == Role::Owner {
            Provenance::Recorded
        } else {
            Provenance::Attested
        },
        visit_id: None,
        target_id: None,
        content_hash: Hash([0; 32]),
        other: Map::new(),
    };
    let event = SignedEvent::sign(envelope.clone(), &content, Salt(seed.bytes()), &author.key)?;
    Ok(Made { envelope, event })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERD: World = World {
        seed: 1,
        horses: 130,
        events: 2_000,
        core: Core {
            horses: 40,
            events: 900,
            long: 50,
            barn: 20,
        },
    };

    #[test]
    fn every_event_falls_to_a_horse() {
        let lengths: Vec<u64> = (0..HERD.horses)
            .map(|horse| HERD.log_length(horse))
            .collect();
        assert_eq!(lengths.iter().sum::<u64>(), 2_000);
        assert_eq!(lengths[..40].iter().sum::<u64>(), 900);
        assert!(
            HERD.long_logs()
                .all(|horse| lengths[usize::try_from(horse).expect("a horse")] == 50)
        );
        assert!(lengths.iter().all(|length| *length > 0));
    }

    #[test]
    fn what_is_made_is_a_record_of_its_kind() {
        for n in 0..10 {
            let (kind, _) = what_is_recorded(n);
            let details = details_of(kind, 7, n, &mut Seed::new(1, 1, n));
            let parsed = whorl_care::details::Details::parse(kind, &details);
            assert!(parsed.is_ok(), "{kind}: {parsed:?}");
        }
    }

    #[test]
    fn the_same_seed_makes_the_same_signed_event_and_another_seed_another() {
        let event = |world: World| {
            let people = [Part::Owner, Part::Vet, Part::Farrier].map(|part| world.person(part, 1));
            let made = world.event(21, 3, &people).expect("an event");
            serde_json::to_string(&made.event).expect("JSON")
        };
        assert_eq!(event(HERD), event(HERD));
        assert_ne!(event(HERD), event(World { seed: 2, ..HERD }));
        // The herd that is measured is the same within a larger one.
        assert_eq!(
            event(HERD),
            event(World {
                horses: 4_000,
                events: 90_000,
                ..HERD
            })
        );
    }
}
