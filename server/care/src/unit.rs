//! Metric units and the trade's own beside them, and the slips between the two.

use std::ops::RangeInclusive;

use crate::fault::Faults;

/// Kilograms in an avoirdupois pound, by definition (International Yard and Pound Agreement, 1959).
pub const KG_PER_LB: f64 = 0.453_592_37;

/// Centimetres in an inch, by definition (the same agreement).
pub const CM_PER_IN: f64 = 2.54;

/// A unit of length or of weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// Its name in the plural.
    pub name: &'static str,
    /// How many centimetres, or kilograms, one of it is.
    pub size: f64,
}

/// Centimetres.
pub const CENTIMETRES: Unit = Unit {
    name: "cm",
    size: 1.0,
};
/// Inches.
pub const INCHES: Unit = Unit {
    name: "inches",
    size: CM_PER_IN,
};
/// Units in which a tape may have been read, the likeliest first.
pub const LENGTHS: &[Unit] = &[
    INCHES,
    CENTIMETRES,
    Unit {
        name: "metres",
        size: 100.0,
    },
    Unit {
        name: "millimetres",
        size: 0.1,
    },
];

/// Kilograms.
pub const KILOGRAMS: Unit = Unit {
    name: "kg",
    size: 1.0,
};
/// Pounds.
pub const POUNDS: Unit = Unit {
    name: "lb",
    size: KG_PER_LB,
};
/// Units in which a weight may have been read, the likeliest first.
pub const WEIGHTS: &[Unit] = &[
    POUNDS,
    KILOGRAMS,
    Unit {
        name: "grams",
        size: 0.001,
    },
    Unit {
        name: "tonnes",
        size: 1000.0,
    },
];

/// A quantity as somebody gave it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// The number, in `unit`.
    pub number: f64,
    /// The unit it was given in.
    pub unit: Unit,
}

impl Given {
    /// The quantity in centimetres or kilograms.
    #[must_use]
    pub fn metric(self) -> f64 {
        self.number * self.unit.size
    }

    /// The unit that the number fits when the one it was given in does not: `fits` is in centimetres or kilograms.
    #[must_use]
    pub fn slip(self, fits: &RangeInclusive<f64>, units: &[Unit]) -> Option<Unit> {
        let meant = |unit: &&Unit| fits.contains(&(self.number * unit.size));
        if fits.contains(&self.metric()) {
            return None;
        }
        units.iter().find(meant).copied()
    }

    /// The question to ask when the quantity, called `what`, is outside `fits` (in centimetres or kilograms); nothing
    /// when it is inside.
    #[must_use]
    pub fn doubt(self, what: &str, fits: &RangeInclusive<f64>, units: &[Unit]) -> Option<String> {
        if fits.contains(&self.metric()) {
            return None;
        }
        let bound = |metric: f64| plain(metric / self.unit.size);
        let range = format!(
            "{} {} is outside {} to {} {} for {what}",
            plain(self.number),
            self.unit.name,
            bound(*fits.start()),
            bound(*fits.end()),
            self.unit.name,
        );
        Some(match self.slip(fits, units) {
            Some(meant) => format!(
                "{range}; did you mean {} {}?",
                plain(self.number),
                meant.name
            ),
            None => format!("{range}; measure again"),
        })
    }
}

/// A quantity that may be given by one of two fields: the metric one or the trade's. Both at once, or a number that is
/// not above zero, is a fault; neither is `None`.
pub fn either(
    faults: &mut Faults,
    at: &str,
    metric: (&str, Option<f64>, Unit),
    trade: (&str, Option<f64>, Unit),
) -> Option<Given> {
    let (field, number, unit) = match (metric, trade) {
        ((_, Some(_), _), (trade, Some(_), _)) => {
            let detail = format!("give {} or {trade}, not both", metric.0);
            faults.add(format!("{at}/{trade}"), detail);
            return None;
        }
        ((field, Some(number), unit), _) | (_, (field, Some(number), unit)) => {
            (field, number, unit)
        }
        _ => return None,
    };
    if number.is_finite() && number > 0.0 {
        return Some(Given { number, unit });
    }
    faults.add(
        format!("{at}/{field}"),
        format!("{} is not above zero", plain(number)),
    );
    None
}

/// A number as a person writes it: at most two decimals, none that is zero.
#[must_use]
pub fn plain(number: f64) -> String {
    let text = format!("{number:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cm(number: f64) -> Given {
        Given {
            number,
            unit: CENTIMETRES,
        }
    }

    #[test]
    fn asks_for_the_unit_that_would_fit() {
        let girth = 90.0..=260.0;
        assert_eq!(cm(190.0).doubt("a heart girth", &girth, LENGTHS), None);
        let doubt = cm(75.0).doubt("the heart girth of an adult", &girth, LENGTHS);
        assert_eq!(
            doubt.as_deref(),
            Some(
                "75 cm is outside 90 to 260 cm for the heart girth of an adult; did you mean 75 inches?"
            )
        );
        let name = |given: Given| given.slip(&girth, LENGTHS).map(|unit| unit.name);
        assert_eq!(name(cm(1.9)), Some("metres"));
        assert_eq!(name(cm(1900.0)), Some("millimetres"));
        assert_eq!(name(cm(0.5)), None);
        let inches = Given {
            number: 190.0,
            unit: INCHES,
        };
        assert_eq!(name(inches), Some("cm"));
    }

    #[test]
    fn takes_exactly_one_of_two_fields() {
        let mut faults = Faults::default();
        let mut weight = |kg, lb| {
            either(
                &mut faults,
                "",
                ("weight_kg", kg, KILOGRAMS),
                ("weight_lb", lb, POUNDS),
            )
            .map(Given::metric)
        };
        assert_eq!(weight(Some(500.0), None), Some(500.0));
        assert_eq!(weight(None, Some(1000.0)), Some(453.592_37));
        assert_eq!(weight(None, None), None);
        assert_eq!(weight(Some(500.0), Some(1102.0)), None);
        assert_eq!(weight(Some(-1.0), None), None);
        let pointers: Vec<_> = faults.0.iter().map(|fault| &*fault.pointer).collect();
        assert_eq!(pointers, ["/weight_lb", "/weight_kg"]);
    }

    #[test]
    fn writes_numbers_plainly() {
        assert_eq!(
            [500.0, 0.4, 566.990_46, -0.001].map(plain),
            ["500", "0.4", "566.99", "0"]
        );
    }
}
