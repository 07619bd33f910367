//! An empty sheet of a kind, to be filled in.

use std::fmt::Write as _;

use whorl_care::kind::Kind;

use crate::failure::Failure;
use crate::form::{Field, Fields, Form, Shape};
use crate::spreadsheet::tame;

/// The heading of a table for a kind, and a line for each horse.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn csv(kind: Kind, horses: &[String]) -> Result<Vec<u8>, Failure> {
    let mut columns: Vec<String> = ["kind", "horse", "at"].map(str::to_owned).to_vec();
    columns.extend(details(kind));
    columns.extend(["note", "performed_by", "licence", "transcribed", "photos"].map(str::to_owned));
    let failed = |error: csv::Error| Failure::Device(error.to_string());
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(&columns).map_err(failed)?;
    for horse in horses {
        let mut row = vec![String::new(); columns.len()];
        for (cell, text) in row.iter_mut().zip([kind.code(), horse]) {
            *cell = tame(text);
        }
        writer.write_record(&row).map_err(failed)?;
    }
    writer
        .into_inner()
        .map_err(|error| Failure::Device(error.to_string()))
}

/// The columns of a kind's details: by their short names, and foot by foot.
fn details(kind: Kind) -> Vec<String> {
    let fields = Form::of(kind).fields().iter();
    fields
        .flat_map(|field| match &field.shape {
            Shape::Each(keys, inner) => match inner.as_ref() {
                Shape::Group(inner) => keys.iter().flat_map(|key| foot(key, inner)).collect(),
                _ => vec![field.short.clone()],
            },
            _ => vec![field.short.clone()],
        })
        .collect()
}

/// The columns of one foot: the toe after the work, what was found, what was done, the shoe.
fn foot(key: &str, fields: &Fields) -> Vec<String> {
    let measures = fields.named("after").map(|after| &after.shape);
    let toe = match measures {
        Some(Shape::Group(measures)) => {
            let names = ["toe_length_mm", "toe_angle_deg"];
            let fields = names.iter().filter_map(|name| measures.named(name));
            fields
                .map(|field| format!("{key}.{}", field.short))
                .collect()
        }
        _ => Vec::new(),
    };
    let rest = fields
        .all()
        .iter()
        .filter(|field| !matches!(field.name.as_str(), "before" | "after"));
    let rest = rest.map(|field| format!("{key}.{}", field.short));
    toe.into_iter().chain(rest).collect()
}

/// A sheet as TOML, each field with its meaning and left out until its mark is taken away.
#[must_use]
pub fn toml(kind: Kind, horses: &[String]) -> String {
    let form = Form::of(kind);
    let mut text = format!(
        "# {}.\n# Take the # away from what you fill in. A day's horses are as many [[entry]] parts.\n\
         kind = \"{}\"\n# day = \"yyyy-mm-dd\"\n",
        form.about, kind
    );
    let one = [String::new()];
    let horses = if horses.is_empty() { &one[..] } else { horses };
    for horse in horses {
        let horse = serde_json::Value::from(horse.as_str());
        // Writing to a String can't fail.
        let _ = write!(
            text,
            "\n[[entry]]\nhorse = {horse}\n# at = \"09:20\"\n# note = \"text\"\n"
        );
        // A key after a table would belong to it: what is simple comes first.
        let (tables, simple): (Vec<&Field>, Vec<&Field>) = form
            .fields()
            .iter()
            .partition(|field| is_table(&field.shape));
        for field in simple {
            let _ = writeln!(
                text,
                "# {} = \"{}\"   # {}",
                field.short, field.hint, field.about
            );
        }
        for field in tables {
            table(&mut text, &format!("entry.{}", field.name), &field.shape);
        }
    }
    text
}

fn is_table(shape: &Shape) -> bool {
    match shape {
        Shape::Each(_, inner) => matches!(inner.as_ref(), Shape::Group(_)),
        Shape::Group(_) => true,
        _ => false,
    }
}

fn table(text: &mut String, path: &str, shape: &Shape) {
    match shape {
        Shape::Each(keys, inner) => {
            for key in keys {
                table(text, &format!("{path}.{key}"), inner);
            }
        }
        Shape::Group(fields) => {
            // Writing to a String can't fail.
            let _ = writeln!(text, "# [{path}]");
            for field in fields.all() {
                let hint = match &field.shape {
                    Shape::Group(inner) => inner
                        .all()
                        .first()
                        .map(|first| format!("{}={},…", first.short, first.hint)),
                    _ => None,
                };
                let hint = hint.unwrap_or_else(|| field.hint.clone());
                let _ = writeln!(text, "# {} = \"{hint}\"   # {}", field.short, field.about);
            }
        }
        _ => {}
    }
}
