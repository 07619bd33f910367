//! What an entry check answers: the verdict first, then what stops a horse, what to do about it, and folded what is met.

use maud::{Markup, html};
use whorl_care::figure::entry::{Answer, Check, Verdict};
use whorl_care::record::Grade;
use whorl_care::rules::Rules;
use whorl_care::sentence::capital;
use whorl_contract::entry::{BarnEntry, HorseEntry};

use super::{due, layout, words};

/// Clauses that are answered in the same words: rules often ask for the same thing.
struct Finding<'a> {
    check: &'a Check,
    asked_by: Vec<String>,
}

/// What was found, each thing once: what is not met before what can't be told, else in the order of the rules.
fn findings<'a>(answer: &'a Answer, rules: &Rules) -> Vec<Finding<'a>> {
    let mut found: Vec<Finding> = Vec::new();
    for check in &answer.checks {
        let alike = |one: &&mut Finding| {
            let other = one.check;
            (check.met, check.unknown, &check.reason, check.grade)
                == (other.met, other.unknown, &other.reason, other.grade)
        };
        match found.iter_mut().find(alike) {
            Some(one) => one.asked_by.push(clause(check, rules)),
            None => found.push(Finding {
                check,
                asked_by: vec![clause(check, rules)],
            }),
        }
    }
    found.sort_by_key(|one| (one.check.met, one.check.unknown));
    found
}

/// What a clause asks for, and whose it is: "Course (FEI: equine influenza)".
fn clause(check: &Check, rules: &Rules) -> String {
    let Some(set) = rules.entry.rule_set(&check.rule) else {
        return check.clause.clone();
    };
    format!(
        "{} ({})",
        capital(&set.clause_words(&check.clause)),
        set.title
    )
}

/// Whether a horse may enter, in a word beside the colour.
pub(super) fn tag(verdict: Verdict) -> Markup {
    match verdict {
        Verdict::Eligible => html! { span.tag.yes { "Yes" } },
        Verdict::Unknown => html! { span.tag.due { "Can't tell" } },
        Verdict::NotEligible => html! { span.tag.no { "No" } },
    }
}

fn met(check: &Check) -> Markup {
    match (check.met, check.unknown) {
        (true, _) => html! { span.tag.yes { "Met" } },
        (false, true) => html! { span.tag.due { "Can't tell" } },
        (false, false) => html! { span.tag.no { "Not met" } },
    }
}

fn grade_words(grade: Grade) -> &'static str {
    match grade {
        Grade::Attested => "attested by a professional",
        Grade::Countersigned => "vouched for by a vet afterwards",
        Grade::Recorded => "recorded by somebody without a licence for it",
        Grade::Transcribed => "copied from paper",
    }
}

fn list(found: &[Finding<'_>]) -> Markup {
    html! {
        ul.tasks.print-list {
            @for one in found {
                li.task {
                    p.task-head { (met(one.check)) " " (words::told(&one.check.reason)) }
                    p.task-line {
                        "Asked for by: " (one.asked_by.join("; ")) "."
                        @if let Some(grade) = one.check.grade { " Rests on what was " (grade_words(grade)) "." }
                    }
                }
            }
        }
    }
}

fn plan(answer: &Answer) -> Markup {
    html! {
        @if !answer.eligible && !answer.is_without_plan() {
            @match answer.earliest_eligible_on {
                Some(day) => p { strong { "If this plan is kept, from " (words::day(day)) ":" } },
                None => p { strong { "No plan reaches it." } " Ask your vet and the organiser." },
            }
            @if !answer.plan.is_empty() {
                ol.plain-list {
                    @for step in &answer.plan {
                        li {
                            (words::told(&step.what)) " From " (words::day(step.from))
                            @if let Some(until) = step.until { " to " (words::day(until)) }
                            @if !step.who.is_empty() { ", by " (due::who(&step.who)) }
                            "."
                        }
                    }
                }
            }
        }
    }
}

/// The answer for one horse, below its question.
pub(super) fn of_horse(name: &str, told: &HorseEntry, question: &Markup, rules: &Rules) -> Markup {
    let answer = &told.answer;
    let found = findings(answer, rules);
    let (met, unmet): (Vec<Finding>, Vec<Finding>) =
        found.into_iter().partition(|one| one.check.met);
    html! {
        section aria-labelledby="verdict" {
            h2 id="verdict" { "May " (name) " enter? " (tag(told.verdict)) }
            (question)
            @if !unmet.is_empty() {
                h3 { "What stops it" }
                (list(&unmet))
                (plan(answer))
            }
            @if !met.is_empty() {
                details.part {
                    summary { h3 { "What is met (" (met.len()) ")" } }
                    (list(&met))
                }
            }
            (said(std::iter::once(answer)))
        }
    }
}

/// The answer for all horses of a barn: a line each for the show office, then the reasons.
pub(super) fn of_barn(told: &BarnEntry, question: &Markup, rules: &Rules) -> Markup {
    let rows = html! { @for horse in &told.horses { (row(horse, rules)) } };
    let columns = [
        "Horse",
        "As things stand",
        "What stops it first",
        "If the plan is kept",
    ];
    let stopped = || {
        told.horses
            .iter()
            .filter(|horse| horse.verdict != Verdict::Eligible)
    };
    html! {
        (question)
        (layout::table("verdicts", "Who may enter", &columns, &rows))
        @if stopped().next().is_some() {
            section.reasons aria-labelledby="reasons" {
                h2 id="reasons" { "Why, horse by horse" }
                @for horse in stopped() { (reasons(horse, rules)) }
            }
        }
        (said(told.horses.iter().map(|horse| &horse.answer)))
    }
}

fn row(horse: &HorseEntry, rules: &Rules) -> Markup {
    let found = findings(&horse.answer, rules);
    let unmet: Vec<&Finding> = found.iter().filter(|one| !one.check.met).collect();
    html! {
        tr {
            th scope="row" {
                a href=(format!("/horses/{}", horse.horse_id)) { (horse.horse) }
                @if let Some(chip) = &horse.microchip { span.as { "chip " (chip) } }
            }
            td { (tag(horse.verdict)) }
            td {
                @if let Some(first) = unmet.first() {
                    (first.asked_by.first().map_or("", String::as_str))
                    @if unmet.len() > 1 { ", and " (unmet.len() - 1) " more" }
                } @else { "nothing" }
            }
            td {
                @match horse.answer.earliest_eligible_on {
                    Some(day) => { "from " (words::day(day)) }
                    None if horse.answer.is_without_plan() => "not told",
                    None => "no plan reaches it",
                }
            }
        }
    }
}

/// Why a horse may not enter, folded on a screen and open on paper.
fn reasons(horse: &HorseEntry, rules: &Rules) -> Markup {
    let mut unmet = findings(&horse.answer, rules);
    unmet.retain(|one| !one.check.met);
    html! {
        details.part.on-paper {
            summary { h3 { (horse.horse) } }
            (list(&unmet))
            (plan(&horse.answer))
        }
    }
}

/// What must be said aloud, once; and what the rules rest on.
fn said<'a>(answers: impl Iterator<Item = &'a Answer>) -> Markup {
    let mut texts: Vec<&str> = Vec::new();
    let mut sources: Vec<&str> = Vec::new();
    for answer in answers {
        let warnings = answer.warnings.iter().map(|warning| warning.text.as_str());
        for text in warnings.chain(answer.cautions.iter().map(String::as_str)) {
            if !texts.contains(&text) {
                texts.push(text);
            }
        }
        for source in &answer.sources {
            if !sources.contains(&source.citation.as_str()) {
                sources.push(&source.citation);
            }
        }
    }
    html! {
        ul.cautions { @for text in texts { li { (words::told(text)) } } }
        @if !sources.is_empty() {
            details.sources {
                summary { "What the rules rest on" }
                ul.plain-list { @for source in sources { li { (source) } } }
            }
        }
    }
}
