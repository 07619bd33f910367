//! The herd: what is due and what to know before handling, barn by barn, for every horse that somebody may see.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use whorl_care::figure::due::Status;
use whorl_care::figure::due::board::Choice;
use whorl_care::kind::Role;
use whorl_care::reading::Way;
use whorl_contract::due::{DueBoard, DueEntry};
use whorl_contract::horse::{Handling, Horse};
use whorl_store::StoreError;
use whorl_store::barns::BarnRow;

use super::due;
use super::fields::Fields;
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::due_board::{self, Asker, Wanted};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;
use crate::{access, care_log, herd};

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
    let rules = state.rules.clone();
    let found = state
        .read(move |db| {
            let asker = Asker {
                account,
                now,
                on: None,
            };
            let wanted = Wanted {
                choice: Choice {
                    by,
                    ..Choice::default()
                },
                mine: false,
            };
            let visible = access::horses_visible(db, account, now)?;
            Ok::<_, StoreError>(Board {
                now,
                by,
                barns: access::barns_visible(db, account, now)?,
                horses: herd::views(db, visible)?,
                due: due_board::of_account(db, asker, wanted, &rules)?.board,
            })
        })
        .await?;
    let by = By::Account(account);
    state.note(by, Way::Profile, found.horses.as_slice());
    state.note(by, Way::Due, &found.due);
    let main = found.main();
    Ok(page(layout::page(&visitor, "The herd", &main)?))
}

struct Board {
    now: DateTime<Utc>,
    /// Only what this role may do.
    by: Option<Role>,
    barns: Vec<BarnRow>,
    horses: Vec<Horse>,
    due: DueBoard,
}

impl Board {
    fn main(&self) -> Markup {
        // Where a horse stands is no more a former owner's business.
        let (former, present): (Vec<&Horse>, Vec<&Horse>) =
            self.horses.iter().partition(|horse| horse.roles.is_empty());
        html! {
            h1 { "The herd" }
            @if self.horses.is_empty() {
                p {
                    "There is no horse here yet that you may see. Add one of your own with " code { "whorl horse add" }
                    " on your device, or ask an owner for an invitation and take it up there with " code { "whorl join" }
                    "; then load this page again."
                }
            } @else {
                (self.choice())
                p { a href="/visits" { "Plan visits" } }
            }
            @for barn in &self.barns {
                @let here: Vec<&Horse> =
                    present.iter().copied().filter(|horse| horse.barn_id == barn.id).collect();
                @if !here.is_empty() { (self.barn(barn, here)) }
            }
            @if !former.is_empty() {
                section aria-labelledby="former" {
                    h2 id="former" { "No longer with you" }
                    (list(former, self.now.date_naive()))
                }
            }
            @if self.due.withheld {
                p.notice {
                    "Part of some horses' records is withheld from you. What rests on it isn't shown: a thing that is \
                     missing here may be due all the same."
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

    fn barn(&self, barn: &BarnRow, horses: Vec<&Horse>) -> Markup {
        let on = care_log::today(barn, self.now);
        let id = format!("barn-{}", barn.id);
        let items = self.due.items.iter();
        let tasks: Vec<&DueEntry> = items.filter(|one| one.barn_id == barn.id).collect();
        html! {
            section aria-labelledby=(id) {
                h2 id=(id) { (barn.name) }
                p.ways {
                    a href=(format!("/barns/{}/entry", barn.id)) { "Who may enter a show?" }
                    " · "
                    a href=(format!("/barns/{}/recall", barn.id)) { "Recall of a lot" }
                }
                (cautions(&horses))
                (board(&tasks, on))
                h3.list-head { "All horses here" }
                (list(horses, on))
            }
        }
    }
}

/// What to know before anybody picks up a foot: before all else.
fn cautions(horses: &[&Horse]) -> Markup {
    let mut careful: Vec<(String, &Horse, &Handling)> = horses
        .iter()
        .filter_map(|horse| {
            let caution = horse.handling.as_ref()?;
            Some((words::horse_name(horse), *horse, caution))
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
fn board(tasks: &[&DueEntry], on: NaiveDate) -> Markup {
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
            @let of_it: Vec<_> = tasks.iter().filter(|one| one.item.status == status).collect();
            @if !of_it.is_empty() {
                details.part.on-paper open[status == Status::Overdue || of_it.len() <= FEW] {
                    summary { h3 { (due::status(status)) " (" (of_it.len()) ")" } }
                    ul.tasks {
                        @for one in of_it { (due::task(&one.item, Some((one.horse_id, &one.horse)), on)) }
                    }
                }
            }
        }
    }
}

/// The horses themselves, by name.
fn list(mut horses: Vec<&Horse>, on: NaiveDate) -> Markup {
    horses.sort_by_cached_key(|horse| (words::horse_name(horse).to_lowercase(), horse.id));
    html! {
        ul.herd {
            @for horse in horses {
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
