//! The plane geometry of a foot seen from the side: angles in degrees to the ground, lengths in millimetres.

/// The angle of a wall of this length whose upper end stands so high; `None` if it would be higher than long.
#[must_use]
pub fn angle_from_height(length_mm: f64, height_mm: f64) -> Option<f64> {
    let sine = height_mm / length_mm;
    (0.0..=1.0)
        .contains(&sine)
        .then(|| sine.asin().to_degrees())
}

/// The toe angle from three sides: toe, support, and the line from the toe's hairline to where the heel meets the ground;
/// `None` if they make no triangle.
#[must_use]
pub fn angle_from_sides(toe_mm: f64, support_mm: f64, diagonal_mm: f64) -> Option<f64> {
    let cosine =
        (toe_mm.powi(2) + support_mm.powi(2) - diagonal_mm.powi(2)) / (2.0 * toe_mm * support_mm);
    (-1.0..1.0)
        .contains(&cosine)
        .then(|| cosine.acos().to_degrees())
}

/// A foot from the side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// Along the front of the wall.
    pub toe_mm: f64,
    /// The front of the wall to the ground.
    pub toe_deg: f64,
    /// Along the heel.
    pub heel_mm: f64,
    /// The heel to the ground.
    pub heel_deg: f64,
    /// From where the toe meets the ground to where the heel last bears.
    pub support_mm: f64,
}

/// The angle of the line from the toe's hairline to the heel's.
#[must_use]
pub fn hairline_deg(side: Side) -> f64 {
    let (toe, heel) = (side.toe_deg.to_radians(), side.heel_deg.to_radians());
    let rise = side.toe_mm * toe.sin() - side.heel_mm * heel.sin();
    let run = side.support_mm + side.heel_mm * heel.cos() - side.toe_mm * toe.cos();
    rise.atan2(run).to_degrees()
}

/// By how much the toe angle falls as toe and heel grow along their walls, less what wears off.
#[must_use]
pub fn drift_deg(
    toe_deg: f64,
    heel_deg: f64,
    support_mm: f64,
    growth_toe_mm: f64,
    growth_heel_mm: f64,
) -> f64 {
    let (toe, heel) = (toe_deg.to_radians(), heel_deg.to_radians());
    let rise = growth_toe_mm * toe.sin() - growth_heel_mm * heel.sin();
    let run = support_mm + growth_toe_mm * toe.cos() - growth_heel_mm * heel.cos();
    rise.atan2(run).to_degrees()
}

/// How high a wedge of this angle stands over this length.
#[must_use]
pub fn wedge_mm(over_mm: f64, degrees: f64) -> f64 {
    over_mm * degrees.to_radians().tan()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn near(got: f64, want: f64, within: f64) {
        assert!(
            (got - want).abs() <= within,
            "{got} is not {want} ± {within}"
        );
    }

    const FOOT: Side = Side {
        toe_mm: 85.0,
        toe_deg: 52.0,
        heel_mm: 32.0,
        heel_deg: 45.0,
        support_mm: 110.0,
    };

    /// Check values of the reference, worked there by plane geometry apart from this code.
    #[test]
    fn gives_the_worked_values() {
        near(
            angle_from_height(85.0, 67.0).expect("an angle"),
            52.02,
            0.01,
        );
        near(
            angle_from_sides(85.0, 110.0, 88.4).expect("an angle"),
            52.01,
            0.01,
        );
        near(
            angle_from_sides(85.0, 110.0, 88.0).expect("an angle"),
            51.73,
            0.01,
        );
        near(hairline_deg(FOOT), 28.9, 0.05);
        near(drift_deg(52.0, 45.0, 110.0, 12.8, 12.8), 0.55, 0.005);
        near(drift_deg(50.0, 50.0, 110.0, 12.6, 12.6), 0.0, 1e-12);
        for (over, degrees, height) in [(130.0, 3.0, 6.81), (120.0, 2.0, 4.19), (110.0, 1.0, 1.92)]
        {
            near(wedge_mm(over, degrees), height, 0.005);
        }
        near((1.0_f64 / 110.0).atan().to_degrees(), 0.52, 0.005);
        near(wedge_mm(110.0, 0.52), 1.0, 0.005);
    }

    /// Van Heel 2005 and Moleman 2006 (from memory): a shod foot loses 3.3 to 3.5° in 8 weeks. The heel rubs on the shoe,
    /// so about half of its growth is worn off.
    #[test]
    fn a_shod_foot_loses_about_three_degrees() {
        let grown = 2.1 * 8.0;
        near(drift_deg(52.0, 45.0, 110.0, grown, grown / 2.0), 3.4, 0.4);
    }

    #[test]
    fn sides_that_make_no_foot_give_no_angle() {
        assert_eq!(angle_from_height(85.0, 86.0), None);
        assert_eq!(angle_from_height(0.0, 0.0), None);
        assert_eq!(angle_from_sides(85.0, 110.0, 200.0), None);
        assert_eq!(angle_from_sides(85.0, 110.0, 20.0), None);
    }

    proptest! {
        /// The same foot drawn point by point: both walls from the ground up, then both longer at their lower ends.
        #[test]
        fn the_formulas_agree_with_a_drawing(
            toe_mm in 60.0..140.0_f64, toe_deg in 35.0..70.0_f64, heel_mm in 15.0..60.0_f64,
            heel_deg in 30.0..70.0_f64, support_mm in 80.0..180.0_f64, g in 0.0..25.0_f64, h in 0.0..25.0_f64,
        ) {
            let side = Side { toe_mm, toe_deg, heel_mm, heel_deg, support_mm };
            let along = |mm: f64, deg: f64| (mm * deg.to_radians().cos(), mm * deg.to_radians().sin());
            let (toe, heel) = (along(toe_mm, toe_deg), along(heel_mm, heel_deg));
            let (dx, dy) = (support_mm + heel.0 - toe.0, toe.1 - heel.1);
            prop_assert!((hairline_deg(side) - (dy / dx).atan().to_degrees()).abs() < 1e-9 || dx <= 0.0);
            // The ground after growth runs through both new lower ends.
            let (low_toe, low_heel) = (along(g, toe_deg), along(h, heel_deg));
            let ground = (low_toe.1 - low_heel.1).atan2(support_mm - low_heel.0 + low_toe.0);
            let expected = drift_deg(toe_deg, heel_deg, support_mm, g, h);
            prop_assert!((expected - ground.to_degrees()).abs() < 1e-9);
            let diagonal = (support_mm - toe.0).hypot(toe.1);
            let angle = angle_from_sides(toe_mm, support_mm, diagonal).expect("a triangle");
            prop_assert!((angle - toe_deg).abs() < 1e-9);
            let height = angle_from_height(toe_mm, toe.1).expect("a wall");
            prop_assert!((height - toe_deg).abs() < 1e-6);
        }
    }
}
