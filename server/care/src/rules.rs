//! Rule packs: the facts of the trade as data, each row with its source, edition and mark.
//!
//! The built-in packs are the files of `rules/`; an operator's folder may add rows or replace them by `id`. The
//! engine does not read folders: the caller hands over the files' names and texts.

pub mod dental_programme;
pub mod egg_counts;
pub mod herd_health;
pub mod hoof_programme;
pub mod parasite_programme;
pub mod vaccination;
pub mod vector_season;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// How well a fact is confirmed. Kept with every rule and shown with every answer that rests on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Read in the named source.
    Read,
    /// What the trade does; no source states it.
    CommonPractice,
    /// Remembered, not read.
    FromMemory,
    /// Stated somewhere, not confirmed.
    Unconfirmed,
    /// Our own proposal.
    Proposal,
}

impl Mark {
    /// What must be said beside a figure that rests on it; nothing for what was read.
    #[must_use]
    pub const fn caution(self) -> Option<&'static str> {
        match self {
            Self::Read => None,
            Self::CommonPractice => Some("common practice, no source"),
            Self::FromMemory => Some("from memory, check before relying on it"),
            Self::Unconfirmed => Some("unconfirmed, check before relying on it"),
            Self::Proposal => Some("a proposal of ours, not a published rule"),
        }
    }
}

/// Where a pack's rows come from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Its short name within the packs.
    pub id: String,
    /// Author, year, title, and where in it.
    pub citation: String,
}

/// The head of a pack's file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Header {
    /// Which pack it is: the file's name without `.toml`.
    pub subject: String,
    /// The pack's own edition.
    pub edition: String,
}

/// One rule as `whorl rules` lists it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Listed {
    /// The pack it belongs to.
    pub subject: String,
    /// The rule's name.
    pub id: String,
    /// What it rests on.
    pub citation: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// The file in force for it: `built in`, or the operator's.
    pub file: String,
}

/// A pack that can't be used: which file, where in it, and why.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}: {reason}")]
pub struct WrongPack {
    /// The file's name.
    pub file: String,
    /// The line, from 1; 1 where the fault belongs to the whole file.
    pub line: usize,
    /// What is wrong.
    pub reason: String,
}

/// What every row of every pack says of itself.
pub trait Row {
    /// The rule's name, unique within its pack's table.
    fn id(&self) -> &str;
    /// The id of a `[[source]]` of the same pack.
    fn source(&self) -> &str;
    /// The edition of that source.
    fn edition(&self) -> &str;
    /// How well it is confirmed.
    fn mark(&self) -> Mark;
}

/// Writes [`Row`] for row types with the four fields `id`, `source`, `edition`, `mark`.
macro_rules! row {
    ($($name:ty),* $(,)?) => {$(
        impl $crate::rules::Row for $name {
            fn id(&self) -> &str { &self.id }
            fn source(&self) -> &str { &self.source }
            fn edition(&self) -> &str { &self.edition }
            fn mark(&self) -> $crate::rules::Mark { self.mark }
        }
    )*};
}
pub(crate) use row;

/// Reads a day as TOML writes it (`2024-01-01`), or as a text.
pub(crate) fn toml_day<'de, D: serde::Deserializer<'de>>(
    from: D,
) -> Result<Option<chrono::NaiveDate>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Written {
        Day(toml::value::Datetime),
        Text(String),
    }
    let text = match Option::<Written>::deserialize(from)? {
        None => return Ok(None),
        Some(Written::Day(day)) => day.to_string(),
        Some(Written::Text(text)) => text,
    };
    text.parse()
        .map(Some)
        .map_err(|_| serde::de::Error::custom(format!("`{text}` is not a day like 2024-01-01")))
}

/// Writes what every [`Pack`] does alike: its head, its sources, its rows for listing, and an operator's pack laid over it.
macro_rules! tables {
    ($head:ident, $sources:ident; $($table:ident),+ $(,)?) => {
        fn header(&self) -> &$crate::rules::Header {
            &self.$head
        }

        fn sources(&self) -> &[$crate::rules::Source] {
            &self.$sources
        }

        fn rows(&self) -> Vec<&dyn $crate::rules::Row> {
            let mut rows: Vec<&dyn $crate::rules::Row> = Vec::new();
            $(rows.extend(self.$table.iter().map(|row| row as &dyn $crate::rules::Row));)+
            rows
        }

        fn overlay(&mut self, theirs: Self) {
            $crate::rules::overlay_sources(&mut self.$sources, theirs.$sources);
            $($crate::rules::overlay(&mut self.$table, theirs.$table);)+
        }
    };
}
pub(crate) use tables;

/// Replaces rows of `ours` by those of `theirs` with the same id, and adds the rest.
pub fn overlay<R: Row>(ours: &mut Vec<R>, theirs: Vec<R>) {
    for row in theirs {
        match ours.iter_mut().find(|old| old.id() == row.id()) {
            Some(old) => *old = row,
            None => ours.push(row),
        }
    }
}

/// The same for sources: an operator's file may cite others, or a newer edition under the same id.
pub fn overlay_sources(ours: &mut Vec<Source>, theirs: Vec<Source>) {
    for source in theirs {
        match ours.iter_mut().find(|old| old.id == source.id) {
            Some(old) => *old = source,
            None => ours.push(source),
        }
    }
}

/// A subject's rules, read from one TOML file.
pub trait Pack: DeserializeOwned {
    /// The subject: the file's name without `.toml`.
    const SUBJECT: &'static str;
    /// The text of the built-in file.
    const BUILT_IN: &'static str;

    /// The file's head.
    fn header(&self) -> &Header;
    /// What the rows may name as their source.
    fn sources(&self) -> &[Source];
    /// Every row, for listing and for checks.
    fn rows(&self) -> Vec<&dyn Row>;
    /// Lays an operator's pack over this one: same id replaces, new id adds.
    fn overlay(&mut self, theirs: Self);
    /// What the types can't express: ranges that cross, values that contradict each other.
    ///
    /// # Errors
    ///
    /// The id of the row at fault and the reason.
    fn check(&self) -> Result<(), (String, String)> {
        Ok(())
    }
    /// What only shows once an operator's pack lies over the built-in one: rows that name others, rows that must be there.
    ///
    /// # Errors
    ///
    /// The id of the row at fault and the reason.
    fn check_whole(&self) -> Result<(), (String, String)> {
        Ok(())
    }
}

/// A row at fault, on its line.
fn wrong_row(file: &str, text: &str, id: &str, reason: &str) -> WrongPack {
    let line = text
        .find(&format!("id = \"{id}\""))
        .map_or(1, |offset| line_of(text, offset));
    WrongPack {
        file: file.to_owned(),
        line,
        reason: format!("rule `{id}`: {reason}"),
    }
}

/// The line (from 1) on which a byte offset of `text` lies.
fn line_of(text: &str, offset: usize) -> usize {
    text.as_bytes()
        .iter()
        .take(offset)
        .filter(|byte| **byte == b'\n')
        .count()
        + 1
}

/// Reads one pack's file and checks it.
///
/// # Errors
///
/// [`WrongPack`] with the line: not TOML, an unknown field, a wrong subject, a row whose source is not listed.
pub fn parse<P: Pack>(file: &str, text: &str) -> Result<P, WrongPack> {
    let wrong = |line, reason: String| WrongPack {
        file: file.to_owned(),
        line,
        reason,
    };
    let pack: P = toml::from_str(text).map_err(|error| {
        let line = error.span().map_or(1, |span| line_of(text, span.start));
        wrong(line, error.message().to_owned())
    })?;
    if pack.header().subject != P::SUBJECT {
        let reason = format!(
            "subject is `{}`, expected `{}`",
            pack.header().subject,
            P::SUBJECT
        );
        return Err(wrong(1, reason));
    }
    for row in pack.rows() {
        if !pack
            .sources()
            .iter()
            .any(|source| source.id == row.source())
        {
            let reason = format!(
                "it names the source `{}`, which the file doesn't list",
                row.source()
            );
            return Err(wrong_row(file, text, row.id(), &reason));
        }
    }
    pack.check()
        .map_err(|(id, reason)| wrong_row(file, text, &id, &reason))?;
    Ok(pack)
}

/// Declares every pack of the engine, once: the field that holds it and its type.
macro_rules! packs {
    ($($(#[$doc:meta])* $field:ident: $pack:ty,)*) => {
        /// All rules in force.
        #[derive(Clone, Debug)]
        pub struct Rules {
            $($(#[$doc])* pub $field: $pack,)*
            listed: Vec<Listed>,
        }

        impl Rules {
            /// The built-in packs alone.
            ///
            /// # Errors
            ///
            /// [`WrongPack`] if a built-in file is at fault; a test holds that none is.
            pub fn built_in() -> Result<Self, WrongPack> {
                Self::with(&[])
            }

            /// The built-in packs with an operator's files (name and text) laid over them, in the given order.
            ///
            /// # Errors
            ///
            /// [`WrongPack`] for the first file at fault, with the line and the reason.
            pub fn with(files: &[(String, String)]) -> Result<Self, WrongPack> {
                let mut listed = Vec::new();
                $(
                    let $field = {
                        let mut pack: $pack = parse(concat!(stringify!($field), " (built in)"), <$pack>::BUILT_IN)?;
                        pack.check_whole().map_err(|(id, reason)| {
                            wrong_row("built in", <$pack>::BUILT_IN, &id, &reason)
                        })?;
                        list(&pack, "built in", &mut listed);
                        for (file, text) in files {
                            if subject_of(file, text)? == <$pack>::SUBJECT {
                                let theirs: $pack = parse(file, text)?;
                                list(&theirs, file, &mut listed);
                                pack.overlay(theirs);
                                pack.check().and_then(|()| pack.check_whole()).map_err(
                                    |(id, reason)| wrong_row(file, text, &id, &reason),
                                )?;
                                // A row that went with the row it belonged to is no longer in force.
                                let ids: Vec<&str> = pack.rows().iter().map(|row| row.id()).collect();
                                listed.retain(|one| {
                                    one.subject != <$pack>::SUBJECT || ids.contains(&one.id.as_str())
                                });
                            }
                        }
                        pack
                    };
                )*
                let known = [$(<$pack>::SUBJECT,)*];
                for (file, text) in files {
                    let subject = subject_of(file, text)?;
                    if !known.contains(&subject.as_str()) {
                        let reason = format!("there is no pack `{subject}`; known are {}", known.join(", "));
                        return Err(WrongPack { file: file.clone(), line: 1, reason });
                    }
                }
                Ok(Self { $($field,)* listed })
            }

            /// Every rule in force and where it comes from.
            #[must_use]
            pub fn listed(&self) -> &[Listed] {
                &self.listed
            }
        }
    };
}

/// The subject that a file's head names.
fn subject_of(file: &str, text: &str) -> Result<String, WrongPack> {
    #[derive(Deserialize)]
    struct Head {
        pack: Header,
    }
    toml::from_str::<Head>(text)
        .map(|head| head.pack.subject)
        .map_err(|error| WrongPack {
            file: file.to_owned(),
            line: error.span().map_or(1, |span| line_of(text, span.start)),
            reason: error.message().to_owned(),
        })
}

/// Adds a pack's rules to the list; a rule of the same subject and id takes the earlier one's place.
fn list<P: Pack>(pack: &P, file: &str, listed: &mut Vec<Listed>) {
    for row in pack.rows() {
        let citation = pack
            .sources()
            .iter()
            .find(|source| source.id == row.source());
        let entry = Listed {
            subject: P::SUBJECT.to_owned(),
            id: row.id().to_owned(),
            citation: citation.map_or_else(String::new, |source| source.citation.clone()),
            edition: row.edition().to_owned(),
            mark: row.mark(),
            file: file.to_owned(),
        };
        match listed
            .iter_mut()
            .find(|old| old.subject == entry.subject && old.id == entry.id)
        {
            Some(old) => *old = entry,
            None => listed.push(entry),
        }
    }
}

packs! {
    /// Growth curves, ages, gestation.
    growth: crate::figure::growth::pack::Growth,
    /// Balance and growth of feet, intervals.
    hoof: crate::figure::hoof::pack::Hooves,
    /// What may be found on a foot, its urgency, and what must reach the vet.
    hoof_findings: crate::figure::hoof::findings::Pack,
    /// Shedder bands, ways of counting, thresholds of reduction tests.
    egg_counts: crate::rules::egg_counts::EggCounts,
    /// Fever, contagious diseases, contacts, look-backs.
    herd_health: crate::rules::herd_health::HerdHealth,
    /// What is possible for a horse.
    limits: crate::limits::Limits,
    /// Formulas that estimate a weight.
    weight: crate::figure::weight::pack::Formulas,
    /// Who may record what.
    policy: crate::policy::Policy,
    /// Dewormers: actives, doses, ages, products.
    dewormers: crate::figure::dose::pack::Dewormers,
    /// Rule sets for entering a show, a race or a state.
    entry: crate::figure::entry::rule_set::EntryPack,
    /// What the prefixes of transponder numbers stand for.
    microchip: crate::microchip::MicrochipPack,
    /// Which vaccines, first courses, boosters, doses of a pregnancy.
    vaccination: crate::rules::vaccination::Vaccination,
    /// When mosquitoes that carry disease fly.
    vector_season: crate::rules::vector_season::VectorSeason,
    /// When to worm, count, test and weigh.
    parasite_programme: crate::rules::parasite_programme::ParasiteProgramme,
    /// When the feet are due.
    hoof_programme: crate::rules::hoof_programme::HoofProgramme,
    /// When the teeth are due.
    dental_programme: crate::rules::dental_programme::DentalProgramme,
}
