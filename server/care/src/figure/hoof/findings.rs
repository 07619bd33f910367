//! What was found on a foot: how soon somebody must look at it, and what must reach the vet.

mod red_flag;

use serde::{Deserialize, Serialize};

use crate::kind::codes;
use crate::rules::{Header, Mark, Source, row, tables};

pub use red_flag::{FootSign, RedFlag, Seen};

codes! {
    /// How soon somebody must look at it; the most urgent comes first.
    Urgency {
        /// Phone the vet now and don't move the horse.
        Now = "U0",
        /// A vet the same day.
        SameDay = "U1",
        /// A vet within 24 to 48 hours.
        TwoDays = "U2",
        /// A plan by vet or farrier within one to two weeks.
        TwoWeeks = "U3",
        /// Note it; the next visit will do.
        NextVisit = "U4",
    }
}

impl Urgency {
    /// What to do, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Now => "phone the vet now and don't move the horse",
            Self::SameDay => "a vet must see it today",
            Self::TwoDays => "a vet must see it within two days",
            Self::TwoWeeks => "plan what to do with vet or farrier within two weeks",
            Self::NextVisit => "note it and look again at the next visit",
        }
    }
}

/// A severity: 0 none, 1 mild, 2 moderate, 3 marked, 4 an emergency.
pub type Severity = u8;

/// One kind of finding.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FindingRule {
    /// Its code.
    pub id: String,
    /// What is seen, in words.
    pub says: String,
    /// What severity 1, 2, 3 and 4 look like.
    pub hints: Option<[String; 4]>,
    /// How urgent it is at severity 1, 2, 3 and 4.
    urgency: [Urgency; 4],
    /// The mildest that it can be.
    #[serde(default)]
    least: Severity,
    /// The severity to judge by when none is given.
    unstated: Severity,
    /// From which severity on the vet must be told.
    red_flag_from: Option<Severity>,
    /// The severity by Obel grade 1 to 4, where it has one.
    obel: Option<[Severity; 4]>,
    /// What to do at once.
    pub do_first: Option<String>,
    /// Places on the foot where another urgency holds.
    #[serde(default)]
    places: Vec<Place>,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

/// Places on the foot where another urgency holds, told by words in the region that was written down.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Place {
    words: Vec<String>,
    #[serde(default)]
    but_not: Vec<String>,
    urgency: [Urgency; 4],
}

impl Place {
    fn is(&self, region: &str) -> bool {
        let region = region.to_lowercase();
        let says = |words: &[String]| words.iter().any(|word| region.contains(&**word));
        says(&self.words) && !says(&self.but_not)
    }
}

row!(FindingRule);

/// A finding judged.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Judged {
    /// Its code.
    pub finding: String,
    /// The severity it was judged by.
    pub severity: Severity,
    /// How soon somebody must look at it; nothing where it was looked for and not there.
    pub urgency: Option<Urgency>,
    /// Whether vet and owner must be told.
    pub red_flag: bool,
    /// What it is, how soon to act, and what to do at once.
    pub text: String,
}

/// The rule pack `hoof_findings`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pack {
    #[serde(rename = "pack")]
    head: Header,
    #[serde(rename = "source", default)]
    sources: Vec<Source>,
    #[serde(rename = "finding", default)]
    findings: Vec<FindingRule>,
    #[serde(rename = "red_flag", default)]
    red_flags: Vec<RedFlag>,
}

impl Pack {
    /// The finding of this code.
    #[must_use]
    pub fn find(&self, code: &str) -> Option<&FindingRule> {
        self.findings.iter().find(|finding| finding.id == code)
    }

    /// The code of every finding, in the order of the pack.
    pub fn codes(&self) -> impl Iterator<Item = &str> {
        self.findings.iter().map(|finding| &*finding.id)
    }

    /// The source of this name.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }

    /// Judges a finding by its severity and its place on the foot; `None` if there is no such code.
    ///
    /// A severity that is missing is taken as the row says, and one below the mildest that the finding can be as that:
    /// nobody's puncture is harmless.
    #[must_use]
    pub fn judge(
        &self,
        code: &str,
        severity: Option<Severity>,
        region: Option<&str>,
    ) -> Option<Judged> {
        let rule = self.find(code)?;
        let severity = severity.unwrap_or(rule.unstated).max(rule.least);
        let place = region.and_then(|region| rule.places.iter().find(|place| place.is(region)));
        let by_severity = place.map_or(&rule.urgency, |place| &place.urgency);
        let urgency = usize::from(severity)
            .checked_sub(1)
            .map(|index| by_severity[index.min(by_severity.len() - 1)]);
        let mut text = rule.says.clone();
        if let Some(urgency) = urgency {
            text = format!("{text} At severity {severity}: {}.", urgency.words());
            if let Some(first) = &rule.do_first {
                text = format!("{text} {first}");
            }
        }
        Some(Judged {
            finding: rule.id.clone(),
            severity,
            urgency,
            red_flag: rule.red_flag_from.is_some_and(|from| severity >= from),
            text,
        })
    }

    /// The severity that an Obel grade (1 to 4) gives a finding of this code.
    #[must_use]
    pub fn severity_of_obel(&self, code: &str, obel: u8) -> Option<Severity> {
        let index = usize::from(obel).checked_sub(1)?;
        self.find(code)?.obel?.get(index).copied()
    }

    /// The red flags that are up, whatever was found on the foot itself.
    #[must_use]
    pub fn red_flags(&self, seen: &Seen) -> Vec<&RedFlag> {
        self.red_flags
            .iter()
            .filter(|flag| flag.when.holds(seen))
            .collect()
    }

    /// Refuses a finding that contradicts itself.
    fn sound(rule: &FindingRule) -> Result<(), String> {
        let severities = [Some(rule.least), Some(rule.unstated), rule.red_flag_from];
        let by_obel = rule.obel.iter().flatten().copied();
        if severities
            .into_iter()
            .flatten()
            .chain(by_obel)
            .any(|one| one > 4)
        {
            return Err("a severity is 0 to 4".to_owned());
        }
        if rule.unstated < rule.least || rule.unstated == 0 {
            return Err("unstated is below the mildest that it can be".to_owned());
        }
        let places = rule.places.iter().map(|place| &place.urgency);
        for by_severity in places.chain([&rule.urgency]) {
            if by_severity.windows(2).any(|pair| pair[0] < pair[1]) {
                return Err("a worse severity is less urgent than a milder one".to_owned());
            }
            let silent = (1u8..).zip(by_severity).any(|(severity, urgency)| {
                *urgency <= Urgency::SameDay
                    && severity >= rule.least
                    && rule.red_flag_from.is_none_or(|from| severity < from)
            });
            if silent {
                return Err("it needs a vet the same day but raises no red flag".to_owned());
            }
        }
        if rule
            .places
            .iter()
            .flat_map(|place| place.words.iter().chain(&place.but_not))
            .any(|word| word.is_empty() || *word != word.to_lowercase())
        {
            return Err("the words of a place are in small letters".to_owned());
        }
        Ok(())
    }
}

impl crate::rules::Pack for Pack {
    const SUBJECT: &'static str = "hoof_findings";
    const BUILT_IN: &'static str = include_str!("../../../rules/hoof_findings.toml");

    tables!(head, sources; findings, red_flags);

    fn check(&self) -> Result<(), (String, String)> {
        for rule in &self.findings {
            Self::sound(rule).map_err(|reason| (rule.id.clone(), reason))?;
        }
        for flag in &self.red_flags {
            if flag.when.is_empty() {
                let reason = "when is empty: it would be up for every horse";
                return Err((flag.id.clone(), reason.to_owned()));
            }
        }
        Ok(())
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        for flag in &self.red_flags {
            if let Some(finding) = &flag.when.finding
                && self.find(finding).is_none()
            {
                return Err((flag.id.clone(), format!("there is no finding `{finding}`")));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
