//! The rule pack `dewormers`.

use serde::Deserialize;

use crate::rules::{Header, Pack, Row, Source, overlay};

use super::fact::{ActiveRow, Dose, DrugClass, Form, Saying, Youngest};
use super::limit::Limit;

/// The pack `dewormers`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dewormers {
    pack: Header,
    #[serde(default)]
    source: Vec<Source>,
    /// Chemical classes.
    #[serde(default)]
    pub class: Vec<DrugClass>,
    /// Active substances.
    #[serde(default)]
    pub active: Vec<ActiveRow>,
    /// Label doses.
    #[serde(default)]
    pub dose: Vec<Dose>,
    /// Youngest ages.
    #[serde(default)]
    pub youngest: Vec<Youngest>,
    /// Products.
    #[serde(default)]
    pub form: Vec<Form>,
    /// What is said with every dose.
    #[serde(default)]
    pub saying: Vec<Saying>,
    /// Numbers that the checks go by.
    #[serde(default)]
    pub limit: Vec<Limit>,
}

impl Dewormers {
    /// The source of this name.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.source.iter().find(|source| source.id == id)
    }

    /// The active of this code.
    #[must_use]
    pub fn active(&self, id: &str) -> Option<&ActiveRow> {
        self.active.iter().find(|row| row.id == id)
    }

    /// The class of this code.
    #[must_use]
    pub fn class(&self, id: &str) -> Option<&DrugClass> {
        self.class.iter().find(|row| row.id == id)
    }

    /// The product of this code.
    #[must_use]
    pub fn form(&self, id: &str) -> Option<&Form> {
        self.form.iter().find(|row| row.id == id)
    }
}

impl Pack for Dewormers {
    const SUBJECT: &'static str = "dewormers";
    const BUILT_IN: &'static str = include_str!("../../../rules/dewormers.toml");

    fn header(&self) -> &Header {
        &self.pack
    }

    fn sources(&self) -> &[Source] {
        &self.source
    }

    fn rows(&self) -> Vec<&dyn Row> {
        fn rows<R: Row>(of: &[R]) -> impl Iterator<Item = &dyn Row> {
            of.iter().map(|row| row as &dyn Row)
        }
        rows(&self.class)
            .chain(rows(&self.active))
            .chain(rows(&self.dose))
            .chain(rows(&self.youngest))
            .chain(rows(&self.form))
            .chain(rows(&self.saying))
            .chain(rows(&self.limit))
            .collect()
    }

    fn overlay(&mut self, theirs: Self) {
        for source in theirs.source {
            match self.source.iter_mut().find(|ours| ours.id == source.id) {
                Some(ours) => *ours = source,
                None => self.source.push(source),
            }
        }
        overlay(&mut self.class, theirs.class);
        overlay(&mut self.active, theirs.active);
        overlay(&mut self.dose, theirs.dose);
        overlay(&mut self.youngest, theirs.youngest);
        overlay(&mut self.form, theirs.form);
        overlay(&mut self.saying, theirs.saying);
        overlay(&mut self.limit, theirs.limit);
    }

    fn check(&self) -> Result<(), (String, String)> {
        super::sound::each(self)
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        super::sound::whole(self)
    }
}
