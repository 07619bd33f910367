//! Filling a form: from texts by name (flags, cells of a sheet), or from a document (JSON, TOML).

use serde_json::{Map, Value, json};
use whorl_care::fault::{Faults, step};

use super::{Field, Fields, Form, Shape};
use crate::unit;

impl Form {
    /// Sets the field at a path like `lot_number`, `feet.LF.after.toe` or `digital_pulses.LF` from a text.
    ///
    /// # Errors
    ///
    /// What is wrong with the name or the text.
    pub fn set(
        &self,
        details: &mut Map<String, Value>,
        path: &str,
        text: &str,
    ) -> Result<(), String> {
        let steps: Vec<&str> = path.trim().split('.').collect();
        self.fields.set(details, &steps, text)
    }

    /// Whether a path names a field.
    #[must_use]
    pub fn knows(&self, path: &str) -> bool {
        let steps: Vec<&str> = path.trim().split('.').collect();
        self.fields.knows(&steps)
    }

    /// The pointer into the record's details of what a path names, under the record's own names.
    #[must_use]
    pub fn pointer(&self, path: &str) -> Option<String> {
        let steps: Vec<&str> = path.trim().split('.').collect();
        self.fields.pointer(&steps)
    }

    /// Reads a document whose fields may have their short names and whose quantities may be texts with units.
    ///
    /// # Errors
    ///
    /// Every fault, with pointers into the document.
    pub fn read(&self, document: &Value) -> Result<Map<String, Value>, Faults> {
        let mut faults = Faults::default();
        let mut details = Map::new();
        match document.as_object() {
            Some(object) => self.fields.read(&mut details, object, "", &mut faults),
            None => faults.add("", "this is no object with fields"),
        }
        faults.or(details)
    }
}

/// A field as somebody named it.
struct Meant<'f> {
    field: &'f Field,
    /// The name to set: the field's, or the trade's.
    name: String,
    /// Whether the unit is in the name.
    named: bool,
}

impl Fields {
    fn meant(&self, name: &str) -> Option<Meant<'_>> {
        let wanted = name.trim().replace('-', "_").to_lowercase();
        let full =
            |field: &Field| field.name == wanted || unit::names(&field.name).contains(&wanted);
        if let Some(field) = self.list.iter().find(|field| full(field)) {
            return Some(Meant {
                field,
                name: wanted,
                named: true,
            });
        }
        let short = |field: &&Field| {
            field.short == wanted || unit::bare(&field.name) == Some(wanted.as_str())
        };
        self.list.iter().find(short).map(|field| Meant {
            field,
            name: field.name.clone(),
            named: false,
        })
    }

    fn find(&self, name: &str) -> Result<Meant<'_>, String> {
        self.meant(name).ok_or_else(|| {
            let known: Vec<&str> = self.list.iter().map(|field| field.short.as_str()).collect();
            format!(
                "there is no field `{name}` here; there are {}",
                known.join(", ")
            )
        })
    }

    fn pointer(&self, steps: &[&str]) -> Option<String> {
        let (first, rest) = steps.split_first()?;
        let field = self.meant(first)?.field;
        Some(step(&field.name) + &field.shape.pointer(rest)?)
    }

    fn knows(&self, steps: &[&str]) -> bool {
        let Some((first, rest)) = steps.split_first() else {
            return false;
        };
        self.meant(first)
            .is_some_and(|meant| meant.field.shape.knows(rest))
    }

    fn set(
        &self,
        object: &mut Map<String, Value>,
        steps: &[&str],
        text: &str,
    ) -> Result<(), String> {
        let Some((first, rest)) = steps.split_first() else {
            return Err("name a field".to_owned());
        };
        let meant = self.find(first)?;
        if rest.is_empty() && matches!(meant.field.shape, Shape::Number | Shape::Whole) {
            let (name, value) = quantity(&meant, text)?;
            object.insert(name, value);
            return Ok(());
        }
        let slot = object.entry(meant.name).or_insert(Value::Null);
        meant.field.shape.set(slot, rest, text)
    }

    fn read(
        &self,
        into: &mut Map<String, Value>,
        from: &Map<String, Value>,
        at: &str,
        faults: &mut Faults,
    ) {
        for (name, value) in from {
            let at = format!("{at}{}", step(name));
            if value.is_null() {
                continue;
            }
            let meant = match self.find(name) {
                Ok(meant) => meant,
                Err(detail) => {
                    faults.add(at, detail);
                    continue;
                }
            };
            let filled = match (&meant.field.shape, value) {
                (Shape::Number | Shape::Whole, Value::String(text)) => {
                    quantity(&meant, text).map_err(|detail| Faults::one(&at, detail))
                }
                (Shape::Number | Shape::Whole, Value::Number(number)) if !meant.named => {
                    quantity(&meant, &number.to_string()).map_err(|detail| Faults::one(&at, detail))
                }
                (shape, value) => shape.read(value, &at).map(|value| (meant.name, value)),
            };
            match filled {
                Ok((name, _)) if into.contains_key(&name) => {
                    faults.add(at, format!("{name} is given twice"));
                }
                Ok((name, value)) => {
                    into.insert(name, value);
                }
                Err(found) => faults.0.extend(found.0),
            }
        }
    }

    /// The fields in the order in which a short text gives them: `thrush:2:central sulcus`.
    pub(super) fn positions(&self) -> Vec<&str> {
        self.list.iter().map(|field| field.name.as_str()).collect()
    }
}

impl Shape {
    fn pointer(&self, steps: &[&str]) -> Option<String> {
        let Some((first, rest)) = steps.split_first() else {
            return Some(String::new());
        };
        match self {
            Self::Group(fields) => fields.pointer(steps),
            Self::Each(keys, inner) => Some(step(&key(keys, first).ok()?) + &inner.pointer(rest)?),
            Self::List(inner) if first.bytes().all(|one| one.is_ascii_digit()) => {
                Some(step(first) + &inner.pointer(rest)?)
            }
            _ => None,
        }
    }

    fn knows(&self, steps: &[&str]) -> bool {
        let Some((first, rest)) = steps.split_first() else {
            return true;
        };
        match self {
            Self::Group(fields) => fields.knows(steps),
            Self::Each(keys, inner) => key(keys, first).is_ok() && inner.knows(rest),
            _ => false,
        }
    }

    fn set(&self, slot: &mut Value, steps: &[&str], text: &str) -> Result<(), String> {
        let Some((first, rest)) = steps.split_first() else {
            return self.write(slot, text);
        };
        match self {
            Self::Group(fields) => fields.set(object(slot), steps, text),
            Self::Each(keys, inner) => {
                let key = key(keys, first)?;
                let slot = object(slot).entry(key).or_insert(Value::Null);
                inner.set(slot, rest, text)
            }
            _ => Err(format!(
                "there is nothing under it that is called `{first}`"
            )),
        }
    }

    /// Writes a whole value from a text.
    fn write(&self, slot: &mut Value, text: &str) -> Result<(), String> {
        let text = text.trim();
        if text.is_empty() {
            return Err("it is empty; leave it out if there is nothing to say".to_owned());
        }
        match self {
            Self::Group(fields) => {
                for part in parts(text, &[',']) {
                    let (name, value) = part.split_once('=').ok_or_else(|| {
                        format!("`{part}` has no value; write name=value,name=value")
                    })?;
                    fields.set(object(slot), &[name.trim()], value.trim())?;
                }
                return Ok(());
            }
            Self::Each(keys, inner) => return each(keys, inner, slot, text),
            _ => {}
        }
        *slot = self.value(text)?;
        Ok(())
    }

    /// The value of a text that stands alone.
    fn value(&self, text: &str) -> Result<Value, String> {
        match self {
            Self::Text | Self::Day | Self::PartialDay | Self::Moment => Ok(json!(text)),
            Self::Code(codes) => {
                let wanted = text.trim().replace('-', "_");
                let found = codes
                    .iter()
                    .find(|one| one.code.eq_ignore_ascii_case(&wanted));
                let known = || {
                    codes
                        .iter()
                        .map(|one| one.code.as_str())
                        .collect::<Vec<_>>()
                };
                found
                    .map(|one| json!(one.code))
                    .ok_or_else(|| format!("`{text}` is not one of {}", known().join(", ")))
            }
            Self::Number => unit::read("", text, true).map(|(_, number)| json!(number)),
            Self::Whole => unit::read("", text, true).and_then(|(_, number)| whole(number, text)),
            Self::YesNo => yes_no(text),
            Self::List(inner) => {
                let separators: &[char] = match inner.as_ref() {
                    Self::Code(_) => &[',', ';'],
                    _ => &[';'],
                };
                let items = parts(text, separators).map(|part| inner.value(part));
                Ok(Value::Array(items.collect::<Result<_, _>>()?))
            }
            Self::Group(fields) => fields.by_position(text),
            Self::Each(..) => Err("give it key by key".to_owned()),
            Self::Any => yes_no(text).or_else(|_| {
                serde_json::from_str(text)
                    .map_err(|error| format!("`{text}` is neither yes, no nor JSON: {error}"))
            }),
        }
    }

    fn read(&self, value: &Value, at: &str) -> Result<Value, Faults> {
        let mut faults = Faults::default();
        let read = match (self, value) {
            (Self::Group(fields), Value::Object(from)) => {
                let mut into = Map::new();
                fields.read(&mut into, from, at, &mut faults);
                Value::Object(into)
            }
            (Self::Each(keys, inner), Value::Object(from)) => {
                let mut into = Map::new();
                for (name, value) in from {
                    let at = format!("{at}{}", step(name));
                    let read = key(keys, name)
                        .map_err(|detail| Faults::one(&at, detail))
                        .and_then(|key| Ok((key, inner.read(value, &at)?)));
                    match read {
                        Ok((key, value)) => drop(into.insert(key, value)),
                        Err(found) => faults.0.extend(found.0),
                    }
                }
                Value::Object(into)
            }
            (Self::List(inner), Value::Array(from)) => {
                let items = from.iter().enumerate().map(|(n, item)| {
                    let read = inner.read(item, &format!("{at}/{n}"));
                    read.unwrap_or_else(|found| {
                        faults.0.extend(found.0);
                        Value::Null
                    })
                });
                Value::Array(items.collect())
            }
            // A text in place of a list or an object is written as in a cell.
            (Self::Group(_) | Self::Each(..) | Self::List(_), Value::String(text)) => {
                let mut slot = Value::Null;
                if let Err(detail) = self.write(&mut slot, text) {
                    faults.add(at, detail);
                }
                slot
            }
            (Self::Code(_) | Self::YesNo, Value::String(text)) => match self.value(text) {
                Ok(value) => value,
                Err(detail) => {
                    faults.add(at, detail);
                    Value::Null
                }
            },
            // What doesn't fit is told by the care engine, in the same words as everywhere.
            (_, other) => other.clone(),
        };
        faults.or(read)
    }
}

impl Fields {
    /// An object from `thrush:2:central sulcus`: its fields by position; what follows the last one belongs to it.
    fn by_position(&self, text: &str) -> Result<Value, String> {
        let mut object = Map::new();
        for (field, part) in self.list.iter().zip(text.splitn(self.list.len(), ':')) {
            if !part.trim().is_empty() {
                self.set(&mut object, &[&field.name], part.trim())?;
            }
        }
        Ok(Value::Object(object))
    }
}

/// `LF=1,RF=2`, or keys alone (`LF,RF`, `all`) where each has fields of its own.
fn each(keys: &[String], inner: &Shape, slot: &mut Value, text: &str) -> Result<(), String> {
    let grouped = matches!(inner, Shape::Group(_));
    let object = object(slot);
    if grouped && text.eq_ignore_ascii_case("all") {
        for key in keys {
            object.entry(key.clone()).or_insert_with(|| json!({}));
        }
        return Ok(());
    }
    for part in parts(text, &[',']) {
        match part.split_once('=') {
            Some((name, value)) if !grouped => {
                let name = key(keys, name)?;
                let value = match inner {
                    Shape::Number | Shape::Whole => inner.value(value.trim())?,
                    other => other.value(value)?,
                };
                object.insert(name, value);
            }
            None if grouped => {
                object.entry(key(keys, part)?).or_insert_with(|| json!({}));
            }
            _ => {
                let first = keys.first().map_or("key", String::as_str);
                return Err(if grouped {
                    format!("`{part}` is no key; write {}", keys.join(","))
                } else {
                    format!("`{part}` has no value; write {first}=value")
                });
            }
        }
    }
    Ok(())
}

fn quantity(meant: &Meant<'_>, text: &str) -> Result<(String, Value), String> {
    // Under the trade's name the unit is the trade's.
    if meant.name != meant.field.name {
        let (_, number) = unit::read("", text, true)?;
        return Ok((meant.name.clone(), json!(number)));
    }
    let (name, number) = unit::read(&meant.field.name, text, meant.named)?;
    let value = match meant.field.shape {
        Shape::Whole => whole(number, text)?,
        _ => json!(number),
    };
    Ok((name, value))
}

fn whole(number: f64, text: &str) -> Result<Value, String> {
    /// The largest whole number that every program reads alike.
    const LARGEST: f64 = 9_007_199_254_740_991.0;
    if number.fract() != 0.0 || number.abs() > LARGEST {
        return Err(format!("`{text}` is no whole number"));
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "whole and within what an i64 holds"
    )]
    let number = number as i64;
    Ok(json!(number))
}

fn yes_no(text: &str) -> Result<Value, String> {
    match text.to_lowercase().as_str() {
        "yes" | "y" | "true" => Ok(json!(true)),
        "no" | "n" | "false" => Ok(json!(false)),
        _ => Err(format!("`{text}` is neither yes nor no")),
    }
}

fn key(keys: &[String], text: &str) -> Result<String, String> {
    let wanted = text.trim();
    let found = keys.iter().find(|key| key.eq_ignore_ascii_case(wanted));
    match found {
        Some(key) => Ok(key.clone()),
        None if keys.is_empty() && !wanted.is_empty() => Ok(wanted.to_owned()),
        None => Err(format!("`{wanted}` is not one of {}", keys.join(", "))),
    }
}

fn parts<'t>(text: &'t str, separators: &'t [char]) -> impl Iterator<Item = &'t str> {
    text.split(separators)
        .map(str::trim)
        .filter(|part| !part.is_empty())
}

/// The object in a slot, made if nothing is there.
fn object(slot: &mut Value) -> &mut Map<String, Value> {
    if !slot.is_object() {
        *slot = Value::Object(Map::new());
    }
    match slot {
        Value::Object(object) => object,
        _ => unreachable!("it was just made one"),
    }
}
