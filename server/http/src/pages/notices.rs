//! Notices: what somebody must know without having asked, and marking it as read.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use whorl_care::ids::NoticeId;
use whorl_care::notice::{Letters, State as Standing};
use whorl_care::reading::Way;
use whorl_care::sentence::{capital, words as in_words};
use whorl_contract::notice::{MarkRead, Notice};
use whorl_store::deliveries::{self, DeliveryRow};
use whorl_store::{StoreError, notice_settings};

use super::fields::Fields;
use super::form::{Sent, token_field};
use super::visitor::Visitor;
use super::{html as page, layout, see_other, words};
use crate::delivery;
use crate::notice::view::{self, Cursor, Wanted};
use crate::problem::Problem;
use crate::readings::By;
use crate::routes::notices;
use crate::state::State;

/// The operator is shown so many that could not be sent.
const MOST_UNDELIVERED: i64 = 20;
/// So many on a page.
const A_PAGE: usize = 50;

/// Shows the notices: what is unread first.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let fields = Fields::of_query(&request)?;
    let cursor = fields
        .get("after")
        .map(|text| Cursor::read(text).ok_or_else(Problem::not_found))
        .transpose()?;
    let wanted = Wanted {
        only_unread: false,
        cursor,
        limit: A_PAGE,
    };
    let (now, rules) = (state.clock.now(), state.rules.clone());
    let account = visitor.caller.account;
    let operator = visitor.caller.operator;
    let ((found, next), letters, undelivered) = state
        .read(move |db| {
            let undelivered = if operator {
                deliveries::given_up(db, MOST_UNDELIVERED)?
            } else {
                Vec::new()
            };
            Ok::<_, StoreError>((
                view::page(db, account, (now, &rules), wanted)?,
                notice_settings::email(db, account)?,
                undelivered,
            ))
        })
        .await?;
    state.note(By::Account(account), Way::Notice, found.as_slice());
    let token = visitor.token()?;
    let unread = found.iter().filter(|one| one.read_at.is_none());
    let latest = unread.map(|one| one.changed_at).max();
    let main = html! {
        h1 { "Notices" }
        p {
            "What somebody else recorded that calls for a vet, of horses that you own or are the vet of, and records that \
             wait for an owner's word. A notice is no diagnosis: call your vet."
        }
        @if let Some(latest) = latest {
            @if visitor.unread > 1 { (mark_all(&token, latest)) }
        } @else if cursor.is_none() {
            p { "Nothing is unread." }
        }
        @if !found.is_empty() {
            ul.tasks.print-list { @for one in &found { (notice(one, &token)) } }
        }
        @if let Some(next) = next {
            p.next { a href=(format!("/notices?after={}", next.text())) { "Older notices" } }
        }
        @if delivery::ways(&state).email { (choice(letters, &token)) }
        @if !undelivered.is_empty() { (not_sent(&undelivered)) }
    };
    Ok(page(layout::page(&visitor, "Notices", &main)?))
}

/// Marks one as read, or all that were shown; or notes which letters somebody wants.
pub(super) async fn change(state: Data<State>, sent: Sent) -> Result<HttpResponse, Problem> {
    if let Some(letters) = sent.fields.get("letters") {
        let letters: Letters = letters.parse().map_err(|_| Problem::not_found())?;
        notices::choose(&state, sent.visitor.caller, letters).await?;
        return Ok(see_other("/notices"));
    }
    let notice_id: Option<NoticeId> = sent
        .fields
        .get("notice")
        .map(|text| text.parse().map_err(|_| Problem::not_found()))
        .transpose()?;
    let until = sent.fields.get("until").unwrap_or_default();
    let until: DateTime<Utc> = until
        .parse()
        .map_err(|_| Problem::invalid("/until", "that is no instant"))?;
    let asked = MarkRead { notice_id, until };
    notices::mark(&state, sent.visitor.caller, asked).await?;
    Ok(see_other("/notices"))
}

fn mark_all(token: &str, latest: DateTime<Utc>) -> Markup {
    html! {
        form.ask method="post" action="/notices" {
            (token_field(token))
            input type="hidden" name="until" value=(latest.to_rfc3339());
            button.plain type="submit" { "Mark all of these as read" }
        }
    }
}

/// Which notices come by e-mail, too.
fn choice(letters: Letters, token: &str) -> Markup {
    let choices = [
        (Letters::None, "None"),
        (Letters::RedFlags, "Red flags"),
        (Letters::All, "Red flags, and what waits for your word"),
    ];
    html! {
        section aria-labelledby="letters-head" {
            h2 id="letters-head" { "By e-mail" }
            form.ask method="post" action="/notices" {
                (token_field(token))
                div.row {
                    div.field {
                        label for="letters" { "Which notices reach you by e-mail, too" }
                        select id="letters" name="letters" {
                            @for (choice, name) in choices {
                                option value=(choice) selected[choice == letters] { (name) }
                            }
                        }
                    }
                    button type="submit" { "Choose" }
                }
            }
        }
    }
}

/// What could not be sent, for whoever runs the server.
fn not_sent(undelivered: &[(DeliveryRow, String)]) -> Markup {
    let rows = html! {
        @for (row, account) in undelivered {
            tr {
                th scope="row" { (account) }
                td { @if row.webhook_id.is_some() { "webhook" } @else { "e-mail" } }
                td { (row.attempts) }
                td { (row.error.as_deref().unwrap_or_default()) }
                td { @if let Some(at) = row.ended_at { (words::instant(at.and_utc().fixed_offset())) " UTC" } }
            }
        }
    };
    html! {
        section aria-labelledby="not-sent-head" {
            h2 id="not-sent-head" { "Not sent" }
            p { "You run this server. It gave these up; the notices are in their readers' lists." }
            (layout::table("not-sent", "What could not be sent", &["To", "By", "Attempts", "What went wrong", "Given up"], &rows))
        }
    }
}

fn notice(one: &Notice, token: &str) -> Markup {
    let name = one.horse.as_deref().unwrap_or("A horse without a name");
    let is_new = one.read_at.is_none();
    html! {
        li.task {
            p.task-head {
                @if is_new { span.tag.due { "Unread" } " " }
                @match one.state {
                    Standing::Raised => @if one.urgent { span.tag.no { "Urgent" } " " },
                    Standing::Changed => { span.tag.due { "Amended" } " " }
                    Standing::Withdrawn => { span.tag { "Withdrawn" } " " }
                    Standing::Settled => { span.tag { "Decided" } " " }
                }
                a.name href=(format!("/horses/{}", one.horse_id)) { (name) }
                ": " (one.topic.headline())
            }
            @if one.state == Standing::Withdrawn {
                p { "This no longer holds. It had said:" }
            }
            @for text in &one.text { p { (words::told(text)) } }
            @if let Some(reason) = &one.reason { p.quiet { "Reason: " (reason) } }
            p.quiet {
                (capital(&in_words(one.kind.code())))
                @if let Some(by) = &one.by { ", recorded by " (by) }
                @if let Some(role) = one.role { ", " (words::role(role)) }
                @if let Some(at) = one.performed_at { ", " (words::instant(at)) }
            }
            @if is_new {
                form method="post" action="/notices" {
                    (token_field(token))
                    input type="hidden" name="notice" value=(one.id);
                    input type="hidden" name="until" value=(one.changed_at.to_rfc3339());
                    button.plain type="submit" { "Mark as read" span.unseen { ": " (name) ", " (one.topic.headline()) } }
                }
            }
        }
    }
}
