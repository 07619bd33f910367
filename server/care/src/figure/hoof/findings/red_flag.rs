//! What must reach vet and owner, whatever was found on the foot itself.

use serde::Deserialize;

use crate::kind::codes;
use crate::rules::{Mark, row};

use super::Urgency;

codes! {
    /// A sign on horse or leg that makes a red flag, alone or with others.
    FootSign {
        /// Lame.
        Lame = "lame",
        /// Puts no weight on the foot.
        NonWeightBearing = "non_weight_bearing",
        /// A raised temperature.
        Fever = "fever",
        /// Swelling above the hoof, or a hot leg.
        SwellingAboveHoof = "swelling_above_hoof",
        /// A wound over a joint or a tendon sheath.
        WoundOverJoint = "wound_over_joint",
        /// The leg deviates.
        LimbDeviation = "limb_deviation",
        /// Stands on the toes.
        TipToeStance = "tip_toe_stance",
        /// It is a foal.
        Foal = "foal",
    }
}

/// What must reach vet and owner, whoever sees it.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RedFlag {
    /// Its code.
    pub id: String,
    /// What it is, in words.
    pub says: String,
    /// How urgent it is.
    pub urgency: Urgency,
    pub(super) when: When,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// When a red flag is up: everything that is given must hold.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct When {
    signs: Vec<FootSign>,
    lameness_from: Option<u8>,
    angle_change_over_deg: Option<f64>,
    days_since_shoeing_at_most: Option<u32>,
    pub(super) finding: Option<String>,
    times_in_a_year_from: Option<u32>,
}

row!(RedFlag);

/// What is known around a foot. What isn't known raises no flag.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// Signs on horse and leg.
    pub signs: Vec<FootSign>,
    /// The AAEP lameness grade, 0 to 5.
    pub lameness_aaep: Option<u8>,
    /// How far a hoof angle changed since the last visit, in degrees, without its sign.
    pub angle_change_deg: Option<f64>,
    /// Days since it was shod.
    pub days_since_shoeing: Option<u32>,
    /// How often each finding was made at the same spot within twelve months: code and count.
    pub times_in_a_year: Vec<(String, u32)>,
}

impl When {
    pub(super) fn holds(&self, seen: &Seen) -> bool {
        let signs = self.signs.iter().all(|sign| seen.signs.contains(sign));
        let at_least = |least: Option<u8>, is: Option<u8>| {
            least.is_none_or(|least| is.is_some_and(|is| is >= least))
        };
        let angle = self
            .angle_change_over_deg
            .is_none_or(|most| seen.angle_change_deg.is_some_and(|change| change > most));
        let shod = self
            .days_since_shoeing_at_most
            .is_none_or(|most| seen.days_since_shoeing.is_some_and(|days| days <= most));
        let times = self.finding.as_ref().is_none_or(|finding| {
            let least = self.times_in_a_year_from.unwrap_or(1);
            seen.times_in_a_year
                .iter()
                .any(|(code, times)| code == finding && *times >= least)
        });
        signs && at_least(self.lameness_from, seen.lameness_aaep) && angle && shod && times
    }

    pub(super) fn is_empty(&self) -> bool {
        self.signs.is_empty()
            && self.lameness_from.is_none()
            && self.angle_change_over_deg.is_none()
            && self.finding.is_none()
    }
}
