//! A history behind a link: what a buyer reads, without an account.

use actix_web::HttpResponse;
use actix_web::web::{Data, Path};
use maud::{Markup, html};
use whorl_contract::path;
use whorl_contract::share::SharedHistory;

use super::entry::{self, Heading};
use super::{html as page, layout, words};
use crate::exchange::HeadOnly;
use crate::problem::Problem;
use crate::shared_history;
use crate::state::State;

/// Shows it, as long as the link is good.
pub(super) async fn show(
    state: Data<State>,
    token: Path<String>,
    head: HeadOnly,
) -> Result<HttpResponse, Problem> {
    let history = shared_history::look(&state, &token, head).await?;
    let title = format!("History of {}", name(&history));
    Ok(page(layout::bare(&title, &main(&history, &token))))
}

fn name(history: &SharedHistory) -> &str {
    let profile = &history.horse;
    let name = profile
        .name
        .as_deref()
        .or(profile.registered_name.as_deref());
    name.unwrap_or("a horse whose name is not shown")
}

fn main(history: &SharedHistory, token: &str) -> Markup {
    let line = words::horse_line(&history.horse, history.at.date_naive());
    html! {
        h1 { "History of " (name(history)) }
        (layout::printed(&history.server, history.at))
        @if !line.is_empty() { p { (line) } }
        @if let Some(chip) = &history.horse.microchip { p { "Microchip " (chip) } }
        p {
            "Shared by " (history.shared_by) " until " (words::instant(history.shared_until.fixed_offset()))
            ". Please don't pass the link on."
        }
        section aria-labelledby="withheld" {
            h2 id="withheld" { "What is not shown" }
            @let left_out = shared_history::left_out(history);
            @if left_out.is_empty() {
                p { "Nothing: this is every entry of the record." }
            }
            @for one in left_out { p { (one) } }
        }
        section aria-labelledby="entries" {
            h2 id="entries" { "Entries (" (history.items.len()) ")" }
            @if history.items.is_empty() { p { "None that are shown." } }
            (entry::list(&history.items, Heading::Third))
        }
        (check(history, token))
    }
}

/// How a reader makes sure of it, who need not trust this page.
fn check(history: &SharedHistory, token: &str) -> Markup {
    html! {
        section aria-labelledby="check" {
            h2 id="check" { "How to check it" }
            p {
                "A page proves nothing by itself. The signed file does: each entry is signed on the device of whoever made \
                 it, and all hang together, so that none can be changed, added or taken out unseen."
            }
            ol.plain-list {
                li { a href=(path::shared_bundle(token)) download { "Fetch the signed file" } "." }
                li {
                    "Ask the keeper of " strong { (history.server) } " for its key by another way, such as the telephone. It should be "
                    code { (history.server_key) } "."
                }
                li {
                    "Run " code { "whorl verify" } " on the file, and give it that key. It needs no network, and says what is \
                     proven, who signed, and what is withheld."
                }
            }
            p { "To print: " a href=(path::shared_pdf(token)) download { "the history as a PDF" } "." }
            details.whole {
                summary { "Where the record stands now, signed by the server" }
                p { "Place " (history.seq) " of the log; its head is " code { (history.head) } "." }
                pre.signed tabindex="0" { (history.note) }
            }
        }
    }
}
