//! Quantities as people write them: `84mm`, `3 1/4in`, `1125lb`, `101.3F`, `16.1hh`.
//!
//! A field's name ends with the record's own unit. A number alone is taken only where there is no other unit that it
//! could be in; everywhere else it is met with the question which one was meant. Inches, pounds and degrees Fahrenheit
//! go under the trade's name of the field, and the care engine turns them into the record's own.

/// What kind of quantity the end of a field's name says.
struct Dimension {
    /// The end of the field's name.
    end: &'static str,
    /// The units it may be written in, the record's own first.
    units: &'static [Unit],
    /// Whether a number alone can only be in the first unit.
    plain: bool,
}

/// A unit that people write.
struct Unit {
    spellings: &'static [&'static str],
    to: To,
}

/// How a number with the unit gets into the details.
#[derive(Clone, Copy)]
enum To {
    /// Under the field itself, multiplied.
    Own(f64),
    /// Under the trade's name of the field: the same with this end.
    Trade(&'static str),
    /// Hands of four inches; what follows the point is inches, not tenths.
    Hands,
}

const fn own(spellings: &'static [&'static str], factor: f64) -> Unit {
    Unit {
        spellings,
        to: To::Own(factor),
    }
}

const fn trade(spellings: &'static [&'static str], end: &'static str) -> Unit {
    Unit {
        spellings,
        to: To::Trade(end),
    }
}

const INCH: &[&str] = &["in", "inch", "inches", "\"", "″"];

const DIMENSIONS: &[Dimension] = &[
    Dimension {
        end: "_mm",
        units: &[own(&["mm"], 1.0), own(&["cm"], 10.0), trade(INCH, "_in")],
        plain: false,
    },
    Dimension {
        end: "_cm",
        units: &[
            own(&["cm"], 1.0),
            own(&["mm"], 0.1),
            own(&["m"], 100.0),
            trade(INCH, "_in"),
            Unit {
                spellings: &["hh", "hands"],
                to: To::Hands,
            },
        ],
        plain: false,
    },
    Dimension {
        end: "_kg",
        units: &[
            own(&["kg", "kgs"], 1.0),
            trade(&["lb", "lbs", "pounds"], "_lb"),
        ],
        plain: false,
    },
    Dimension {
        end: "_c",
        units: &[own(&["c", "°c"], 1.0), trade(&["f", "°f"], "_f")],
        plain: false,
    },
    Dimension {
        end: "_mg",
        units: &[own(&["mg"], 1.0), own(&["g"], 1000.0)],
        plain: false,
    },
    Dimension {
        end: "_ml",
        units: &[own(&["ml", "cc"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_deg",
        units: &[own(&["°", "deg", "degrees"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_percent",
        units: &[own(&["%", "percent"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_bpm",
        units: &[own(&["bpm", "/min"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_epg",
        units: &[own(&["epg"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_hours",
        units: &[
            own(&["h", "hours"], 1.0),
            own(&["min", "minutes"], 1.0 / 60.0),
        ],
        plain: true,
    },
    Dimension {
        end: "_weeks",
        units: &[own(&["w", "weeks"], 1.0)],
        plain: true,
    },
    Dimension {
        end: "_months",
        units: &[own(&["months"], 1.0)],
        plain: true,
    },
];

/// The longest number that is read.
const LONGEST: usize = 20;

fn dimension(field: &str) -> Option<&'static Dimension> {
    DIMENSIONS.iter().find(|one| {
        field
            .strip_suffix(one.end)
            .is_some_and(|rest| !rest.is_empty())
    })
}

/// The name of a quantity without its unit: what people call it. None for a field that has no unit in its name, or
/// whose unit is all that tells what it is.
#[must_use]
pub fn bare(field: &str) -> Option<&str> {
    let dimension = dimension(field)?;
    let keeps_its_end = ["_epg", "_weeks", "_months"].contains(&dimension.end);
    (!keeps_its_end)
        .then(|| field.strip_suffix(dimension.end))
        .flatten()
}

/// The names under which the same quantity may be given with its unit in the name: the record's, then the trade's.
#[must_use]
pub fn names(field: &str) -> Vec<String> {
    let mut names = vec![field.to_owned()];
    if let Some(dimension) = dimension(field) {
        let base = base(field, dimension);
        for unit in dimension.units {
            if let To::Trade(end) = unit.to {
                names.push(format!("{base}{end}"));
            }
        }
    }
    names
}

/// The units that a field's value may be written with, as a hint: `mm|cm|in`.
#[must_use]
pub fn hint(field: &str) -> Option<String> {
    let units = dimension(field)?.units.iter();
    let names: Vec<&str> = units
        .filter_map(|unit| unit.spellings.first().copied())
        .collect();
    Some(names.join("|"))
}

/// Reads a quantity for a field of the record. Answers the field to set (the record's own or the trade's) and the
/// number; `named` says that the person gave the field by its full name, so that a number alone has its unit.
///
/// # Errors
///
/// What is wrong, and the question which unit was meant where a number alone could be in several.
pub fn read(field: &str, text: &str, named: bool) -> Result<(String, f64), String> {
    let text = text.trim();
    let Some(dimension) = dimension(field) else {
        return number(text).map(|number| (field.to_owned(), number));
    };
    let (digits, unit) = split(text);
    let written = unit.to_lowercase();
    if written.is_empty() {
        if !named && !dimension.plain {
            return Err(format!(
                "{text} of what: {}?",
                or(dimension
                    .units
                    .iter()
                    .filter_map(|unit| unit.spellings.first()))
            ));
        }
        return number(digits).map(|number| (field.to_owned(), number));
    }
    let Some(unit) = dimension
        .units
        .iter()
        .find(|one| one.spellings.contains(&written.as_str()))
    else {
        let known = or(dimension.units.iter().flat_map(|unit| unit.spellings));
        return Err(format!("`{unit}` doesn't fit here; write {known}"));
    };
    match unit.to {
        To::Own(factor) => Ok((field.to_owned(), times(number(digits)?, factor))),
        To::Trade(end) => Ok((format!("{}{end}", base(field, dimension)), number(digits)?)),
        To::Hands => Ok((format!("{}_in", base(field, dimension)), hands(digits)?)),
    }
}

fn base<'f>(field: &'f str, dimension: &Dimension) -> &'f str {
    field.strip_suffix(dimension.end).unwrap_or(field)
}

/// Where the number ends and the unit begins.
fn split(text: &str) -> (&str, &str) {
    let in_number =
        |one: char| one.is_ascii_digit() || matches!(one, '.' | ',' | '/' | ' ' | '-' | '+');
    let end = text.find(|one: char| !in_number(one)).unwrap_or(text.len());
    let (digits, unit) = text.split_at(end);
    // A slash before letters belongs to the unit: `36/min`.
    let digits_end = digits.trim_end_matches('/').len();
    let (digits, _) = digits.split_at(digits_end);
    (digits.trim(), text.get(digits_end..).unwrap_or(unit).trim())
}

/// A number as it is written by hand: `84`, `84.5`, `3 1/4`, `3-1/4`, `1/4`.
fn number(text: &str) -> Result<f64, String> {
    let wrong = || format!("`{text}` is no number like 84, 84.5 or 3 1/4");
    if text.contains(',') {
        return Err(format!(
            "`{text}` has a comma; write the number with a point and without separators"
        ));
    }
    if text.len() > LONGEST {
        return Err(wrong());
    }
    let (whole, part) = match text.rsplit_once([' ', '-']) {
        Some((whole, part)) if part.contains('/') && !whole.trim().is_empty() => {
            (whole.trim(), Some(part))
        }
        _ if text.contains('/') => ("0", Some(text)),
        _ => (text, None),
    };
    let whole = decimal(whole).ok_or_else(wrong)?;
    let Some(part) = part else { return Ok(whole) };
    let (over, under) = part.split_once('/').ok_or_else(wrong)?;
    let digits = |text: &str| {
        let plain = !text.is_empty() && text.bytes().all(|one| one.is_ascii_digit());
        plain.then(|| text.parse::<f64>().ok()).flatten()
    };
    let (over, under) = digits(over).zip(digits(under)).ok_or_else(wrong)?;
    if under == 0.0 || over >= under || whole.fract() != 0.0 || whole < 0.0 {
        return Err(wrong());
    }
    Ok(whole + over / under)
}

/// Digits with at most one point, and a sign; nothing that only a computer writes.
fn decimal(text: &str) -> Option<f64> {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let plain = unsigned.starts_with(|one: char| one.is_ascii_digit())
        && unsigned.ends_with(|one: char| one.is_ascii_digit())
        && unsigned
            .bytes()
            .all(|one| one.is_ascii_digit() || one == b'.');
    plain.then(|| text.parse().ok()).flatten()
}

/// Inches in hands: 16.1 is sixteen hands and one inch. A hand is four inches, exact by definition.
fn hands(text: &str) -> Result<f64, String> {
    let wrong = || format!("`{text}` is no height in hands like 15, 15.2 or 16.1");
    let (hands, inches) = text.split_once('.').unwrap_or((text, "0"));
    let inches: u8 = inches
        .parse()
        .ok()
        .filter(|inches| *inches < 4)
        .ok_or_else(wrong)?;
    let hands: u8 = hands.parse().map_err(|_| wrong())?;
    Ok(f64::from(hands) * 4.0 + f64::from(inches))
}

/// In the record's unit. What is converted is rounded to a hundredth, finer than any tape or scale: 8.37 cm is 83.7 mm
/// and not 83.69999999999999. What is not converted stays as it was written.
fn times(number: f64, factor: f64) -> f64 {
    if (factor - 1.0).abs() < f64::EPSILON {
        return number;
    }
    (number * factor * 100.0).round() / 100.0
}

fn or<T: std::fmt::Display>(names: impl Iterator<Item = T>) -> String {
    let names: Vec<String> = names.map(|name| name.to_string()).collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

#[cfg(test)]
mod tests;
