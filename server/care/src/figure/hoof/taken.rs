//! The measures of a foot as they were taken: each length in millimetres or in inches.

use crate::fault::Faults;
use crate::rules::Rules;

/// Millimetres in an inch, by definition.
pub(super) const MM_PER_IN: f64 = 25.4;

/// A quantity by its metric field or by the trade's.
pub(super) struct Pair {
    pub(super) metric: (&'static str, Option<f64>),
    pub(super) trade: (&'static str, Option<f64>),
}

impl Pair {
    /// The quantity in metric, `size` metric units to the trade's, within the limits of the record.
    pub(super) fn read(
        &self,
        at: &str,
        size: f64,
        rules: &Rules,
        faults: &mut Faults,
    ) -> Option<f64> {
        let (field, metric) = match (self.metric, self.trade) {
            ((metric, Some(_)), (trade, Some(_))) => {
                faults.add(
                    format!("{at}/{trade}"),
                    format!("give {metric} or {trade}, not both"),
                );
                return None;
            }
            ((field, Some(value)), _) => (field, value),
            (_, (field, Some(value))) => (field, value * size),
            _ => return None,
        };
        if let Err(detail) = rules.limits.allow(self.metric.0, metric) {
            faults.add(format!("{at}/{field}"), detail);
        }
        Some(metric)
    }
}

/// Lengths of a foot, in millimetres.
pub(super) fn lengths(
    at: &str,
    pairs: [Pair; 12],
    rules: &Rules,
    faults: &mut Faults,
) -> [Option<f64>; 12] {
    pairs.map(|pair| pair.read(at, MM_PER_IN, rules, faults))
}

/// An angle within the limits of the record.
pub(super) fn angle(
    at: &str,
    field: &str,
    degrees: Option<f64>,
    rules: &Rules,
    faults: &mut Faults,
) -> Option<f64> {
    if let Some(degrees) = degrees
        && let Err(detail) = rules.limits.allow(field, degrees)
    {
        faults.add(format!("{at}/{field}"), detail);
    }
    degrees
}

/// What several inputs need: the measures of a foot beside fields of their own. Written as a macro since serde can't both
/// flatten a struct and refuse unknown fields with a pointer to each.
macro_rules! measured {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident: $type:ty,)* }) => {
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
        #[serde(deny_unknown_fields)]
        $(#[$doc])*
        pub struct $name {
            $($(#[$fdoc])* pub $field: $type,)*
            /// From the hairline down the front of the wall to the ground, in millimetres.
            pub toe_length_mm: Option<f64>,
            /// The same in inches.
            pub toe_length_in: Option<f64>,
            /// The front of the wall to the ground, in degrees.
            pub toe_angle_deg: Option<f64>,
            /// The front of the pastern to the ground, in degrees.
            pub pastern_angle_deg: Option<f64>,
            /// The heel wall to the ground, in degrees.
            pub heel_angle_deg: Option<f64>,
            /// Along the inner heel wall, hairline to ground, in millimetres.
            pub heel_length_medial_mm: Option<f64>,
            /// The same in inches.
            pub heel_length_medial_in: Option<f64>,
            /// Along the outer heel wall, hairline to ground, in millimetres.
            pub heel_length_lateral_mm: Option<f64>,
            /// The same in inches.
            pub heel_length_lateral_in: Option<f64>,
            /// Height of the inner wall at the quarter, in millimetres.
            pub wall_height_medial_mm: Option<f64>,
            /// The same in inches.
            pub wall_height_medial_in: Option<f64>,
            /// Height of the outer wall at the quarter, in millimetres.
            pub wall_height_lateral_mm: Option<f64>,
            /// The same in inches.
            pub wall_height_lateral_in: Option<f64>,
            /// The bearing border at its widest, in millimetres.
            pub width_mm: Option<f64>,
            /// The same in inches.
            pub width_in: Option<f64>,
            /// The bottom of the foot, toe to the line across the heels, in millimetres.
            pub length_mm: Option<f64>,
            /// The same in inches.
            pub length_in: Option<f64>,
            /// From where the toe meets the ground to where the heel last bears, in millimetres.
            pub support_length_mm: Option<f64>,
            /// The same in inches.
            pub support_length_in: Option<f64>,
            /// The frog at its longest, in millimetres.
            pub frog_length_mm: Option<f64>,
            /// The same in inches.
            pub frog_length_in: Option<f64>,
            /// The frog at its widest, in millimetres.
            pub frog_width_mm: Option<f64>,
            /// The same in inches.
            pub frog_width_in: Option<f64>,
            /// From the tip of the pedal bone to the ground side of the sole, in millimetres.
            pub sole_depth_mm: Option<f64>,
            /// The same in inches.
            pub sole_depth_in: Option<f64>,
            /// Round the coronary band at the hairline, in millimetres.
            pub coronet_circumference_mm: Option<f64>,
            /// The same in inches.
            pub coronet_circumference_in: Option<f64>,
            /// How it was measured.
            pub method: Option<MeasureMethod>,
        }

        impl $name {
            /// The measures in millimetres and degrees.
            pub(super) fn measures(&self, at: &str, rules: &Rules, faults: &mut Faults) -> Measures {
                let pair = |mm, in_mm, inch, in_inches| Pair {
                    metric: (mm, in_mm),
                    trade: (inch, in_inches),
                };
                let [toe, heel_m, heel_l, wall_m, wall_l, width, length, support, frog_l, frog_w, sole, coronet] =
                    lengths(at, [
                        pair("toe_length_mm", self.toe_length_mm, "toe_length_in", self.toe_length_in),
                        pair("heel_length_medial_mm", self.heel_length_medial_mm,
                            "heel_length_medial_in", self.heel_length_medial_in),
                        pair("heel_length_lateral_mm", self.heel_length_lateral_mm,
                            "heel_length_lateral_in", self.heel_length_lateral_in),
                        pair("wall_height_medial_mm", self.wall_height_medial_mm,
                            "wall_height_medial_in", self.wall_height_medial_in),
                        pair("wall_height_lateral_mm", self.wall_height_lateral_mm,
                            "wall_height_lateral_in", self.wall_height_lateral_in),
                        pair("width_mm", self.width_mm, "width_in", self.width_in),
                        pair("length_mm", self.length_mm, "length_in", self.length_in),
                        pair("support_length_mm", self.support_length_mm,
                            "support_length_in", self.support_length_in),
                        pair("frog_length_mm", self.frog_length_mm, "frog_length_in", self.frog_length_in),
                        pair("frog_width_mm", self.frog_width_mm, "frog_width_in", self.frog_width_in),
                        pair("sole_depth_mm", self.sole_depth_mm, "sole_depth_in", self.sole_depth_in),
                        pair("coronet_circumference_mm", self.coronet_circumference_mm,
                            "coronet_circumference_in", self.coronet_circumference_in),
                    ], rules, faults);
                Measures {
                    toe_length_mm: toe,
                    toe_angle_deg: angle(at, "toe_angle_deg", self.toe_angle_deg, rules, faults),
                    pastern_angle_deg: angle(at, "pastern_angle_deg", self.pastern_angle_deg, rules, faults),
                    heel_angle_deg: angle(at, "heel_angle_deg", self.heel_angle_deg, rules, faults),
                    heel_length_medial_mm: heel_m,
                    heel_length_lateral_mm: heel_l,
                    wall_height_medial_mm: wall_m,
                    wall_height_lateral_mm: wall_l,
                    width_mm: width,
                    length_mm: length,
                    support_length_mm: support,
                    frog_length_mm: frog_l,
                    frog_width_mm: frog_w,
                    sole_depth_mm: sole,
                    coronet_circumference_mm: coronet,
                    method: self.method,
                }
            }
        }
    };
}
pub(super) use measured;
