//! The rule pack `dewormers`.

use serde::Deserialize;

use crate::rules::{Header, Pack, Source, tables};

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

    tables!(pack, source; class, active, dose, youngest, form, saying, limit);

    fn check(&self) -> Result<(), (String, String)> {
        super::sound::each(self)
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        super::sound::whole(self)
    }
}
