//! JSON objects that are objects. serde takes a list of a struct's fields, in their order, for the struct itself: the same
//! thing would have two spellings, and the second would mean something else once a field is added.

use std::fmt;

use serde::Deserialize;
use serde::de::{
    DeserializeOwned, DeserializeSeed, Deserializer, EnumAccess, Error, MapAccess, SeqAccess,
    VariantAccess, Visitor,
};

/// What was read without taking a list for an object, however deep.
///
/// What is read by way of a buffer (`untagged`, `flatten`, a `tag` within) is not looked into: no request has that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Objects<T>(pub T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Objects<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        T::deserialize(Strict(deserializer)).map(Self)
    }
}

/// Reads a JSON document.
///
/// # Errors
///
/// That it is no JSON, or no `T`.
pub fn read<T: DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
    serde_json::from_str::<Objects<T>>(text).map(|read| read.0)
}

/// Any part of reading, made to ask for a map wherever a struct is wanted, and to hand that on to the parts within.
struct Strict<T>(T);

macro_rules! hand_on {
    ($($method:ident($($name:ident: $type:ty),*))*) => {$(
        fn $method<V: Visitor<'de>>(self, $($name: $type,)* visitor: V) -> Result<V::Value, D::Error> {
            self.0.$method($($name,)* Strict(visitor))
        }
    )*};
}

impl<'de, D: Deserializer<'de>> Deserializer<'de> for Strict<D> {
    type Error = D::Error;

    hand_on! {
        deserialize_any() deserialize_bool() deserialize_char() deserialize_str() deserialize_string()
        deserialize_i8() deserialize_i16() deserialize_i32() deserialize_i64() deserialize_i128()
        deserialize_u8() deserialize_u16() deserialize_u32() deserialize_u64() deserialize_u128()
        deserialize_f32() deserialize_f64() deserialize_bytes() deserialize_byte_buf()
        deserialize_option() deserialize_unit() deserialize_seq() deserialize_map()
        deserialize_identifier() deserialize_ignored_any()
        deserialize_unit_struct(name: &'static str)
        deserialize_newtype_struct(name: &'static str)
        deserialize_tuple(len: usize)
        deserialize_tuple_struct(name: &'static str, len: usize)
        deserialize_enum(name: &'static str, variants: &'static [&'static str])
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_map(Strict(visitor))
    }

    fn is_human_readable(&self) -> bool {
        self.0.is_human_readable()
    }
}

macro_rules! take {
    ($($method:ident($type:ty))*) => {$(
        fn $method<E: Error>(self, value: $type) -> Result<V::Value, E> {
            self.0.$method(value)
        }
    )*};
}

impl<'de, V: Visitor<'de>> Visitor<'de> for Strict<V> {
    type Value = V::Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.expecting(f)
    }

    take! {
        visit_bool(bool) visit_char(char) visit_str(&str) visit_borrowed_str(&'de str) visit_string(String)
        visit_i8(i8) visit_i16(i16) visit_i32(i32) visit_i64(i64) visit_i128(i128)
        visit_u8(u8) visit_u16(u16) visit_u32(u32) visit_u64(u64) visit_u128(u128)
        visit_f32(f32) visit_f64(f64) visit_bytes(&[u8]) visit_borrowed_bytes(&'de [u8]) visit_byte_buf(Vec<u8>)
    }

    fn visit_none<E: Error>(self) -> Result<V::Value, E> {
        self.0.visit_none()
    }

    fn visit_unit<E: Error>(self) -> Result<V::Value, E> {
        self.0.visit_unit()
    }

    fn visit_some<D: Deserializer<'de>>(self, within: D) -> Result<V::Value, D::Error> {
        self.0.visit_some(Strict(within))
    }

    fn visit_newtype_struct<D: Deserializer<'de>>(self, within: D) -> Result<V::Value, D::Error> {
        self.0.visit_newtype_struct(Strict(within))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, within: A) -> Result<V::Value, A::Error> {
        self.0.visit_seq(Strict(within))
    }

    fn visit_map<A: MapAccess<'de>>(self, within: A) -> Result<V::Value, A::Error> {
        self.0.visit_map(Strict(within))
    }

    fn visit_enum<A: EnumAccess<'de>>(self, within: A) -> Result<V::Value, A::Error> {
        self.0.visit_enum(Strict(within))
    }
}

impl<'de, S: DeserializeSeed<'de>> DeserializeSeed<'de> for Strict<S> {
    type Value = S::Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<S::Value, D::Error> {
        self.0.deserialize(Strict(deserializer))
    }
}

impl<'de, A: SeqAccess<'de>> SeqAccess<'de> for Strict<A> {
    type Error = A::Error;

    fn next_element_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, A::Error> {
        self.0.next_element_seed(Strict(seed))
    }

    fn size_hint(&self) -> Option<usize> {
        self.0.size_hint()
    }
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for Strict<A> {
    type Error = A::Error;

    fn next_key_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, A::Error> {
        self.0.next_key_seed(Strict(seed))
    }

    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, A::Error> {
        self.0.next_value_seed(Strict(seed))
    }

    fn size_hint(&self) -> Option<usize> {
        self.0.size_hint()
    }
}

impl<'de, A: EnumAccess<'de>> EnumAccess<'de> for Strict<A> {
    type Error = A::Error;
    type Variant = Strict<A::Variant>;

    fn variant_seed<S: DeserializeSeed<'de>>(
        self,
        seed: S,
    ) -> Result<(S::Value, Self::Variant), A::Error> {
        let (value, variant) = self.0.variant_seed(Strict(seed))?;
        Ok((value, Strict(variant)))
    }
}

impl<'de, A: VariantAccess<'de>> VariantAccess<'de> for Strict<A> {
    type Error = A::Error;

    fn unit_variant(self) -> Result<(), A::Error> {
        self.0.unit_variant()
    }

    fn newtype_variant_seed<S: DeserializeSeed<'de>>(self, seed: S) -> Result<S::Value, A::Error> {
        self.0.newtype_variant_seed(Strict(seed))
    }

    fn tuple_variant<V: Visitor<'de>>(self, len: usize, visitor: V) -> Result<V::Value, A::Error> {
        self.0.tuple_variant(len, Strict(visitor))
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, A::Error> {
        self.0.newtype_variant_seed(Map(visitor))
    }
}

/// Asks for a map, whatever the form of the document allows.
struct Map<V>(V);

impl<'de, V: Visitor<'de>> DeserializeSeed<'de> for Map<V> {
    type Value = V::Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<V::Value, D::Error> {
        deserializer.deserialize_map(Strict(self.0))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use serde_json::value::RawValue;

    use super::*;

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Foot {
        name: String,
        #[serde(default)]
        nails: Option<u8>,
    }

    #[derive(Debug, PartialEq, Deserialize)]
    enum Shoe {
        None,
        Bar(Foot),
        Plain { web_mm: f64, clips: (u8, u8) },
    }

    #[derive(Debug, Deserialize)]
    struct Visit {
        feet: Vec<Foot>,
        by_name: BTreeMap<String, Foot>,
        one: Option<Foot>,
        shoe: Shoe,
        raw: Option<Box<RawValue>>,
    }

    const WHOLE: &str = r#"{"feet": [{"name": "left fore", "nails": 6}, {"name": "right fore"}],
        "by_name": {"hind": {"name": "left hind"}}, "one": {"name": "right hind"},
        "shoe": {"Plain": {"web_mm": 21.5, "clips": [1, 2]}}, "raw": [1, {"a":  2}]}"#;

    #[test]
    fn what_is_written_as_it_should_be_is_read_as_ever() {
        let visit: Visit = read(WHOLE).expect("a visit");
        assert_eq!(visit.feet[0].nails, Some(6));
        assert_eq!(visit.feet[1].nails, None);
        assert_eq!(visit.by_name["hind"].name, "left hind");
        assert_eq!(visit.one.expect("one").name, "right hind");
        let clips = (1, 2);
        assert_eq!(
            visit.shoe,
            Shoe::Plain {
                web_mm: 21.5,
                clips
            }
        );
        assert_eq!(visit.raw.expect("raw").get(), r#"[1, {"a":  2}]"#);
        assert_eq!(read::<Shoe>(r#""None""#).expect("a shoe"), Shoe::None);
    }

    #[test]
    fn a_list_is_no_object_however_deep() {
        for (whole, listed) in [
            (
                r#"{"name": "left fore", "nails": 6}"#,
                r#"["left fore", 6]"#,
            ),
            (r#"{"name": "left hind"}"#, r#"["left hind", null]"#),
            (r#"{"name": "right hind"}"#, r#"["right hind", null]"#),
            (r#"{"web_mm": 21.5, "clips": [1, 2]}"#, "[21.5, [1, 2]]"),
            (
                r#"{"Plain": {"web_mm": 21.5, "clips": [1, 2]}}"#,
                r#"{"Bar": ["left fore", 6]}"#,
            ),
        ] {
            assert!(WHOLE.contains(whole), "{whole}");
            let text = WHOLE.replace(whole, listed);
            // serde itself takes each: without that, this would show nothing.
            assert!(serde_json::from_str::<Visit>(&text).is_ok(), "{text}");
            let refused = read::<Visit>(&text).expect_err(&text).to_string();
            assert!(refused.contains("sequence"), "{refused}");
        }
        assert!(serde_json::from_str::<Foot>(r#"["left fore", 6]"#).is_ok());
        assert!(read::<Foot>(r#"["left fore", 6]"#).is_err());
    }

    #[test]
    fn what_follows_and_what_nobody_knows_is_refused() {
        for text in [
            r#"{"name": "a"} {}"#,
            r#"{"name": "a", "toe": 1}"#,
            r#"{"name": "a", "name": "b"}"#,
            "{}",
        ] {
            assert!(read::<Foot>(text).is_err(), "{text}");
        }
    }
}
