//! `whorl rules`: the rules in force, where each comes from, and how well it is confirmed.

use std::collections::BTreeMap;

use whorl_care::rules::{Listed, Mark};

use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;

/// List the rules in force, what each rests on, and how well it is confirmed
///
/// Without a subject it counts them. An operator's folder (--rules-dir, or the environment's `WHORL_RULES`) adds rules or replaces them.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The subject, such as weight, dewormers or entry
    subject: Option<String>,
}

impl Args {
    /// Lists.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such subject, or if a file of the operator's is wrong.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let listed = rules.listed();
        let Some(subject) = &self.subject else {
            return desk.show(&listed, || subjects(listed));
        };
        let of_subject: Vec<&Listed> = listed
            .iter()
            .filter(|rule| rule.subject == *subject)
            .collect();
        if of_subject.is_empty() {
            let mut known: Vec<&str> = listed.iter().map(|rule| rule.subject.as_str()).collect();
            known.dedup();
            return Err(Failure::input(format!(
                "there are no rules about `{subject}`; there are {}",
                known.join(", ")
            )));
        }
        desk.show(&of_subject, || {
            let rows = of_subject.iter().map(|rule| {
                vec![
                    rule.id.clone(),
                    mark(rule.mark).to_owned(),
                    rule.edition.clone(),
                    rule.file.clone(),
                    rule.citation.clone(),
                ]
            });
            Sheet::new().table(
                &["rule", "confirmed", "edition", "from", "rests on"],
                rows,
                "",
            )
        })
    }
}

/// How well a rule is confirmed, in words.
fn mark(mark: Mark) -> &'static str {
    mark.caution().unwrap_or("read in the source")
}

fn subjects(listed: &[Listed]) -> Sheet {
    let mut counts: BTreeMap<&str, (usize, usize, usize)> = BTreeMap::new();
    for rule in listed {
        let (all, unread, theirs) = counts.entry(&rule.subject).or_default();
        *all += 1;
        *unread += usize::from(rule.mark != Mark::Read);
        *theirs += usize::from(rule.file != "built in");
    }
    let rows = counts.into_iter().map(|(subject, (all, unread, theirs))| {
        vec![
            subject.to_owned(),
            all.to_string(),
            unread.to_string(),
            theirs.to_string(),
        ]
    });
    Sheet::new()
        .table(
            &[
                "subject",
                "rules",
                "not read in a source",
                "of the operator",
            ],
            rows,
            "There are no rules.",
        )
        .line("`whorl rules SUBJECT` lists them with their sources.")
}
