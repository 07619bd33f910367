//! The herd: every horse that somebody may see, barn by barn, with what to know before handling it.

use std::collections::BTreeMap;

use actix_web::HttpResponse;
use actix_web::web::Data;
use chrono::NaiveDate;
use maud::{Markup, html};
use whorl_care::ids::BarnId;
use whorl_contract::horse::{Handling, Horse};
use whorl_store::StoreError;
use whorl_store::barns::BarnRow;

use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::access;
use crate::herd;
use crate::problem::Problem;
use crate::state::State;

/// Shows the herd.
pub(super) async fn show(state: Data<State>, visitor: Visitor) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let account = visitor.caller.account;
    let (barns, horses) = state
        .read(move |db| {
            let barns = access::barns_visible(db, account, now)?;
            let visible = access::horses_visible(db, account, now)?;
            Ok::<_, StoreError>((barns, herd::views(db, visible)?))
        })
        .await?;
    let main = main(&barns, horses, now.date_naive());
    Ok(page(layout::page(&visitor, "The herd", &main)?))
}

fn main(barns: &[BarnRow], horses: Vec<Horse>, on: NaiveDate) -> Markup {
    let nothing = horses.is_empty();
    let mut by_barn: BTreeMap<BarnId, Vec<Horse>> = BTreeMap::new();
    let mut former = Vec::new();
    for horse in horses {
        // Where a horse stands is no more a former owner's business.
        if horse.roles.is_empty() {
            former.push(horse);
        } else {
            by_barn.entry(horse.barn_id).or_default().push(horse);
        }
    }
    html! {
        h1 { "The herd" }
        @if nothing {
            p {
                "There is no horse here yet that you may see. Add one with " code { "whorl horse add" }
                ", or ask an owner for an invitation and take it up with " code { "whorl join" } "."
            }
        }
        @for barn in barns {
            @if let Some(horses) = by_barn.remove(&barn.id) {
                (section(&format!("barn-{}", barn.id), &barn.name, horses, on))
            }
        }
        @if !former.is_empty() {
            (section("former", "No longer with you", former, on))
        }
    }
}

fn section(id: &str, name: &str, mut horses: Vec<Horse>, on: NaiveDate) -> Markup {
    // Who has to be handled with care comes first; then by name.
    horses.sort_by_cached_key(|horse| {
        let name = words::horse_name(horse);
        (horse.handling.is_none(), name.to_lowercase(), horse.id)
    });
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (name) }
            ul.herd {
                @for horse in &horses {
                    li.horse {
                        h3 { a href=(format!("/horses/{}", horse.id)) { (words::horse_name(horse)) } }
                        p.quiet { (words::horse_line(&horse.profile, on)) }
                        @if let Some(caution) = &horse.handling { (caution_box(caution)) }
                    }
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
