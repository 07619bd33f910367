//! JSON that two parties read alike: strict reading, and the canonical form of RFC 8785 that is hashed and signed.

use std::fmt;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// The largest magnitude of an integer that every JSON reader agrees on (2^53, RFC 7493).
pub const LARGEST_INTEGER: i64 = 1 << 53;

/// How deep arrays and objects may nest.
pub const DEEPEST: usize = 32;

/// Why a JSON text is not taken.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct NotStrict(String);

impl From<String> for NotStrict {
    fn from(why: String) -> Self {
        Self(why)
    }
}

/// Reads JSON strictly: a duplicate key, an integer beyond 2^53, a number that is not finite, or nesting deeper
/// than [`DEEPEST`] is refused, since signer and reader could take it differently.
///
/// # Errors
///
/// [`NotStrict`] with line and column.
pub fn read(text: &str) -> Result<Value, NotStrict> {
    read_to_depth(text, DEEPEST)
}

/// The same for a document that holds others, and so may nest deeper than they.
///
/// # Errors
///
/// [`NotStrict`] with line and column.
pub fn read_to_depth(text: &str, deepest: usize) -> Result<Value, NotStrict> {
    let Strict(value) = serde_json::from_str(text).map_err(|error| NotStrict(error.to_string()))?;
    if depth(&value) > deepest {
        return Err(NotStrict(format!("nested deeper than {deepest} levels")));
    }
    Ok(value)
}

/// The canonical form of RFC 8785: sorted keys, no white space, one spelling for each number and string.
///
/// # Errors
///
/// [`NotStrict`] if the value has no canonical form.
pub fn write(value: &Value) -> Result<Vec<u8>, NotStrict> {
    serde_json_canonicalizer::to_vec(value).map_err(|error| NotStrict(error.to_string()))
}

fn depth(value: &Value) -> usize {
    match value {
        Value::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
        Value::Object(fields) => 1 + fields.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}

struct Strict(Value);

impl<'de> Deserialize<'de> for Strict {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Reader).map(Strict)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<Value, E> {
        if value < -LARGEST_INTEGER {
            return Err(E::custom(format!("{value} is beyond 2^53")));
        }
        Ok(value.into())
    }

    fn visit_u64<E: serde::de::Error>(self, value: u64) -> Result<Value, E> {
        if value > LARGEST_INTEGER.unsigned_abs() {
            return Err(E::custom(format!("{value} is beyond 2^53")));
        }
        Ok(value.into())
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        // An integer too long for i64 arrives here as a float and would lose digits unseen.
        if value.fract() == 0.0 && value.abs() > 9_007_199_254_740_992.0 {
            return Err(E::custom("a number is beyond 2^53"));
        }
        Number::from_f64(value)
            .map(Value::Number)
            .ok_or_else(|| E::custom("a number is not finite"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(Strict(item)) = access.next_element()? {
            items.push(item);
        }
        Ok(Value::Array(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut fields = Map::new();
        while let Some(key) = access.next_key::<String>()? {
            if fields.contains_key(&key) {
                return Err(A::Error::custom(format!("the key `{key}` stands twice")));
            }
            let Strict(value) = access.next_value()?;
            fields.insert(key, value);
        }
        Ok(Value::Object(fields))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_two_readers_could_take_differently() {
        for wrong in [
            r#"{"lot":"A","lot":"B"}"#,
            r#"{"n":{"a":1,"a":1}}"#,
            "9007199254740993",
            "-9007199254740993",
            "123456789012345678901234567890",
            "1e999",
            "NaN",
            "{} {}",
            "\"\\ud800\"",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
        let deep = "[".repeat(40) + &"]".repeat(40);
        assert!(read(&deep).is_err());
        assert!(read("9007199254740992").is_ok());
    }

    /// The worked example of RFC 8785, section 3.2.2 to 3.2.4 (from memory).
    #[test]
    fn writes_the_form_of_rfc_8785() {
        let text = r#"{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}"#;
        let value: Value = serde_json::from_str(text).expect("the example");
        let canonical = String::from_utf8(write(&value).expect("a form")).expect("UTF-8");
        assert_eq!(
            canonical,
            r#"{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}"#
        );
    }
}
