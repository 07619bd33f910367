//! The pack `entry`: reading it, and checking what its types can't express.

use serde::Deserialize;

use super::{Asks, Clause, Place, RuleSet};
use crate::rules::{Header, Pack, Row, Source, overlay, overlay_sources};

/// The rule sets in force.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryPack {
    pack: Header,
    #[serde(rename = "source")]
    sources: Vec<Source>,
    #[serde(rename = "rule_set")]
    rule_sets: Vec<RuleSet>,
}

impl EntryPack {
    /// The rule set of that id.
    #[must_use]
    pub fn rule_set(&self, id: &str) -> Option<&RuleSet> {
        self.rule_sets.iter().find(|set| set.id == id)
    }

    /// All of them.
    #[must_use]
    pub fn rule_sets(&self) -> &[RuleSet] {
        &self.rule_sets
    }

    /// The source of that id.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }
}

impl Pack for EntryPack {
    const SUBJECT: &'static str = "entry";
    const BUILT_IN: &'static str = include_str!("../../../../rules/entry.toml");

    fn header(&self) -> &Header {
        &self.pack
    }

    fn sources(&self) -> &[Source] {
        &self.sources
    }

    fn rows(&self) -> Vec<&dyn Row> {
        self.rule_sets
            .iter()
            .flat_map(|set| {
                let clauses = set.clauses.iter().map(|clause| clause as &dyn Row);
                std::iter::once(set as &dyn Row).chain(clauses)
            })
            .collect()
    }

    fn overlay(&mut self, theirs: Self) {
        overlay_sources(&mut self.sources, theirs.sources);
        overlay(&mut self.rule_sets, theirs.rule_sets);
    }

    fn check(&self) -> Result<(), (String, String)> {
        for (n, set) in self.rule_sets.iter().enumerate() {
            let wrong = |reason: &str| Err((set.id.clone(), reason.to_owned()));
            if self.rule_sets[..n].iter().any(|other| other.id == set.id) {
                return wrong("is there twice");
            }
            if set.clauses.is_empty() {
                return wrong("has no clause, so every horse would meet it");
            }
            for (m, clause) in set.clauses.iter().enumerate() {
                if set.clauses[..m].iter().any(|other| other.id == clause.id) {
                    return wrong("has two clauses of the same id");
                }
                self.check_clause(set, clause)
                    .map_err(|reason| (clause.id.clone(), reason))?;
            }
        }
        Ok(())
    }
}

impl EntryPack {
    fn check_clause(&self, set: &RuleSet, clause: &Clause) -> Result<(), String> {
        let listed = |source: &Option<String>| match source {
            Some(id) if self.source(id).is_none() => Err(format!("source `{id}` is not listed")),
            _ => Ok(()),
        };
        match &clause.asks {
            Asks::Course(course) => {
                for step in &course.steps {
                    listed(&step.source)?;
                    if let Some(until) = step.until
                        && until.rough_days() < step.from.rough_days()
                    {
                        return Err(format!("{}: `from` lies behind `until`", step.place));
                    }
                }
                for place in [Place::Second, Place::Third, Place::Booster] {
                    if !course.steps.iter().any(|step| step.place == place) {
                        return Err(format!("no step says when the {} may come", place.words()));
                    }
                }
                if set
                    .course(course.disease)
                    .is_some_and(|first| !std::ptr::eq(first, course))
                {
                    return Err("the set has another course for the same disease".to_owned());
                }
                Ok(())
            }
            Asks::Recent(recent) => {
                recent
                    .limits
                    .iter()
                    .try_for_each(|limit| listed(&limit.source))?;
                let last = recent.limits.last();
                if last.is_none_or(|limit| limit.arrives_from.or(limit.arrives_until).is_some()) {
                    return Err("the last limit must fit every arrival".to_owned());
                }
                Ok(())
            }
            Asks::StandDown(stand_down) => {
                if stand_down
                    .waits
                    .last()
                    .is_none_or(|wait| wait.after.is_some())
                {
                    return Err("the last wait must fit every dose".to_owned());
                }
                let by_place = stand_down.waits.iter().any(|wait| wait.after.is_some());
                if by_place && set.course(stand_down.disease).is_none() {
                    return Err("a wait after a certain dose needs a course in the set".to_owned());
                }
                Ok(())
            }
            Asks::Test(_) | Asks::Certificate(_) | Asks::Microchip(_) => Ok(()),
        }
    }
}
