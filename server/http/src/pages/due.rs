//! What is due: one thing in a few lines, with who may do it and why.

use chrono::NaiveDate;
use maud::{Markup, html};
use whorl_care::figure::due::board::name;
use whorl_care::figure::due::{Item, Status};
use whorl_care::ids::HorseId;
use whorl_care::kind::Role;
use whorl_care::sentence::{capital, counted};

use super::words;

/// How a thing stands, in words.
pub(super) fn status(status: Status) -> &'static str {
    match status {
        Status::Overdue => "Overdue",
        Status::AskVet => "Ask the vet",
        Status::Due => "Due now",
        Status::Upcoming => "Coming up",
        Status::UpToDate => "Up to date",
    }
}

/// What it is, as a heading.
fn what(code: &str) -> String {
    capital(&name(code))
}

/// Who may do it: "vet or farrier".
pub(super) fn who(roles: &[Role]) -> String {
    let names: Vec<&str> = roles.iter().map(|role| words::role(*role)).collect();
    match names.split_last() {
        None => "nobody by the rules".to_owned(),
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
    }
}

/// One thing that is due; `horse` where the list is about several.
pub(super) fn task(item: &Item, horse: Option<(HorseId, &str)>, on: NaiveDate) -> Markup {
    html! {
        li.task {
            p.task-head {
                span class=(format!("tag {}", item.status)) { (status(item.status)) }
                " " strong { (what(&item.code)) }
                @if let Some(number) = item.dose_number { ", dose " (number) }
            }
            p.task-line {
                @if let Some((id, name)) = horse {
                    a href=(format!("/horses/{id}")) { (name) }
                    " · "
                }
                (when(item, on))
                " · by " (who(&item.who))
            }
            details {
                summary { "Why" span.unseen { ": " (what(&item.code)) } }
                p { (words::told(&item.reason)) }
                @if let Some(last) = item.last_on { p { "Last done on " (words::day(last)) "." } }
                @if let Some(caution) = item.mark.caution() { p.quiet { "The rule: " (caution) "." } }
            }
        }
    }
}

fn when(item: &Item, on: NaiveDate) -> Markup {
    match (item.status, item.due_from, item.due_by) {
        (Status::Overdue, _, Some(by)) => html! {
            "was due by " (words::day(by)) " (" (counted((on - by).num_days(), "day", "days")) " ago)"
        },
        (Status::Upcoming | Status::UpToDate, Some(from), _) => {
            html! { "from " (words::day(from)) }
        }
        (_, _, Some(by)) => html! { "by " (words::day(by)) },
        (_, Some(from), None) => html! { "since " (words::day(from)) },
        (_, None, None) => html! { "no day is set" },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_told_in_words() {
        for (code, told) in [
            (
                "vaccination.west_nile",
                "Vaccination against West Nile virus",
            ),
            ("parasite.reduction_test", "Egg count after worming"),
            ("hoof.something_new", "Hoof something new"),
        ] {
            assert_eq!(what(code), told);
        }
        assert_eq!(who(&[Role::Vet]), "vet");
        assert_eq!(
            who(&[Role::Owner, Role::BarnStaff, Role::Vet]),
            "owner, barn staff or vet"
        );
    }
}
