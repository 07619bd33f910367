//! What is wrong with an input: where (a JSON pointer) and in plain words.

use std::fmt;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::objects::Objects;

/// One fault of an input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Fault {
    /// Where it is: a JSON pointer (RFC 6901) into the document that was sent; empty for the whole.
    pub pointer: String,
    /// What is wrong and what would be right, for a person.
    pub detail: String,
}

/// All faults found in an input; never empty when it is an error.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// A single fault.
    pub fn one(pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        let mut faults = Self::default();
        faults.add(pointer, detail);
        faults
    }

    /// Notes a fault and goes on, so that a person sees all of them at once.
    pub fn add(&mut self, pointer: impl Into<String>, detail: impl Into<String>) {
        self.0.push(Fault {
            pointer: pointer.into(),
            detail: detail.into(),
        });
    }

    /// The same faults seen from outside: each pointer is put under `prefix`.
    #[must_use]
    pub fn under(mut self, prefix: &str) -> Self {
        for fault in &mut self.0 {
            fault.pointer = format!("{prefix}{}", fault.pointer);
        }
        self
    }

    /// `value` if nothing was found.
    ///
    /// # Errors
    ///
    /// These faults, if there are any.
    pub fn or<T>(self, value: T) -> Result<T, Self> {
        if self.0.is_empty() {
            Ok(value)
        } else {
            Err(self)
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, fault) in self.0.iter().enumerate() {
            let gap = if n == 0 { "" } else { "; " };
            if fault.pointer.is_empty() {
                write!(f, "{gap}{}", fault.detail)?;
            } else {
                write!(f, "{gap}{}: {}", fault.pointer, fault.detail)?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// One step of a JSON pointer: a slash and the name, escaped as RFC 6901 wants it.
#[must_use]
pub fn step(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

/// Reads a JSON document as `T`; a mismatch is a fault with a pointer to where it happened.
///
/// # Errors
///
/// One fault: a missing, unknown or wrongly typed field. A missing field is pointed to where it should be.
pub fn read<T: DeserializeOwned>(document: &Value) -> Result<T, Faults> {
    let read = serde_path_to_error::deserialize::<_, Objects<T>>(document);
    read.map(|Objects(read)| read).map_err(|error| {
        let mut pointer = String::new();
        for segment in error.path() {
            use serde_path_to_error::Segment;
            let name = match segment {
                Segment::Seq { index } => index.to_string(),
                Segment::Map { key } => key.clone(),
                Segment::Enum { variant } => variant.clone(),
                Segment::Unknown => continue,
            };
            pointer.push_str(&step(&name));
        }
        let message = error.into_inner().to_string();
        if let Some(field) = quoted_after(&message, "missing field ") {
            pointer.push_str(&step(field));
        }
        Faults::one(pointer, plain(&message))
    })
}

/// The text between backticks that follows `lead` at the start of a message.
fn quoted_after<'a>(message: &'a str, lead: &str) -> Option<&'a str> {
    message
        .strip_prefix(lead)?
        .strip_prefix('`')?
        .split('`')
        .next()
}

/// serde's and chrono's messages in words for people; one that isn't known here stays as it is.
fn plain(message: &str) -> String {
    const TYPES: &[(&str, &str)] = &[
        ("invalid type: ", "this is"),
        ("invalid value: ", "this is"),
    ];
    const DATES: &[&str] = &[
        "input contains invalid characters",
        "premature end of input",
        "trailing input",
        "input is out of range",
        "no possible date and time matching input",
    ];
    if let Some(field) = quoted_after(message, "missing field ") {
        return format!("{field} is missing");
    }
    if let Some(field) = quoted_after(message, "unknown field ") {
        let known = message
            .split_once(", expected ")
            .map_or("", |(_, known)| known);
        let known = known.trim_start_matches("one of ").replace('`', "");
        return if known.is_empty() || known.starts_with("there are no") {
            format!("there is no field {field} here")
        } else {
            format!("there is no field {field} here; there are {known}")
        };
    }
    if let Some(code) = quoted_after(message, "unknown variant ") {
        let known = message
            .split_once(", expected ")
            .map_or("", |(_, known)| known);
        let known = known.trim_start_matches("one of ").replace('`', "");
        return format!("{code} is not one of {known}");
    }
    if DATES.contains(&message) {
        return "this is no date like 2026-05-03, or no time with its offset like \
                2026-05-03T09:20:00+02:00"
            .to_owned();
    }
    if message.starts_with("UUID parsing failed") {
        return "this is no id; an id is a UUID like 019682f0-7c00-7000-8000-000000000018"
            .to_owned();
    }
    if message.starts_with("invalid length") && message.contains("expected struct") {
        return "this is a list, where an object is wanted".to_owned();
    }
    if message.starts_with("data did not match any variant of untagged enum") {
        return "this has none of the forms that are taken here".to_owned();
    }
    for (lead, start) in TYPES {
        if let Some((got, wanted)) = message
            .strip_prefix(lead)
            .and_then(|rest| rest.rsplit_once(", expected "))
        {
            return format!(
                "{start} {}, where {} is wanted",
                kind_of(got),
                wanted_in_words(wanted)
            );
        }
    }
    message.to_owned()
}

/// serde's description of a value, in words for people.
fn kind_of(got: &str) -> String {
    for (serde, words) in [
        ("string ", "the text "),
        ("integer ", "the number "),
        ("floating point ", "the number "),
        ("boolean ", "a yes or no: "),
    ] {
        if let Some(rest) = got.strip_prefix(serde) {
            return format!("{words}{}", rest.replace('`', ""));
        }
    }
    match got {
        "null" => "nothing".to_owned(),
        "map" => "an object".to_owned(),
        "sequence" => "a list".to_owned(),
        other => other.to_owned(),
    }
}

/// serde's description of what it expected, in words for people.
fn wanted_in_words(wanted: &str) -> String {
    match wanted {
        "f64" | "f32" => "a number".to_owned(),
        "a string" => "a text".to_owned(),
        "a sequence" => "a list".to_owned(),
        "a boolean" => "true or false".to_owned(),
        "a map" => "an object".to_owned(),
        "u8" => "a whole number from 0 to 255".to_owned(),
        "u16" | "u32" | "u64" | "usize" => "a whole number, 0 or more".to_owned(),
        "i8" | "i16" | "i32" | "i64" => "a whole number".to_owned(),
        text if text.starts_with("struct ") => "an object".to_owned(),
        other => other.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Foot {
        #[allow(dead_code, reason = "only its reading is tested")]
        toe_length_mm: f64,
    }

    #[test]
    fn points_to_the_field_that_does_not_fit() {
        let document = serde_json::json!([{"toe_length_mm": 80.0}, {"toe_length_mm": "long"}]);
        let faults = read::<Vec<Foot>>(&document).unwrap_err();
        assert_eq!(faults.0[0].pointer, "/1/toe_length_mm");
        assert_eq!(
            faults.0[0].detail,
            "this is the text \"long\", where a number is wanted"
        );
    }

    #[test]
    fn points_to_where_a_missing_field_should_be_and_to_one_that_should_not() {
        let missing = read::<Vec<Foot>>(&serde_json::json!([{}])).unwrap_err();
        assert_eq!(
            missing.to_string(),
            "/0/toe_length_mm: toe_length_mm is missing"
        );
        let unknown = serde_json::json!([{"toe_length_mm": 80.0, "toe/angle": 1}]);
        let unknown = read::<Vec<Foot>>(&unknown).unwrap_err();
        assert_eq!(unknown.0[0].pointer, "/0/toe~1angle");
        assert_eq!(
            unknown.0[0].detail,
            "there is no field toe/angle here; there are toe_length_mm"
        );
    }

    #[test]
    fn says_what_a_date_looks_like() {
        let faults = read::<chrono::NaiveDate>(&serde_json::json!("3 May")).unwrap_err();
        assert!(faults.0[0].detail.contains("2026-05-03"), "{faults}");
    }
}
