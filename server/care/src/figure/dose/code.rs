//! The codes of everything that the figure `dose` warns about or refuses for.

use crate::kind::codes;

codes! {
    /// Why a dose is refused, or what a person must know about it. The numbers are the cases of the trade's list.
    Code {
        /// 1: too young for this active.
        TooYoung = "too_young",
        /// 1: its age matters and is not known.
        AgeUnknown = "age_unknown",
        /// 2: thin or weak, and the margin is narrow.
        TooThin = "too_thin",
        /// 2: light, and the margin is narrow.
        Light = "light",
        /// 3: weighed too long ago.
        WeightOld = "weight_old",
        /// 3: weighed by eye.
        WeightByEye = "weight_by_eye",
        /// 4: weighed by a rule for other horses.
        WeightNotForThisHorse = "weight_not_for_this_horse",
        /// 5: the weight, or a mark, looks like another unit.
        UnitSlip = "unit_slip",
        /// 6: more than one syringe.
        SeveralSyringes = "several_syringes",
        /// 7: a tapeworm dose from a product without that claim.
        TapewormOffLabel = "tapeworm_off_label",
        /// 8: severely debilitated.
        Debilitated = "debilitated",
        /// 9: a burden of ascarids may block the gut.
        AscaridBurden = "ascarid_burden",
        /// 10: too soon after the last dose of its class.
        TooSoon = "too_soon",
        /// 10: the same dose may have been entered twice.
        EnteredTwice = "entered_twice",
        /// 11: people will eat of it.
        FoodChain = "food_chain",
        /// 12: worms on this yard resist it.
        ResistantHere = "resistant_here",
        /// 12: by the yard's own egg counts, it failed here.
        FailedHere = "failed_here",
        /// 12: nobody knows whether the course works here.
        EfficacyUnknown = "efficacy_unknown",
        /// 13: more than a low shedder needs.
        BeyondBaseline = "beyond_baseline",
        /// 13: by the calendar, all year round.
        FixedInterval = "fixed_interval",
        /// 14: egg counts do not decide for the young.
        SelectiveInYoung = "selective_in_young",
        /// 15: the same active twice on one day.
        SameActiveTogether = "same_active_together",
        /// 16: not a product for horses to swallow.
        NotForHorses = "not_for_horses",
        /// 17: the reduction test can't be read.
        ReductionTestSpoiled = "reduction_test_spoiled",
        /// 18: past its date.
        LotExpired = "lot_expired",
        /// 18: spat out or lost.
        PartlyLost = "partly_lost",
        /// 19: rounding up gives too much.
        OverCeiling = "over_ceiling",
        /// 20: the course has a gap.
        CourseBroken = "course_broken",
        /// Nobody said how it was weighed.
        WeightFromUnknown = "weight_from_unknown",
        /// No label gives it for that, or like that.
        NotLabelled = "not_labelled",
        /// Its dose is the product's, and the product is not known.
        ProductNeeded = "product_needed",
        /// Goes into feed alone.
        FeedOnly = "feed_only",
        /// Rounding up gives much.
        NearCeiling = "near_ceiling",
        /// More than may be given in foal.
        OverInFoalLimit = "over_in_foal_limit",
        /// No source says that it is safe in foal.
        InFoalUnconfirmed = "in_foal_unconfirmed",
        /// Before any dewormer is due.
        BeforeFirstDose = "before_first_dose",
        /// A donkey: labels speak of horses.
        Donkey = "donkey",
        /// What one mark treats is not known.
        MarkMissing = "mark_missing",
        /// What a syringe holds is not known.
        ContentMissing = "content_missing",
        /// A syringe does not hold a whole number of marks.
        MarksDoNotFit = "marks_do_not_fit",
    }
}
