//! The measures of a foot.

use serde::{Deserialize, Serialize};

use super::check::Check;
use crate::kind::codes;

codes! {
    /// How a foot was measured. Values by different methods never share a trend.
    MeasureMethod {
        /// A hoof gauge.
        Gauge = "gauge",
        /// A tape or ruler.
        Tape = "tape",
        /// A photograph.
        Photo = "photo",
        /// A radiograph.
        Radiograph = "radiograph",
        /// Judged by eye.
        ByEye = "by_eye",
    }
}

/// What was measured on one foot: lengths in millimetres, angles in degrees to the ground.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Measures {
    /// From the hairline down the front of the wall to the ground, in millimetres.
    pub toe_length_mm: Option<f64>,
    /// The front of the wall to the ground, in degrees.
    pub toe_angle_deg: Option<f64>,
    /// The front of the pastern to the ground, in degrees; the leg stands square.
    pub pastern_angle_deg: Option<f64>,
    /// The heel wall to the ground, in degrees.
    pub heel_angle_deg: Option<f64>,
    /// Along the inner heel wall, hairline to ground, in millimetres.
    pub heel_length_medial_mm: Option<f64>,
    /// Along the outer heel wall, hairline to ground, in millimetres.
    pub heel_length_lateral_mm: Option<f64>,
    /// Height of the inner wall at the quarter, in millimetres.
    pub wall_height_medial_mm: Option<f64>,
    /// Height of the outer wall at the quarter, in millimetres.
    pub wall_height_lateral_mm: Option<f64>,
    /// The bearing border at its widest, in millimetres.
    pub width_mm: Option<f64>,
    /// The bottom of the foot, toe to the line across the heels, in millimetres.
    pub length_mm: Option<f64>,
    /// From where the toe meets the ground to where the heel last bears, in millimetres.
    pub support_length_mm: Option<f64>,
    /// The frog at its longest, in millimetres.
    pub frog_length_mm: Option<f64>,
    /// The frog at its widest, in millimetres.
    pub frog_width_mm: Option<f64>,
    /// From the tip of the pedal bone to the ground side of the sole, in millimetres.
    pub sole_depth_mm: Option<f64>,
    /// Round the coronary band at the hairline, in millimetres.
    pub coronet_circumference_mm: Option<f64>,
    /// How it was measured.
    pub method: Option<MeasureMethod>,
}

impl Measures {
    /// Every quantity with its field's name, in the vocabulary's order.
    #[must_use]
    pub const fn quantities(&self) -> [(&'static str, Option<f64>); 15] {
        [
            ("toe_length_mm", self.toe_length_mm),
            ("toe_angle_deg", self.toe_angle_deg),
            ("pastern_angle_deg", self.pastern_angle_deg),
            ("heel_angle_deg", self.heel_angle_deg),
            ("heel_length_medial_mm", self.heel_length_medial_mm),
            ("heel_length_lateral_mm", self.heel_length_lateral_mm),
            ("wall_height_medial_mm", self.wall_height_medial_mm),
            ("wall_height_lateral_mm", self.wall_height_lateral_mm),
            ("width_mm", self.width_mm),
            ("length_mm", self.length_mm),
            ("support_length_mm", self.support_length_mm),
            ("frog_length_mm", self.frog_length_mm),
            ("frog_width_mm", self.frog_width_mm),
            ("sole_depth_mm", self.sole_depth_mm),
            ("coronet_circumference_mm", self.coronet_circumference_mm),
        ]
    }

    pub(super) fn check(&self, at: &str, check: &mut Check<'_>) {
        for (field, value) in self.quantities() {
            check.quantity(&format!("{at}/{field}"), field, value);
        }
    }
}
