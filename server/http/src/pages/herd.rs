//! The herd: what is due and what to know before handling, barn by barn, for every horse that somebody may see.

use std::collections::BTreeMap;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use whorl_care::figure::due::{Item, Status};
use whorl_care::ids::BarnId;
use whorl_care::kind::Role;
use whorl_care::rules::Rules;
use whorl_contract::horse::{Handling, Horse};
use whorl_store::StoreError;
use whorl_store::barns::BarnRow;

use super::care::{self, Known};
use super::due;
use super::fields::Fields;
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::access;
use crate::problem::Problem;
use crate::state::State;

/// A part with so many things to do is open at once; a longer one opens at a touch.
const FEW: usize = 12;

/// Shows the herd.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let by = Fields::of_query(&request)?
        .get("by")
        .and_then(|code| code.parse::<Role>().ok());
    let now = state.clock.now();
    let account = visitor.caller.account;
    let (barns, horses) = state
        .read(move |db| {
            let barns = access::barns_visible(db, account, now)?;
            let visible = access::horses_visible(db, account, now)?;
            Ok::<_, StoreError>((barns, care::known(db, visible)?))
        })
        .await?;
    let board = Board {
        now,
        by,
        rules: &state.rules,
    };
    let main = board.main(&barns, horses);
    Ok(page(layout::page(&visitor, "The herd", &main)?))
}

struct Board<'a> {
    now: DateTime<Utc>,
    /// Only what this role may do.
    by: Option<Role>,
    rules: &'a Rules,
}

impl Board<'_> {
    fn main(&self, barns: &[BarnRow], horses: Vec<Known>) -> Markup {
        let nothing = horses.is_empty();
        let mut by_barn: BTreeMap<BarnId, Vec<Known>> = BTreeMap::new();
        let mut former = Vec::new();
        for known in horses {
            // Where a horse stands is no more a former owner's business.
            if known.horse.roles.is_empty() {
                former.push(known);
            } else {
                by_barn.entry(known.horse.barn_id).or_default().push(known);
            }
        }
        html! {
            h1 { "The herd" }
            @if nothing {
                p {
                    "There is no horse here yet that you may see. Add one with " code { "whorl horse add" }
                    ", or ask an owner for an invitation and take it up with " code { "whorl join" } "."
                }
            } @else {
                (self.choice())
            }
            @for barn in barns {
                @if let Some(horses) = by_barn.remove(&barn.id) { (self.barn(barn, horses)) }
            }
            @if !former.is_empty() {
                section aria-labelledby="former" {
                    h2 id="former" { "No longer with you" }
                    (herd(&mut former, self.now.date_naive()))
                }
            }
        }
    }

    /// Whose work is shown.
    fn choice(&self) -> Markup {
        let choices = [
            (None, "/", "Everybody's"),
            (Some(Role::Farrier), "/?by=farrier", "Farrier's"),
            (Some(Role::Vet), "/?by=vet", "Vet's"),
            (Some(Role::BarnStaff), "/?by=barn_staff", "Barn staff's"),
            (Some(Role::Owner), "/?by=owner", "Owner's"),
        ];
        html! {
            nav.parts aria-label="Whose work is shown" {
                ul {
                    @for (role, path, name) in choices {
                        li { a href=(path) aria-current=[(role == self.by).then_some("page")] { (name) } }
                    }
                }
            }
        }
    }

    fn barn(&self, barn: &BarnRow, mut horses: Vec<Known>) -> Markup {
        let on = care::today(Some(barn), self.now);
        let id = format!("barn-{}", barn.id);
        let mut tasks: Vec<(Item, Horse)> = Vec::new();
        for known in &horses {
            let due = known.due(Some(barn), on, self.rules).into_iter();
            let wanted = due.filter(|item| {
                item.status != Status::UpToDate
                    && self.by.is_none_or(|role| item.who.contains(&role))
            });
            tasks.extend(wanted.map(|item| (item, known.horse.clone())));
        }
        tasks.sort_by_cached_key(|(item, horse)| {
            (
                due::urgency(item),
                words::horse_name(horse).to_lowercase(),
                horse.id,
            )
        });
        html! {
            section aria-labelledby=(id) {
                h2 id=(id) { (barn.name) }
                p {
                    a href=(format!("/barns/{}/entry", barn.id)) { "Who may enter a show?" }
                    " · "
                    a href=(format!("/barns/{}/recall", barn.id)) { "Recall of a lot" }
                }
                (cautions(&horses))
                (board(&tasks, on))
                h3.list-head { "All horses here" }
                (herd(&mut horses, on))
            }
        }
    }
}

/// What to know before anybody picks up a foot: before all else.
fn cautions(horses: &[Known]) -> Markup {
    let mut careful: Vec<(String, &Horse, &Handling)> = horses
        .iter()
        .filter_map(|known| {
            let caution = known.horse.handling.as_ref()?;
            Some((words::horse_name(&known.horse), &known.horse, caution))
        })
        .collect();
    careful.sort_by_key(|(name, horse, _)| (name.to_lowercase(), horse.id));
    html! {
        @if !careful.is_empty() {
            div.caution {
                h3 { "Handle with care" }
                ul.plain-list {
                    @for (name, horse, caution) in &careful {
                        li {
                            a href=(format!("/horses/{}", horse.id)) { (name) } ": " (caution.text)
                        }
                    }
                }
            }
        }
    }
}

/// What is due, in parts from the most pressing on.
fn board(tasks: &[(Item, Horse)], on: NaiveDate) -> Markup {
    let parts = [
        Status::Overdue,
        Status::AskVet,
        Status::Due,
        Status::Upcoming,
    ];
    html! {
        @if tasks.is_empty() {
            p { "Nothing is due here, as far as you may see." }
        }
        @for status in parts {
            @let of_it: Vec<_> = tasks.iter().filter(|(item, _)| item.status == status).collect();
            @if !of_it.is_empty() {
                details.part open[status == Status::Overdue || of_it.len() <= FEW] {
                    summary { h3 { (due::status(status)) " (" (of_it.len()) ")" } }
                    ul.tasks {
                        @for (item, horse) in of_it { (due::task(item, Some(horse), on)) }
                    }
                }
            }
        }
    }
}

/// The horses themselves, by name.
fn herd(horses: &mut [Known], on: NaiveDate) -> Markup {
    horses.sort_by_cached_key(|known| {
        let name = words::horse_name(&known.horse);
        (name.to_lowercase(), known.horse.id)
    });
    html! {
        ul.herd {
            @for Known { horse, .. } in horses {
                li.horse {
                    a.name href=(format!("/horses/{}", horse.id)) { (words::horse_name(horse)) }
                    @if horse.handling.is_some() { " " span.tag.due { "handle with care" } }
                    p.quiet { (words::horse_line(&horse.profile, on)) }
                }
            }
        }
    }
}

/// What to read before picking up a foot.
pub(super) fn caution_box(caution: &Handling) -> Markup {
    html! {
        p.caution {
            strong { "Handle with care: " }
            (caution.text)
            " " span.quiet { "(" (words::day(caution.on)) ")" }
        }
    }
}
