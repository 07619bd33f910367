//! The short flags for feet: `--after LF:toe=84mm,angle=53`, `--finding LF:thrush:2`.

use std::collections::BTreeMap;

use clap::{Arg, ArgAction, ArgMatches};
use serde_json::{Map, Value};
use whorl_care::kind::Kind;

use super::flags::{self, Given, wrong};
use crate::form::{Field, Fields, Form, Shape};

const FORES: &[&str] = &["LF", "RF"];
const HINDS: &[&str] = &["LH", "RH"];
const ALL: &[&str] = &["LF", "RF", "LH", "RH"];

/// Whether a kind is about feet.
pub(super) fn has(kind: Kind) -> bool {
    inner(kind).is_some()
}

/// The fields of one foot.
fn inner(kind: Kind) -> Option<&'static Fields> {
    let feet = Form::of(kind)
        .fields()
        .iter()
        .find(|field| field.name == "feet")?;
    match &feet.shape {
        Shape::Each(_, inner) => match inner.as_ref() {
            Shape::Group(fields) => Some(fields),
            _ => None,
        },
        _ => None,
    }
}

/// The measures that a foot may have, for kinds that measure.
fn measures(kind: Kind) -> &'static [Field] {
    let after = inner(kind).and_then(|fields| fields.named("after"));
    match after.map(|field| &field.shape) {
        Some(Shape::Group(fields)) => fields.all(),
        _ => &[],
    }
}

/// The flags.
pub(super) fn flags(kind: Kind) -> Vec<Arg> {
    let flag = |id: &'static str, value: &'static str, help: &'static str| {
        Arg::new(id)
            .long(id)
            .value_name(value)
            .action(ArgAction::Append)
            .help(help)
            .help_heading("Feet (LF, RF, LH, RH, fores, hinds, all; several as LF+RF)")
    };
    let mut flags = vec![
        flag("feet", "FEET", "Feet of which there is nothing more to say"),
        flag(
            "finding",
            "FOOT:FINDING[:SEVERITY[:REGION[:NOTE]]]",
            "What was found, such as LF:thrush:2 (severity 0 none to 4 an emergency)",
        ),
    ];
    if measures(kind).is_empty() {
        return flags;
    }
    flags.extend([
        flag(
            "before",
            "FOOT:NAME=VALUE,…",
            "Measures before the work, such as LF:toe=92mm,angle=50",
        ),
        flag("after", "FOOT:NAME=VALUE,…", "Measures after the work"),
        flag("work", "FOOT:TEXT", "What was done to a foot"),
        flag(
            "shoe",
            "FOOT:NAME=VALUE,…",
            "The shoe it wears now, such as fores:type=plain,size=2,nails=6",
        ),
        flag(
            "foot",
            "FOOT",
            "The foot that the measures below were taken on, after the work",
        )
        .action(ArgAction::Set),
    ]);
    for field in measures(kind) {
        for arg in flags::flags(field) {
            let is_method = field.name == "method";
            let arg = arg.help_heading("Measures of --foot");
            flags.push(if is_method {
                arg.help("How the feet were measured, wherever a measure doesn't say")
            } else {
                arg.requires("foot")
            });
        }
    }
    flags
}

/// What was given for feet.
pub(super) fn read(kind: Kind, matches: &ArgMatches) -> Result<Vec<Given>, clap::Error> {
    let mut given = Vec::new();
    let mut add = |flag: &str, path: String, text: &str| {
        given.push(Given {
            flag: format!("--{flag}"),
            path,
            text: text.to_owned(),
        });
    };
    for text in texts(matches, "feet") {
        for foot in feet(text).ok_or_else(|| no_foot("feet", text))? {
            add("feet", "feet".to_owned(), foot);
        }
    }
    for (flag, field) in [("before", "before"), ("after", "after"), ("shoe", "shoe")] {
        for text in texts(matches, flag) {
            let (feet, rest) = of_feet(flag, text)?;
            for foot in feet {
                add(flag, format!("feet.{foot}.{field}"), rest);
            }
        }
    }
    for (flag, field) in [("finding", "findings"), ("work", "work")] {
        let mut lists: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for text in texts(matches, flag) {
            let (feet, rest) = of_feet(flag, text)?;
            for foot in feet {
                lists.entry(foot).or_default().push(rest);
            }
        }
        for (foot, list) in lists {
            add(flag, format!("feet.{foot}.{field}"), &list.join(";"));
        }
    }
    if let Some(text) = texts(matches, "foot").next() {
        let feet = feet(text).ok_or_else(|| no_foot("foot", text))?;
        let values: Vec<Given> = measures(kind)
            .iter()
            .filter(|field| field.name != "method")
            .flat_map(|field| flags::read(field, matches))
            .collect();
        if values.is_empty() {
            return Err(wrong(format!(
                "--foot {text}: say what was measured, such as --toe 84mm"
            )));
        }
        for foot in feet {
            given.extend(values.iter().map(|value| Given {
                path: format!("feet.{foot}.after.{}", value.path),
                ..value.clone()
            }));
        }
    }
    Ok(given)
}

/// How all feet were measured.
pub(super) fn method(kind: Kind, matches: &ArgMatches) -> Option<String> {
    measures(kind)
        .iter()
        .find(|field| field.name == "method")
        .and_then(|field| flags::read(field, matches).pop())
        .map(|given| given.text)
}

/// Lets every measure that doesn't say how it was taken say so.
pub(super) fn measured_by(details: &mut Map<String, Value>, method: &str) {
    let feet = details.get_mut("feet").and_then(Value::as_object_mut);
    for foot in feet.into_iter().flat_map(Map::values_mut) {
        for when in ["before", "after"] {
            if let Some(measures) = foot.get_mut(when).and_then(Value::as_object_mut) {
                measures.entry("method").or_insert_with(|| method.into());
            }
        }
    }
}

fn texts<'m>(matches: &'m ArgMatches, flag: &str) -> impl Iterator<Item = &'m str> {
    let values = matches.try_get_many::<String>(flag).ok().flatten();
    values.into_iter().flatten().map(String::as_str)
}

/// The feet that a text begins with, and the rest.
fn of_feet<'t>(flag: &str, text: &'t str) -> Result<(Vec<&'static str>, &'t str), clap::Error> {
    let (feet_named, rest) = text.split_once(':').unwrap_or((text, ""));
    let feet = feet(feet_named).ok_or_else(|| no_foot(flag, text))?;
    Ok((feet, rest.trim()))
}

fn no_foot(flag: &str, text: &str) -> clap::Error {
    wrong(format!(
        "--{flag} {text}: begin with the foot: LF, RF, LH, RH, fores, hinds or all"
    ))
}

fn feet(text: &str) -> Option<Vec<&'static str>> {
    let mut feet = Vec::new();
    for name in text.split(['+', ',']) {
        let name = name.trim().to_lowercase();
        let named = match name.as_str() {
            "all" => ALL,
            "fores" => FORES,
            "hinds" => HINDS,
            one => {
                let place = ALL.iter().position(|foot| foot.eq_ignore_ascii_case(one))?;
                ALL.get(place..=place)?
            }
        };
        feet.extend(
            named
                .iter()
                .filter(|foot| !feet.contains(*foot))
                .collect::<Vec<_>>(),
        );
    }
    Some(feet)
}
