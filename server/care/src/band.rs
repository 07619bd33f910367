//! A band of values as a source states it: each bound inside or outside, never left open to reading.

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::rules::{Mark, Row};

/// A band of values. A bound that is missing is no bound.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// The lowest value inside.
    pub at_least: Option<f64>,
    /// The highest value outside, below the band.
    pub over: Option<f64>,
    /// The highest value inside.
    pub at_most: Option<f64>,
    /// The lowest value outside, above the band.
    pub below: Option<f64>,
}

/// Where a band begins or ends.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bound {
    at: f64,
    inside: bool,
}

impl Band {
    /// Whether a value is inside.
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        self.at_least.is_none_or(|bound| value >= bound)
            && self.over.is_none_or(|bound| value > bound)
            && self.at_most.is_none_or(|bound| value <= bound)
            && self.below.is_none_or(|bound| value < bound)
    }

    fn start(self) -> Option<Bound> {
        let inside = self.at_least.map(|at| Bound { at, inside: true });
        inside.or(self.over.map(|at| Bound { at, inside: false }))
    }

    fn end(self) -> Option<Bound> {
        let inside = self.at_most.map(|at| Bound { at, inside: true });
        inside.or(self.below.map(|at| Bound { at, inside: false }))
    }

    /// Refuses a band that holds nothing, everything, or says one bound twice.
    ///
    /// # Errors
    ///
    /// The reason.
    pub fn check(self) -> Result<(), String> {
        let bounds = [self.at_least, self.over, self.at_most, self.below];
        if bounds.iter().flatten().any(|bound| !bound.is_finite()) {
            return Err("a bound is no number".to_owned());
        }
        if self.at_least.is_some() && self.over.is_some() {
            return Err("give at_least or over, not both".to_owned());
        }
        if self.at_most.is_some() && self.below.is_some() {
            return Err("give at_most or below, not both".to_owned());
        }
        match (self.start(), self.end()) {
            (None, None) => Err("it has no bound, so it holds everything".to_owned()),
            (Some(start), Some(end))
                if start.at > end.at || (start.at >= end.at && !(start.inside && end.inside)) =>
            {
                Err(format!("the band {} to {} is empty", start.at, end.at))
            }
            _ => Ok(()),
        }
    }
}

/// A grade that holds for a band of values.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, bound = "G: DeserializeOwned")]
pub struct Graded<G> {
    /// The rule's name.
    pub id: String,
    /// The grade.
    pub grade: G,
    /// The values it holds for.
    pub range: Band,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

impl<G> Row for Graded<G> {
    fn id(&self) -> &str {
        &self.id
    }
    fn source(&self) -> &str {
        &self.source
    }
    fn edition(&self) -> &str {
        &self.edition
    }
    fn mark(&self) -> Mark {
        self.mark
    }
}

/// The row whose band holds the value.
#[must_use]
pub fn grade<G>(rows: &[Graded<G>], value: f64) -> Option<&Graded<G>> {
    rows.iter().find(|row| row.range.holds(value))
}

/// Holds that the rows' bands lie side by side: no value in two of them, and none in a gap between them.
///
/// # Errors
///
/// The id of a row at fault and the reason.
pub fn check_graded<G>(rows: &[Graded<G>]) -> Result<(), (String, String)> {
    for row in rows {
        row.range
            .check()
            .map_err(|reason| (row.id.clone(), reason))?;
    }
    let start = |row: &Graded<G>| row.range.start().map_or(f64::NEG_INFINITY, |one| one.at);
    let mut sorted: Vec<&Graded<G>> = rows.iter().collect();
    sorted.sort_by(|a, b| start(a).total_cmp(&start(b)));
    for pair in sorted.windows(2) {
        let [lower, upper] = pair else { continue };
        let meet = match (lower.range.end(), upper.range.start()) {
            (Some(end), Some(start)) => {
                end.at.total_cmp(&start.at).is_eq() && end.inside != start.inside
            }
            _ => false,
        };
        if !meet {
            let reason = format!(
                "it must begin where `{}` ends, so that each value has one grade",
                lower.id
            );
            return Err((upper.id.clone(), reason));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn band(text: &str) -> Band {
        toml::from_str(text).expect("a band")
    }

    fn rows(bands: &[&str]) -> Vec<Graded<u8>> {
        let row = |(n, text): (usize, &&str)| Graded {
            id: format!("row-{n}"),
            grade: 0,
            range: band(text),
            source: String::new(),
            edition: String::new(),
            mark: Mark::Read,
        };
        bands.iter().enumerate().map(row).collect()
    }

    #[test]
    fn a_bound_is_inside_or_outside_as_it_is_written() {
        assert!(band("at_least = 5.0").holds(5.0));
        assert!(!band("over = 5.0").holds(5.0));
        assert!(band("at_most = 3.0").holds(3.0));
        assert!(!band("below = 3.0").holds(3.0));
        assert!(!band("at_least = 1.0").holds(f64::NAN));
    }

    #[test]
    fn a_band_that_holds_nothing_or_everything_is_refused() {
        for wrong in [
            "",
            "over = 5.0\nat_most = 5.0",
            "at_least = 5.0\nbelow = 4.0",
            "at_least = 5.0\nover = 4.0",
            "at_most = 5.0\nbelow = 6.0",
            "at_least = nan",
        ] {
            assert!(band(wrong).check().is_err(), "{wrong}");
        }
        assert!(band("at_least = 5.0\nat_most = 5.0").check().is_ok());
    }

    #[test]
    fn grades_lie_side_by_side() {
        let fine = rows(&["at_most = 3.0", "over = 3.0\nbelow = 5.0", "at_least = 5.0"]);
        assert_eq!(check_graded(&fine), Ok(()));
        assert_eq!(grade(&fine, 5.0).map(|row| &*row.id), Some("row-2"));
        for wrong in [
            ["at_most = 3.0", "at_least = 3.0"],
            ["below = 3.0", "over = 3.0"],
            ["below = 3.0", "at_least = 4.0"],
            ["at_least = 1.0", "at_least = 3.0"],
            ["at_most = 3.0", "below = 5.0"],
        ] {
            let (id, reason) = check_graded(&rows(&wrong)).unwrap_err();
            assert!(reason.contains("must begin where"), "{id} {reason}");
        }
    }
}
