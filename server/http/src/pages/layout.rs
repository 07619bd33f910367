//! What is around every page.

use chrono::{DateTime, Utc};
use maud::{DOCTYPE, Markup, html};

use super::form::token_field;
use super::visitor::Visitor;
use super::{style, words};
use crate::problem::Problem;

/// A page for somebody who is signed in.
///
/// # Errors
///
/// A failure of ours if no form can be made.
pub(super) fn page(visitor: &Visitor, title: &str, main: &Markup) -> Result<Markup, Problem> {
    let token = visitor.token()?;
    let account = html! {
        nav.account aria-label="Account" {
            a.notices href="/notices" {
                "Notices"
                @if visitor.unread > 0 { " " span.tag.due { (visitor.unread) span.unseen { " unread" } } }
            }
            span.who { (visitor.name) }
            form method="post" action="/sign-out" {
                (token_field(&token))
                button.plain type="submit" { "Sign out" }
            }
        }
    };
    let main = html! { (printed(&visitor.server, visitor.at)) (main) };
    Ok(frame(title, &account, &main))
}

/// What a printed page says of itself: where it comes from, and of when it is. A screen doesn't show it.
pub(super) fn printed(server: &str, at: DateTime<Utc>) -> Markup {
    html! { p.printed { "Printed from the record at " (server) ", as of " (words::instant(at.fixed_offset())) "." } }
}

/// A page for anybody.
pub(super) fn bare(title: &str, main: &Markup) -> Markup {
    frame(title, &html! {}, main)
}

fn frame(title: &str, account: &Markup, main: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="robots" content="noindex, nofollow";
                title { (title) " · Whorl" }
                link rel="stylesheet" href=(style::address());
                link rel="icon" href="data:,";
            }
            body {
                a.skip href="#main" { "Skip to the content" }
                header.top {
                    a.brand href="/" { (mark()) span { "Whorl" } }
                    (account)
                }
                main id="main" tabindex="-1" { (main) }
                footer.bottom {
                    p {
                        "What stands here is worked out from the record and is no diagnosis. Your vet and your farrier, \
                         the label and the law of your place come first."
                    }
                }
            }
        }
    }
}

/// A table that scrolls by itself where the page is too narrow for it.
pub(super) fn table(id: &str, caption: &str, columns: &[&str], rows: &Markup) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-labelledby=(id) {
            table {
                caption id=(id) { (caption) }
                thead { tr { @for column in columns { th scope="col" { (column) } } } }
                tbody { (rows) }
            }
        }
    }
}

/// The turn of hair that tells one horse from another.
fn mark() -> Markup {
    html! {
        svg.mark viewBox="0 0 24 24" width="24" height="24" aria-hidden="true" focusable="false" {
            path d="M12 12c0-1.7 2.4-1.7 2.4.4 0 2.700-4.900 2.900-4.900-.7 0-4.600 7.500-4.800 7.500.8 0 6.300-10.300 6.300-10.300-1.200 0-8.300 12.900-8.400 12.900 1.700" {}
        }
    }
}
