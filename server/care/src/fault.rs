//! What is wrong with an input: where (a JSON pointer) and in plain words.

use std::fmt;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

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

/// Reads a JSON document as `T`; a mismatch is a fault with a pointer to where it happened.
///
/// # Errors
///
/// One fault: a missing, unknown or wrongly typed field.
pub fn read<T: DeserializeOwned>(document: &Value) -> Result<T, Faults> {
    serde_path_to_error::deserialize(document).map_err(|error| {
        let mut pointer = String::new();
        for step in error.path() {
            use serde_path_to_error::Segment;
            let name = match step {
                Segment::Seq { index } => index.to_string(),
                Segment::Map { key } => key.clone(),
                Segment::Enum { variant } => variant.clone(),
                Segment::Unknown => continue,
            };
            pointer.push('/');
            pointer.push_str(&name.replace('~', "~0").replace('/', "~1"));
        }
        Faults::one(pointer, error.into_inner().to_string())
    })
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
    }
}
