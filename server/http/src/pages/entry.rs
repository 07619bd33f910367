//! One entry of a history.

use maud::{Markup, html};
use serde_json::Value;
use whorl_care::kind::Provenance;
use whorl_care::sentence::{self, capital};
use whorl_contract::history::{HistoryEntry, Standing};

use super::words;

/// A list of entries.
pub(super) fn list(entries: &[HistoryEntry], heading: Heading) -> Markup {
    html! {
        ol.history {
            @for entry in entries { li { (one(entry, heading)) } }
        }
    }
}

/// How deep the headings of entries lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Heading {
    /// Under the page's own.
    Second,
    /// Under that of a part.
    Third,
}

fn one(entry: &HistoryEntry, heading: Heading) -> Markup {
    let kind = entry
        .kind
        .map_or_else(|| "Withheld".to_owned(), words::kind);
    let id = format!("entry-{}", entry.seq);
    let withdrawn = entry.standing == Standing::Retracted;
    html! {
        article.entry.withdrawn[withdrawn] aria-labelledby=(id) {
            @match heading {
                Heading::Second => h2.kind id=(id) { (kind) },
                Heading::Third => h3.kind id=(id) { (kind) },
            }
            @if let Some(at) = entry.performed_at { p.when { (words::instant(at)) } }
            (standing(entry))
            (what(entry))
            @if let Some(note) = &entry.note { p.note { (note) } }
            @for file in &entry.attachments {
                p.file { "With a file: " (file.caption.as_deref().unwrap_or("no caption")) }
            }
            (source(entry))
        }
    }
}

/// What became of it since, in words and not by colour alone.
fn standing(entry: &HistoryEntry) -> Markup {
    let said = match entry.standing {
        Standing::AsRecorded => return html! {},
        Standing::Amended => "Amended",
        Standing::Retracted => "Withdrawn",
        Standing::Contested => "Amended by two people, differently",
        Standing::Erased => "Erased for good by the owner",
    };
    html! {
        p.standing {
            strong { (said) }
            @if let Some(reason) = &entry.reason { ": " (reason) }
        }
    }
}

fn what(entry: &HistoryEntry) -> Markup {
    if entry.standing == Standing::Erased {
        return html! {};
    }
    let (Some(kind), Some(details)) = (entry.kind, &entry.details) else {
        return html! { p.what.sealed { "The content of this entry is withheld." } };
    };
    html! {
        p.what { (capital(&sentence::with_days(&sentence::of(kind, details)))) }
        details.whole {
            summary { "All details" }
            (table(details))
        }
    }
}

/// Every detail by its name, as it stands in the record.
fn table(details: &Value) -> Markup {
    html! {
        @match details {
            Value::Object(fields) => {
                dl.details {
                    @for (name, value) in fields {
                        @if !value.is_null() {
                            dt { (capital(&sentence::words(name))) }
                            dd { (table(value)) }
                        }
                    }
                }
            }
            Value::Array(items) => {
                @if items.iter().any(Value::is_object) {
                    @for item in items { (table(item)) }
                } @else {
                    (items.iter().map(plain).collect::<Vec<_>>().join(", "))
                }
            }
            other => (plain(other)),
        }
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        other => other.to_string(),
    }
}

/// Who stands for it, and how far.
fn source(entry: &HistoryEntry) -> Markup {
    let author = entry.author.as_deref().unwrap_or("somebody");
    let role = entry.role.map(words::role);
    let grade = entry.provenance.unwrap_or(Provenance::Recorded);
    html! {
        p.source {
            span class=(format!("grade {grade}")) { (words::provenance(grade)) }
            " by " (author)
            @if let Some(role) = role { ", " (role) }
            @if let Some(by) = &entry.performed_by {
                "; done by " (by.name)
                @if let Some(licence) = &by.licence { " (licence " (licence) ")" }
            }
        }
        @for one in &entry.countersignatures {
            p.source {
                span.grade.attested { "Vouched for" }
                " by " (one.by) ", " (words::role(one.role)) ", " (words::instant(one.at))
                @if let Some(words) = &one.statement { ": " q { (words) } }
            }
        }
    }
}
