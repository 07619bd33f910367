//! The flags of each kind, made from its form.

use std::path::PathBuf;

use clap::builder::{PossibleValue, PossibleValuesParser};
use clap::{Arg, ArgAction, ArgMatches, Args, Command, FromArgMatches, Subcommand};
use whorl_care::kind::Kind;
use whorl_care::sentence;

use super::feet;
use crate::form::{Field, Form, Shape};
use crate::jotting::Beside;

/// What somebody typed.
#[derive(Clone, Debug)]
pub(super) struct Typed {
    pub(super) kind: Kind,
    pub(super) horse: String,
    /// The fields that were given, in the order in which they are filled in.
    pub(super) given: Vec<Given>,
    /// How all feet were measured.
    pub(super) measured_by: Option<String>,
    /// A file that holds the details.
    pub(super) file: Option<PathBuf>,
    pub(super) beside: Beside,
}

/// A field that was given.
#[derive(Clone, Debug)]
pub(super) struct Given {
    /// The flag as it was typed.
    pub(super) flag: String,
    /// The field's path.
    pub(super) path: String,
    /// Its value.
    pub(super) text: String,
}

/// A word that may follow `record`: a kind, or a farrier's service.
struct Verb {
    name: &'static str,
    kind: Kind,
    /// The field that the word itself fills in.
    preset: Option<&'static str>,
}

const PRESET: &str = "service";

fn verbs() -> impl Iterator<Item = Verb> {
    let kinds = Kind::ALL.iter().filter(|kind| !kind.is_about_another());
    let kinds = kinds.map(|kind| Verb {
        name: &Form::of(*kind).verb,
        kind: *kind,
        preset: None,
    });
    let services = Form::of(Kind::HoofCare)
        .fields()
        .iter()
        .filter(|field| field.name == PRESET)
        .flat_map(|field| field.shape.codes());
    let services = services.map(|service| Verb {
        name: &service.code,
        kind: Kind::HoofCare,
        preset: Some(&service.code),
    });
    services.chain(kinds)
}

impl Subcommand for Typed {
    fn augment_subcommands(command: Command) -> Command {
        command.subcommands(verbs().map(|verb| verb.command()))
    }

    fn augment_subcommands_for_update(command: Command) -> Command {
        Self::augment_subcommands(command)
    }

    fn has_subcommand(name: &str) -> bool {
        verbs().any(|verb| verb.name == name || verb.kind.code() == name)
    }
}

impl FromArgMatches for Typed {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let wrong = |kind| Err(clap::Error::new(kind));
        let Some((name, matches)) = matches.subcommand() else {
            return wrong(clap::error::ErrorKind::MissingSubcommand);
        };
        match verbs().find(|verb| verb.name == name) {
            Some(verb) => verb.read(matches),
            None => wrong(clap::error::ErrorKind::InvalidSubcommand),
        }
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Verb {
    fn fields(&self) -> impl Iterator<Item = &'static Field> {
        let preset = self.preset.is_some();
        let fields = Form::of(self.kind).fields().iter();
        fields.filter(move |field| !(preset && field.name == PRESET))
    }

    fn command(&self) -> Command {
        let form = Form::of(self.kind);
        let about = self.preset.map_or_else(
            || form.about.clone(),
            |service| {
                let codes = Form::of(Kind::HoofCare).fields().iter();
                let mut codes = codes.flat_map(|field| field.shape.codes());
                let about = codes
                    .find(|code| code.code == service)
                    .map(|code| &code.about);
                about.map_or_else(|| form.about.clone(), |about| format!("Farrier: {about}"))
            },
        );
        let mut command = Command::new(self.name).arg(
            Arg::new("HORSE")
                .required(true)
                .help("The horse: its name, its id or its microchip"),
        );
        if self.preset.is_none() && self.kind.code() != self.name {
            command = command.alias(self.kind.code());
        }
        for field in self.fields() {
            command = command.args(flags(field));
        }
        if feet::has(self.kind) {
            command = command.args(feet::flags(self.kind));
        }
        let command = command
            .arg(
                Arg::new("SET")
                    .long("set")
                    .value_name("FIELD=VALUE")
                    .action(ArgAction::Append)
                    .help(
                        "Any field by its path, such as lot_number or feet.LF.after.toe_length_mm",
                    ),
            )
            .arg(
                Arg::new("DETAILS")
                    .long("details")
                    .value_name("FILE.json")
                    .value_parser(clap::value_parser!(PathBuf))
                    .help("A JSON file with the details"),
            );
        // The flags for every kind bring a description of their own.
        Beside::augment_args(command)
            .about(sentence::capital(&about))
            .long_about(None)
    }

    fn read(&self, matches: &ArgMatches) -> Result<Typed, clap::Error> {
        let mut given = Vec::new();
        given.extend(self.preset.map(|service| Given {
            flag: self.name.to_owned(),
            path: PRESET.to_owned(),
            text: service.to_owned(),
        }));
        for field in self.fields() {
            given.extend(read(field, matches));
        }
        let mut measured_by = None;
        if feet::has(self.kind) {
            given.extend(feet::read(self.kind, matches)?);
            measured_by = feet::method(self.kind, matches);
        }
        for pair in matches.get_many::<String>("SET").into_iter().flatten() {
            let (path, text) = pair
                .split_once('=')
                .ok_or_else(|| wrong(format!("--set {pair}: write it as FIELD=VALUE")))?;
            given.push(Given {
                flag: format!("--set {path}"),
                path: path.to_owned(),
                text: text.to_owned(),
            });
        }
        Ok(Typed {
            kind: self.kind,
            horse: matches
                .get_one::<String>("HORSE")
                .cloned()
                .unwrap_or_default(),
            given,
            measured_by,
            file: matches.get_one::<PathBuf>("DETAILS").cloned(),
            beside: Beside::from_arg_matches(matches)?,
        })
    }
}

/// A fault of the command line, in words.
pub(super) fn wrong(text: String) -> clap::Error {
    clap::Error::raw(clap::error::ErrorKind::ValueValidation, text + "\n")
}

/// The flags of a field: by its short name with the unit in the value, and hidden ones by the names that say the unit.
pub(super) fn flags(field: &'static Field) -> Vec<Arg> {
    let mut visible = Arg::new(field.flag.as_str())
        .long(field.flag.as_str())
        .value_name(field.hint.as_str())
        .help(field.about.clone())
        .aliases(field.aliases.iter().map(String::as_str));
    visible = match &field.shape {
        // Feet have flags of their own.
        Shape::Group(_) => return Vec::new(),
        Shape::Each(_, inner) if matches!(inner.as_ref(), Shape::Group(_)) => return Vec::new(),
        Shape::YesNo => visible
            .num_args(0..=1)
            .require_equals(true)
            .default_missing_value("yes"),
        Shape::List(_) => {
            let visible = visible.action(ArgAction::Append);
            match codes(&field.shape) {
                Some(parser) => visible
                    .value_delimiter(',')
                    .ignore_case(true)
                    .value_parser(parser),
                None => visible,
            }
        }
        Shape::Each(..) => visible.action(ArgAction::Append),
        Shape::Code(_) => match codes(&field.shape) {
            Some(parser) => visible.ignore_case(true).value_parser(parser),
            None => visible,
        },
        _ => visible.allow_hyphen_values(matches!(field.shape, Shape::Number | Shape::Whole)),
    };
    let named = field.named.iter().map(|(flag, _)| {
        Arg::new(flag.as_str())
            .long(flag.as_str())
            .hide(true)
            .allow_hyphen_values(true)
    });
    std::iter::once(visible).chain(named).collect()
}

/// What was given for a field.
pub(super) fn read(field: &'static Field, matches: &ArgMatches) -> Vec<Given> {
    if matches.try_contains_id(&field.flag).is_err() {
        return Vec::new();
    }
    let separator = match &field.shape {
        Shape::List(inner) if !matches!(inner.as_ref(), Shape::Code(_)) => ";",
        _ => ",",
    };
    let texts = |id: &str| -> Option<String> {
        let values = matches.get_many::<String>(id)?;
        Some(
            values
                .map(String::as_str)
                .collect::<Vec<_>>()
                .join(separator),
        )
    };
    let visible = texts(&field.flag).map(|text| (field.flag.clone(), field.short.clone(), text));
    let named = field
        .named
        .iter()
        .filter_map(|(flag, name)| Some((flag.clone(), name.clone(), texts(flag)?)));
    visible
        .into_iter()
        .chain(named)
        .map(|(flag, path, text)| Given {
            flag: format!("--{flag}"),
            path,
            text,
        })
        .collect()
}

/// A parser for codes, which tells shells what there is.
fn codes(shape: &'static Shape) -> Option<impl clap::builder::TypedValueParser<Value = String>> {
    let codes = shape.codes();
    let values = codes
        .iter()
        .map(|code| PossibleValue::new(code.code.as_str()).help(code.about.as_str()));
    (!codes.is_empty()).then(|| PossibleValuesParser::new(values))
}
