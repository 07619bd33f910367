//! The grades of a foot, and what flags go by.

use crate::kind::codes;

codes! {
    /// How the hoof stands to the pastern.
    Axis {
        /// In one line.
        Aligned = "aligned",
        /// The hoof is the lower of the two.
        BrokenBack = "broken_back",
        /// The hoof is the steeper of the two.
        BrokenForward = "broken_forward",
    }
}

codes! {
    /// How the lengths of the two heels stand to each other.
    HeelBalance {
        /// As good as equal.
        Fine = "fine",
        /// Watch it.
        Watch = "watch",
        /// Sheared.
        Sheared = "sheared",
    }
}

codes! {
    /// How wide the frog is for its length.
    Frog {
        /// Contracted.
        Contracted = "contracted",
        /// Narrow.
        Narrow = "narrow",
        /// Healthy.
        Healthy = "healthy",
    }
}

codes! {
    /// How the toe angles of a pair stand to each other.
    PairGrade {
        /// As good as equal.
        Even = "even",
        /// Uneven.
        Uneven = "uneven",
        /// Mismatched.
        Mismatched = "mismatched",
    }
}

codes! {
    /// Which half of the earth, for the season.
    Hemisphere {
        /// North of the equator.
        North = "north",
        /// South of it.
        South = "south",
    }
}

codes! {
    /// A fore or a hind foot.
    Limb {
        /// Fore.
        Fore = "fore",
        /// Hind.
        Hind = "hind",
    }
}

codes! {
    /// What a flag goes by.
    Quantity {
        /// Toe angle less heel angle, in degrees.
        ToeLessHeel = "toe_less_heel_deg",
        /// Toe length by the mean of the heels' lengths.
        ToeToHeel = "toe_to_heel",
        /// The difference of the heels' lengths.
        HeelDifference = "heel_difference_mm",
        /// Width of the frog by its length.
        FrogRatio = "frog_ratio",
        /// The depth of the sole.
        SoleDepth = "sole_depth_mm",
        /// Toe angle less pastern angle.
        AxisDifference = "axis_difference_deg",
        /// Toe length over the length usual for the weight.
        ToeOverTarget = "toe_over_target_mm",
        /// The same in percent of the usual length.
        ToeOverTargetPercent = "toe_over_target_percent",
        /// The toe angle.
        ToeAngle = "toe_angle_deg",
        /// The difference of the toe angles of a pair.
        PairAngleDifference = "pair_angle_difference_deg",
        /// The toe angle less that of the other foot, where the axis is broken forward.
        SteeperThanOpposite = "steeper_than_opposite_deg",
        /// The difference of the toe lengths of a pair.
        PairLengthDifference = "pair_length_difference_mm",
        /// The difference of the widths of a pair.
        PairWidthDifference = "pair_width_difference_mm",
        /// Body weight in pounds for each square inch of foot.
        PoundsPerSquareInch = "pounds_per_square_inch",
    }
}
