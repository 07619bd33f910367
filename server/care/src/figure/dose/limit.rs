//! The numbers that the checks of a dose go by.

use serde::Deserialize;

use crate::fault::Faults;
use crate::kind::codes;
use crate::rules::Mark;

use super::pack::Dewormers;

codes! {
    /// Which number.
    LimitName {
        /// Less is no horse's weight, in kilograms.
        LeastKg = "least_kg",
        /// More is no horse's weight, in kilograms.
        MostKg = "most_kg",
        /// Above this only a draught horse weighs so much, in kilograms.
        DraftOnlyFromKg = "draft_only_from_kg",
        /// From here on pounds may have been meant, in kilograms.
        DoubtfulFromKg = "doubtful_from_kg",
        /// More is no miniature's weight, in kilograms.
        MiniatureMostKg = "miniature_most_kg",
        /// More is no pony's weight, in kilograms.
        PonyMostKg = "pony_most_kg",
        /// More is no donkey's weight, in kilograms.
        DonkeyMostKg = "donkey_most_kg",
        /// From here on a horse of unknown age is taken as grown, in kilograms.
        GrownFromKg = "grown_from_kg",
        /// How long a weight serves, in days.
        WeightGoodForDays = "weight_good_for_days",
        /// How long a foal's weight serves, in days.
        FoalWeightGoodForDays = "foal_weight_good_for_days",
        /// Below this an active of narrow margin harms more often, in kilograms.
        LightBelowKg = "light_below_kg",
        /// The condition score at and below which a horse is thin.
        ThinAtScore = "thin_at_score",
        /// The age before which no dewormer is due, in days.
        FirstDoseDays = "first_dose_days",
        /// How many baseline treatments a year a low shedder needs at most.
        BaselineTreatments = "baseline_treatments",
        /// The age from which egg counts may decide, in months.
        SelectiveFromMonths = "selective_from_months",
        /// The age until which ascarids can block the gut, in months.
        AscaridsUntilMonths = "ascarids_until_months",
        /// The first day after treatment on which a reduction test is counted.
        ReductionFromDay = "reduction_from_day",
        /// The last such day.
        ReductionUntilDay = "reduction_until_day",
        /// How much too high a tape reads on small horses, in per cent.
        TapeHighOnSmallPercent = "tape_high_on_small_percent",
        /// How much too low a tape may read, in per cent.
        TapeReadsLowPercent = "tape_reads_low_percent",
    }
}

/// One of them.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Which.
    pub id: String,
    /// Its source.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The number, in the unit that its name says.
    pub value: f64,
}

impl Dewormers {
    /// The row of this number.
    ///
    /// # Errors
    ///
    /// A fault of the whole document if the rules lack it; the rules are checked for it when they are read.
    pub fn limit(&self, name: LimitName) -> Result<&Limit, Faults> {
        let found = self.limit.iter().find(|row| row.id == name.code());
        found.ok_or_else(|| Faults::one("", format!("the rules of `dewormers` lack `{name}`")))
    }
}
