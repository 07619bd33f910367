//! What can be written down for each kind of event: its fields with their shapes and meanings, as the contract
//! publishes them, and the short names that people use for them.
//!
//! Everything that takes details from a person (flags, prompts, sheets) reads this one form, so a new field of a kind
//! is a flag and a column as soon as the care engine has it.

mod fill;
mod names;

use std::sync::LazyLock;

use serde_json::Value;
use utoipa::ToSchema;
use whorl_care::details::Details;
use whorl_care::kind::Kind;

use crate::unit;

/// The form of one kind.
#[derive(Debug)]
pub struct Form {
    /// The kind.
    pub kind: Kind,
    /// What it is, in a line.
    pub about: String,
    /// The kind as a word of a command line: its code with hyphens.
    pub verb: String,
    fields: Fields,
}

/// The fields of an object.
#[derive(Clone, Debug)]
pub struct Fields {
    list: Vec<Field>,
}

/// One field.
#[derive(Clone, Debug)]
pub struct Field {
    /// Its name in the record.
    pub name: String,
    /// What people call it: the name of its flag, with underscores.
    pub short: String,
    /// The name of its flag: the short name with hyphens.
    pub flag: String,
    /// Other names by which it may be given, with hyphens: without its unit, and (where it has none) in full.
    pub aliases: Vec<String>,
    /// The names that say the unit, each as a flag and as a field; empty for a field without one.
    pub named: Vec<(String, String)>,
    /// How its value is written, as a hint: `mm|cm|in`.
    pub hint: String,
    /// What it means, in a line.
    pub about: String,
    /// Whether the kind can't do without it.
    pub required: bool,
    /// What it holds.
    pub shape: Shape,
}

/// What a field holds.
#[derive(Clone, Debug)]
pub enum Shape {
    /// Text.
    Text,
    /// A day.
    Day,
    /// A day, a month or a year, as exactly as it is known.
    PartialDay,
    /// An instant; without an offset it is by the wall clock where the horse stands.
    Moment,
    /// One of these codes.
    Code(Vec<Code>),
    /// A number, with a unit where the field's name has one.
    Number,
    /// A whole number.
    Whole,
    /// Yes or no.
    YesNo,
    /// Several of the same.
    List(Box<Shape>),
    /// One for each of these keys.
    Each(Vec<String>, Box<Shape>),
    /// An object with fields of its own.
    Group(Fields),
    /// Anything.
    Any,
}

/// A code and its meaning.
#[derive(Clone, Debug)]
pub struct Code {
    /// The code.
    pub code: String,
    /// Its meaning, in a line; empty if none is published.
    pub about: String,
}

static FORMS: LazyLock<Vec<Form>> = LazyLock::new(|| {
    let mut published = Vec::new();
    Details::schemas(&mut published);
    let schemas = published
        .into_iter()
        .filter_map(|(name, schema)| Some((name, serde_json::to_value(schema).ok()?)))
        .collect();
    let published = Published(schemas);
    Kind::ALL.iter().map(|kind| published.form(*kind)).collect()
});

impl Form {
    /// The form of a kind.
    ///
    /// # Panics
    ///
    /// Never: there is a form of every kind.
    #[must_use]
    pub fn of(kind: Kind) -> &'static Self {
        let found = FORMS.iter().find(|form| form.kind == kind);
        found.unwrap_or_else(|| unreachable!("there is a form of every kind"))
    }

    /// Its fields, those that it can't do without first.
    #[must_use]
    pub fn fields(&self) -> &[Field] {
        &self.fields.list
    }

    /// The field that a JSON pointer into the details names, and its shape.
    #[must_use]
    pub fn at(&self, pointer: &str) -> Option<&Field> {
        let mut fields = &self.fields;
        let mut found = None;
        for step in pointer.split('/').skip(1) {
            match found.map(|field: &Field| &field.shape) {
                // A key of a map, or a place in a list.
                Some(Shape::Each(_, inner) | Shape::List(inner)) => {
                    if let Shape::Group(inner) = inner.as_ref() {
                        fields = inner;
                        found = None;
                    }
                    continue;
                }
                Some(Shape::Group(inner)) => fields = inner,
                _ => {}
            }
            found = fields.list.iter().find(|field| field.name == step);
            found?;
        }
        found
    }
}

impl Fields {
    /// Every field.
    #[must_use]
    pub fn all(&self) -> &[Field] {
        &self.list
    }

    /// The field of this name.
    #[must_use]
    pub fn named(&self, name: &str) -> Option<&Field> {
        self.list.iter().find(|field| field.name == name)
    }
}

impl Field {
    fn new(of: &str, name: &str, schema: &Value, shape: Shape, required: bool) -> Self {
        let short = names::short(of, name);
        let with_unit = unit::bare(name).is_some();
        let other = unit::bare(name).unwrap_or(name);
        let aliases = (other != short).then(|| other.replace('_', "-"));
        Self {
            name: name.to_owned(),
            flag: short.replace('_', "-"),
            short,
            hint: shape.hint(name),
            aliases: aliases.into_iter().collect(),
            named: if with_unit {
                as_flags(unit::names(name))
            } else {
                Vec::new()
            },
            about: if with_unit {
                without_unit(&first_line(present(schema)))
            } else {
                first_line(present(schema))
            },
            required,
            shape,
        }
    }
}

impl Shape {
    fn hint(&self, field: &str) -> String {
        match self {
            Self::Number => unit::hint(field).unwrap_or_else(|| "number".to_owned()),
            Self::Whole => "number".to_owned(),
            Self::YesNo => "yes|no".to_owned(),
            Self::Code(_) => "code".to_owned(),
            Self::List(inner) => match inner.as_ref() {
                Self::Code(_) => "code,code".to_owned(),
                Self::Group(fields) => fields.positions().join(":"),
                _ => "text;text".to_owned(),
            },
            Self::Each(keys, inner) => {
                let key = keys.first().map_or("key", String::as_str);
                if matches!(inner.as_ref(), Self::Group(_)) {
                    keys.join(",")
                } else {
                    format!("{key}=number,…")
                }
            }
            Self::Group(_) => "field=value,…".to_owned(),
            Self::Day => "yyyy-mm-dd".to_owned(),
            Self::PartialDay => "yyyy-mm[-dd]".to_owned(),
            Self::Moment => "yyyy-mm-dd hh:mm".to_owned(),
            Self::Text | Self::Any => "text".to_owned(),
        }
    }

    /// The codes that a value, or each of its items, may have.
    #[must_use]
    pub fn codes(&self) -> &[Code] {
        match self {
            Self::Code(codes) => codes,
            Self::List(inner) => inner.codes(),
            _ => &[],
        }
    }
}

/// The published schemas, by the names of their types.
struct Published(std::collections::HashMap<String, Value>);

impl Published {
    fn form(&self, kind: Kind) -> Form {
        let name = camel(kind.code());
        let schema = self.0.get(&name).unwrap_or(&Value::Null);
        let kinds = serde_json::to_value(<Kind as utoipa::PartialSchema>::schema());
        let kinds = kinds.unwrap_or_default();
        let meanings = kinds["description"].as_str().unwrap_or_default();
        Form {
            kind,
            verb: kind.code().replace('_', "-"),
            about: Code::read(kind.code(), meanings).about,
            fields: self.fields(&name, schema),
        }
    }

    fn fields(&self, of: &str, schema: &Value) -> Fields {
        let required = |name: &str| {
            let list = schema["required"].as_array();
            list.is_some_and(|list| list.iter().any(|one| one == name))
        };
        let properties = schema["properties"].as_object();
        let mut list: Vec<Field> = properties
            .into_iter()
            .flatten()
            .map(|(name, schema)| Field::new(of, name, schema, self.shape(schema), required(name)))
            .collect();
        list.sort_by_key(|field| (!field.required, names::place(of, &field.name)));
        Fields { list }
    }

    fn shape(&self, schema: &Value) -> Shape {
        let schema = present(schema);
        if let Some(name) = schema["$ref"]
            .as_str()
            .and_then(|path| path.rsplit('/').next())
        {
            let target = self.0.get(name).unwrap_or(&Value::Null);
            return if target["properties"].is_object() {
                Shape::Group(self.fields(name, target))
            } else {
                self.shape(target)
            };
        }
        if let Some(codes) = schema["enum"].as_array() {
            let about = schema["description"].as_str().unwrap_or_default();
            let codes = codes.iter().filter_map(Value::as_str);
            return Shape::Code(codes.map(|code| Code::read(code, about)).collect());
        }
        match type_of(schema) {
            "string" if schema["format"] == "date-time" => Shape::Moment,
            "string" if schema["format"] == "date" => Shape::Day,
            "string"
                if schema["pattern"]
                    .as_str()
                    .is_some_and(|one| one.starts_with("^[0-9]{4}(")) =>
            {
                Shape::PartialDay
            }
            "string" => Shape::Text,
            "number" => Shape::Number,
            "integer" => Shape::Whole,
            "boolean" => Shape::YesNo,
            "array" => Shape::List(Box::new(self.shape(&schema["items"]))),
            "object" if schema["additionalProperties"].is_object() => {
                let keys = schema["propertyNames"]["enum"].as_array();
                let keys = keys.into_iter().flatten().filter_map(Value::as_str);
                let inner = self.shape(&schema["additionalProperties"]);
                Shape::Each(keys.map(str::to_owned).collect(), Box::new(inner))
            }
            _ => Shape::Any,
        }
    }
}

impl Code {
    /// The meaning stands in the description of the list: "- `code`: meaning".
    fn read(code: &str, about: &str) -> Self {
        let lead = format!("- `{code}`: ");
        let line = about.lines().find_map(|line| line.strip_prefix(&lead));
        Self {
            code: code.to_owned(),
            about: line.unwrap_or_default().trim_end_matches('.').to_owned(),
        }
    }
}

/// What a value is when it is not null.
fn present(schema: &Value) -> &Value {
    let choice = schema["oneOf"].as_array().and_then(|choices| {
        let mut real = choices.iter().filter(|one| one["type"] != "null");
        let only = real.next();
        only.filter(|_| real.next().is_none())
    });
    choice.unwrap_or(schema)
}

fn type_of(schema: &Value) -> &str {
    let types = &schema["type"];
    types
        .as_str()
        .or_else(|| {
            let several = types.as_array()?.iter().filter_map(Value::as_str);
            several.into_iter().find(|one| *one != "null")
        })
        .unwrap_or_default()
}

fn first_line(schema: &Value) -> String {
    let text = schema["description"].as_str().unwrap_or_default();
    let line = text.lines().next().unwrap_or_default();
    line.trim_end_matches('.').to_owned()
}

fn as_flags(names: Vec<String>) -> Vec<(String, String)> {
    let names = names.into_iter();
    names.map(|name| (name.replace('_', "-"), name)).collect()
}

/// A meaning without the record's unit: a person may give the value in another.
fn without_unit(about: &str) -> String {
    let units = [
        ", in millimetres",
        ", in centimetres",
        ", in kilograms",
        ", in milligrams",
        ", in degrees Celsius",
    ];
    units
        .iter()
        .fold(about.to_owned(), |about, unit| about.replace(unit, ""))
}

/// `hoof_care` is the type `HoofCare`.
fn camel(code: &str) -> String {
    code.split('_')
        .flat_map(|word| {
            let mut letters = word.chars();
            letters
                .next()
                .map(|first| first.to_ascii_uppercase())
                .into_iter()
                .chain(letters)
        })
        .collect()
}

#[cfg(test)]
mod tests;
