//! What a check of a bundle found, in words that a buyer understands.

use chrono::{DateTime, Utc};
use whorl_care::sentence;

use super::report::{Author, Report, Withheld};

/// How many entries.
fn entries(count: usize) -> String {
    sentence::counted(count, "entry", "entries")
}

fn moment(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}

/// What is proven, if everything fits.
pub(super) fn proven(report: &Report) -> Vec<String> {
    let (server, withheld) = (&report.server, &report.withheld);
    let whole = report.entries - withheld.content - withheld.leaf_only;
    let mut said = vec![format!(
        "Nothing in this file was changed since {server} made it on {} for {}.",
        moment(report.exported_at),
        report.exported_by
    )];
    if let Some(at) = report.signed_at {
        said.push(format!(
            "It holds the horse's whole log as the server had it on {}: {}, none dropped, added, swapped or doubled.",
            moment(at),
            entries(report.entries)
        ));
    }
    if whole > 0 {
        said.push(format!(
            "In full: {}, word for word as signed on the device of whoever made it.",
            entries(whole)
        ));
    }
    if withheld.content > 0 {
        said.push(format!(
            "Without the content: {}; its kind, its day and its author are signed.",
            entries(withheld.content)
        ));
    }
    if withheld.leaf_only > 0 {
        said.push(format!(
            "Sealed whole: {}; only that something stands at that place of the log.",
            entries(withheld.leaf_only)
        ));
    }
    said
}

/// What no such file can prove.
pub(super) fn not_proven(report: &Report) -> Vec<String> {
    let (server, withheld) = (&report.server, &report.withheld);
    let mut said = Vec::new();
    said.push(if report.key_was_given {
        format!(
            "That names and licences belong to the keys that signed: {server} says so, whose key is the one that you gave."
        )
    } else {
        format!(
            "That this comes from {server}, and that names and licences belong to the keys that signed: anyone can make \
             a key and call it so. Ask for the server's key by another way and check again with it; this file's is {}.",
            report.server_key
        )
    });
    said.push(format!(
        "That nothing was recorded later: this is how things stood on {}.",
        moment(report.signed_at.unwrap_or(report.exported_at))
    ));
    if withheld.content + withheld.leaf_only > 0 {
        said.push("What the withheld entries say.".to_owned());
    }
    if withheld.leaf_only > 0 {
        said.push(
            "That no entry that is shown was corrected or withdrawn: that may be among those sealed whole."
                .to_owned(),
        );
    }
    if !withheld.corrections.is_empty() {
        let places: Vec<String> = withheld.corrections.iter().map(i64::to_string).collect();
        said.push(format!(
            "What every entry that is shown says by now: withheld words amend, withdraw or confirm some (place {}).",
            places.join(", ")
        ));
    }
    said.push(
        "That the authors wrote what they saw, and wrote down everything; “transcribed” was copied from paper."
            .to_owned(),
    );
    said.push(
        "Photos and documents: they are not in this file. Where an entry names one, its hash tells whether a copy is the \
         same."
            .to_owned(),
    );
    said
}

impl Withheld {
    /// What is kept back; `None` if nothing is.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let mut said = Vec::new();
        if self.content > 0 {
            let kinds: Vec<String> = self
                .kinds
                .iter()
                .map(|(kind, count)| format!("{count} {}", sentence::words(kind)))
                .collect();
            let days = match (self.first_day, self.last_day) {
                (Some(first), Some(last)) if first != last => {
                    format!("; from {first} to {last}")
                }
                (Some(day), _) => format!("; of {day}"),
                _ => String::new(),
            };
            let erased = match self.erased {
                0 => String::new(),
                1 => "; 1 of them was erased for good by the owner".to_owned(),
                many => format!("; {many} of them were erased for good by the owner"),
            };
            said.push(format!(
                "the content of {} ({}{days}{erased})",
                entries(self.content),
                kinds.join(", ")
            ));
        }
        if self.leaf_only > 0 {
            said.push(format!(
                "all of {} (kind, day and author are not told)",
                entries(self.leaf_only)
            ));
        }
        (!said.is_empty()).then(|| said.join(", and "))
    }
}

impl Author {
    /// Their entries by provenance.
    #[must_use]
    pub fn entries_in_words(&self) -> String {
        let counts: Vec<String> = self
            .entries
            .iter()
            .map(|(provenance, count)| format!("{count} {provenance}"))
            .collect();
        counts.join(", ")
    }

    /// Their licences as the server noted them.
    #[must_use]
    pub fn licences_in_words(&self) -> String {
        let licences: Vec<String> = self
            .licences
            .iter()
            .map(|licence| {
                let until = licence
                    .valid_until
                    .map_or_else(String::new, |day| format!(", until {day}"));
                let seen = if licence.seen_at.is_some() {
                    "paper seen"
                } else {
                    "paper not seen"
                };
                let place = licence.jurisdiction.to_uppercase();
                format!("{} ({place}{until}; {seen})", licence.number)
            })
            .collect();
        licences.join("; ")
    }
}
