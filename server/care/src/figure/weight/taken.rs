//! The measures as they were taken, and the age on that day.

use crate::fault::Faults;
use crate::figure::growth::age::months;
use crate::unit::{CENTIMETRES, Given, INCHES, either};

use super::Input;
use super::formula::{Measure, Measures};

/// The measures as they were taken.
pub(super) struct Taken {
    /// In centimetres; the age in months.
    pub(super) measures: Measures,
    /// As given, for messages.
    pub(super) given: Vec<(Measure, &'static str, Given)>,
    /// Whether every length was given in inches.
    pub(super) in_inches: bool,
    /// The ages in days that the dates allow.
    pub(super) age_days: Option<(i64, i64)>,
}

impl Taken {
    pub(super) fn from(input: &Input) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        let pairs = [
            (
                Measure::Girth,
                ("heart_girth_cm", input.heart_girth_cm),
                ("heart_girth_in", input.heart_girth_in),
            ),
            (
                Measure::Length,
                ("body_length_cm", input.body_length_cm),
                ("body_length_in", input.body_length_in),
            ),
            (
                Measure::Height,
                ("height_cm", input.height_cm),
                ("height_in", input.height_in),
            ),
            (
                Measure::Neck,
                ("neck_cm", input.neck_cm),
                ("neck_in", input.neck_in),
            ),
            (
                Measure::UmbilicalGirth,
                ("umbilical_girth_cm", input.umbilical_girth_cm),
                ("umbilical_girth_in", input.umbilical_girth_in),
            ),
        ];
        let mut measures = Measures::new();
        let mut given = Vec::new();
        for (measure, (cm, in_cm), (inch, in_inches)) in pairs {
            let pair = ((cm, in_cm, CENTIMETRES), (inch, in_inches, INCHES));
            if let Some(one) = either(&mut faults, "", pair.0, pair.1) {
                measures.insert(measure, one.metric());
                given.push((measure, if one.unit == INCHES { inch } else { cm }, one));
            }
        }
        let age_days = age_days(input, &mut faults);
        if let (Some((days, same)), Some(foaled_on), Some(on)) =
            (age_days, input.foaled_on, input.on)
            && days == same
        {
            measures.insert(Measure::AgeMonths, months(foaled_on.earliest(), on));
        }
        let in_inches = !given.is_empty() && given.iter().all(|(_, _, one)| one.unit == INCHES);
        faults.or(Self {
            measures,
            given,
            in_inches,
            age_days,
        })
    }
}

/// The youngest and the oldest it can be on the day of measuring, in days.
fn age_days(input: &Input, faults: &mut Faults) -> Option<(i64, i64)> {
    let (foaled_on, on) = match (input.foaled_on, input.on) {
        (Some(foaled_on), Some(on)) => (foaled_on, on),
        (Some(_), None) => {
            faults.add(
                "/on",
                "say on which day it was measured, so that its age is known",
            );
            return None;
        }
        _ => return None,
    };
    if foaled_on.earliest() > on {
        faults.add("/foaled_on", format!("{foaled_on} is after {on}"));
        return None;
    }
    let youngest = (on - foaled_on.latest()).num_days().max(0);
    Some((youngest, (on - foaled_on.earliest()).num_days()))
}
