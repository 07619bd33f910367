//! What a horse's record says of it on a day, as the figures ask for it.

use chrono::{Days, NaiveDate};
use diesel::sqlite::SqliteConnection;
use whorl_care::code::WeightMethod;
use whorl_care::described::complete;
use whorl_care::details::Details;
use whorl_care::effective::effective;
use whorl_care::efficacy::{YardTest, efficacy};
use whorl_care::figure::dose::{Earlier, Input};
use whorl_care::horse::{CareEvent, Horse};
use whorl_care::profile::profile;
use whorl_care::rules::Rules;

use crate::care_log;
use crate::failure::Failure;
use crate::herd::Known;
use crate::yard;

/// How far back dewormings are told to the figure `dose`: a year, and a little for treatments that fall a year apart.
const DEWORMINGS_DAYS: u64 = 400;

/// A weight on record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// The day.
    pub on: NaiveDate,
    /// In kilograms.
    pub kg: f64,
    /// How it was come by.
    pub method: Option<WeightMethod>,
}

/// What the record says.
#[derive(Clone, Debug, Default)]
pub struct Chart {
    /// Every event that is known here.
    pub events: Vec<CareEvent>,
    /// Who the horse is.
    pub profile: Horse,
    /// Its last weight.
    pub weighed: Option<Weighed>,
    /// Its last condition score.
    pub condition: Option<f64>,
    /// The dewormers of the last year.
    pub dewormed: Vec<Earlier>,
    /// What egg counts said of dewormers where the horse stands; see [`Chart::ask_yard`].
    pub yard_tests: Vec<YardTest>,
}

impl Chart {
    /// The chart of a horse as its record stood at the end of a day.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the database can't be read.
    pub fn of(conn: &mut SqliteConnection, horse: &Known, on: NaiveDate) -> Result<Self, Failure> {
        let mut events = care_log::events(conn, horse.id)?;
        // What nobody can place in time is left in: it may be a correction of something earlier.
        events.retain(|event| event.day().map_or(true, |day| day <= on));
        let mut chart = Self::read(events, on);
        if let Some(horse) = &horse.horse {
            complete(&mut chart.profile, &horse.profile, &chart.events);
        }
        Ok(chart)
    }

    /// Puts in what the egg counts of the horse's yard say of dewormers, as far as they are on this device.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the database can't be read.
    pub fn ask_yard(
        &mut self,
        conn: &mut SqliteConnection,
        horse: &Known,
        on: NaiveDate,
        rules: &Rules,
    ) -> Result<(), Failure> {
        if let Some(horse) = &horse.horse {
            let members = yard::members(conn, horse.barn_id)?;
            self.yard_tests = efficacy(&members, on, rules).judged();
        }
        Ok(())
    }

    fn read(events: Vec<CareEvent>, on: NaiveDate) -> Self {
        let mut chart = Self {
            profile: profile(&events),
            ..Self::default()
        };
        let since = on.checked_sub_days(Days::new(DEWORMINGS_DAYS));
        let log = effective(&events);
        let mut standing: Vec<_> = log
            .in_force()
            .filter_map(|one| Some((one.event.day().ok()?, one)))
            .collect();
        standing.sort_by_key(|(day, one)| (*day, one.event.performed_at, one.event.id));
        for (day, one) in standing {
            match Details::parse_known(one.event.kind, one.details) {
                Some(Details::Weight(weight)) => {
                    chart.weighed = Some(Weighed {
                        on: day,
                        kg: weight.weight_kg,
                        method: weight.method,
                    });
                }
                Some(Details::BodyCondition(score)) => {
                    chart.condition = score.score.or(chart.condition);
                }
                Some(Details::Deworming(dose)) if Some(day) >= since => {
                    let given = dose.dose_mg.zip(dose.dosed_for_kg);
                    chart.dewormed.push(Earlier {
                        actives: dose.actives.iter().map(ToString::to_string).collect(),
                        on: day,
                        mg_per_kg: given.map(|(mg, kg)| mg / kg),
                    });
                }
                _ => {}
            }
        }
        drop(log);
        chart.events = events;
        chart
    }

    /// What the figure `dose` should know of this horse, for an active on a day. The weight is the last on record.
    #[must_use]
    pub fn dose(&self, active: &str, on: NaiveDate) -> Input {
        Input {
            active: active.to_owned(),
            weight_kg: self.weighed.map(|weighed| weighed.kg),
            weight_lb: None,
            on,
            foaled_on: self.profile.foaled_on,
            pregnant: self.pregnant(),
            body_condition: self.condition,
            weight_from: self.weighed.and_then(|weighed| weighed.method),
            product: None,
            parasite: None,
            regimen: None,
            breed_type: self.profile.breed_type,
            weighed_on: self.weighed.map(|weighed| weighed.on),
            weight_formula: None,
            debilitated: None,
            vet_ordered: None,
            label: None,
            food: None,
            earlier: self.dewormed.clone(),
            course_days: Vec::new(),
            shedder: None,
            plan: None,
            efficacy: None,
            yard_tests: self.yard_tests.clone(),
            reduction_test: None,
            partly_lost: None,
        }
    }

    /// In foal, or certainly not; a mare of whom the record says nothing may be.
    fn pregnant(&self) -> Option<bool> {
        use whorl_care::horse::Sex;
        match (self.profile.pregnancy, self.profile.sex) {
            (Some(_), _) => Some(true),
            (None, Some(Sex::Gelding | Sex::Stallion | Sex::Colt)) => Some(false),
            (None, _) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn event(kind: &str, day: &str, details: &Value) -> CareEvent {
        let document = json!({"kind": kind, "performed_on": day, "details": details});
        serde_json::from_value(document).expect("an event")
    }

    #[test]
    fn the_chart_holds_the_last_of_each_and_a_year_of_dewormers() {
        let on = "2027-03-04".parse().expect("a day");
        let chart = Chart::read(
            vec![
                event(
                    "weight",
                    "2027-02-01",
                    &json!({"weight_kg": 510, "method": "tape"}),
                ),
                event(
                    "weight",
                    "2026-02-01",
                    &json!({"weight_kg": 480, "method": "scale"}),
                ),
                event("body_condition", "2026-12-01", &json!({"score": 5.5})),
                event(
                    "deworming",
                    "2026-10-01",
                    &json!({"actives": ["ivermectin"], "dose_mg": 110, "dosed_for_kg": 550}),
                ),
                event(
                    "deworming",
                    "2025-10-01",
                    &json!({"actives": ["moxidectin"]}),
                ),
                event(
                    "identity",
                    "2020-01-01",
                    &json!({"name": "Plover", "sex": "gelding", "foaled_on": "2016"}),
                ),
            ],
            on,
        );
        let input = chart.dose("ivermectin", on);
        assert_eq!(input.weight_kg, Some(510.0));
        assert_eq!(input.weight_from, Some(WeightMethod::Tape));
        assert_eq!(
            input.weighed_on.map(|on| on.to_string()).as_deref(),
            Some("2027-02-01")
        );
        assert_eq!(input.body_condition, Some(5.5));
        assert_eq!(input.pregnant, Some(false));
        assert_eq!(input.earlier.len(), 1);
        assert_eq!(input.earlier[0].mg_per_kg, Some(0.2));
    }
}
