//! Links to a horse's history for whoever has no account: making one, seeing how often each was used, ending one.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, PreEscaped, html};
use whorl_care::ids::{HorseId, ShareId};
use whorl_care::kind::Kind;
use whorl_care::sentence;
use whorl_contract::bundle::Seal;
use whorl_contract::horse::Horse;
use whorl_contract::share::{LONGEST_DAYS, NewShare, Share};

use super::fields::Fields;
use super::form::{Sent, token_field};
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{html as page, layout, see_other, words};
use crate::problem::{self, Problem};
use crate::routes::shares;
use crate::state::State;
use crate::{access, herd};

/// So many days a link lasts unless its maker says otherwise.
const USUAL_DAYS: u32 = 30;

/// Shows the links of a horse to its owner, and the form for another.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    answer(&state, &visitor, id, &Outcome::Nothing).await
}

/// Makes a link, or ends one.
pub(super) async fn change(
    state: Data<State>,
    horse: Path<String>,
    sent: Sent,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let account = sent.visitor.caller.account;
    if let Some(share) = sent.fields.get("end") {
        let share: ShareId = share.parse().map_err(|_| Problem::not_found())?;
        shares::end_now(&state, account, id, share).await?;
        return Ok(see_other(&format!("/horses/{id}/shares")));
    }
    let made = match read(&sent.fields) {
        Ok(new) => match shares::new_row(&state, account, id, &new) {
            Ok(row) => shares::add(&state, &request, row).await,
            Err(refused) => Err(refused),
        },
        Err(refused) => Err(refused),
    };
    let outcome = match made {
        Ok(share) => Outcome::Made(Box::new(share)),
        Err(refused) if refused.kind() == problem::Kind::Invalid => Outcome::Refused(refused),
        Err(failed) => return Err(failed),
    };
    // The secret is shown in this one answer: no address leads back to it.
    answer(&state, &sent.visitor, id, &outcome).await
}

/// What became of what the visitor sent.
enum Outcome {
    /// They sent nothing.
    Nothing,
    /// A new link.
    Made(Box<Share>),
    /// It can't be so.
    Refused(Problem),
}

/// Reads the form.
///
/// # Errors
///
/// A problem that points to what can't be read: nothing is shared on a guess.
fn read(fields: &Fields) -> Result<NewShare, Problem> {
    let day = |name: &str| match fields.get(name) {
        None => Ok(None),
        Some(text) => text
            .parse::<NaiveDate>()
            .map(Some)
            .map_err(|_| Problem::invalid(format!("/seal/{name}"), format!("`{text}` is no day"))),
    };
    let days = fields.get("days").unwrap_or_default();
    Ok(NewShare {
        days: days.parse().map_err(|_| {
            Problem::invalid("/days", format!("a link lasts 1 to {LONGEST_DAYS} days"))
        })?,
        seal: Seal {
            kinds: fields
                .all("seal")
                .map(|code| {
                    code.parse::<Kind>()
                        .map_err(|why| Problem::invalid("/seal/kinds", why.to_string()))
                })
                .collect::<Result<_, _>>()?,
            before: day("before")?,
            after: day("after")?,
            leaf_only: fields.get("leaf_only").is_some(),
        },
        label: fields.get("label").map(str::to_owned),
    })
}

async fn answer(
    state: &State,
    visitor: &Visitor,
    id: HorseId,
    outcome: &Outcome,
) -> Result<HttpResponse, Problem> {
    let (now, account) = (state.clock.now(), visitor.caller.account);
    let (horse, shares) = state
        .read(move |db| {
            let (row, access) = access::horse(db, account, id, now)?;
            let shares = shares::known(db, account, id, now)?;
            Ok::<_, Problem>((herd::one(db, row, access)?, shares))
        })
        .await?;
    let token = visitor.token()?;
    let main = html! {
        (head(&horse, Part::Shares))
        p {
            "Whoever has such a link reads the history without an account, until the link ends: on its day, when you end \
             it, or when the horse is yours no more."
        }
        @if let Outcome::Made(share) = outcome { (made(share)) }
        (list(&horse, &shares, &token, now))
        (form(&horse, outcome, &token))
    };
    let title = format!("Links to the history of {}", words::horse_name(&horse));
    let mut answer = page(layout::page(visitor, &title, &main)?);
    if matches!(outcome, Outcome::Refused(_)) {
        *answer.status_mut() = actix_web::http::StatusCode::UNPROCESSABLE_ENTITY;
    }
    Ok(answer)
}

/// The new link, in words and as a code for a phone's camera.
fn made(share: &Share) -> Markup {
    let url = share.url.as_deref().unwrap_or_default();
    html! {
        section.notice aria-labelledby="made" {
            h2 id="made" { "The link is made" }
            p { strong { "It is shown this once." } " Copy it now, or let the buyer's phone read the code." }
            p { a href=(url) { code { (url) } } }
            // Our own drawing of our own address: squares and nothing else.
            @if let Some(code) = &share.qr_svg { div.code { (PreEscaped(code)) } }
        }
    }
}

fn list(horse: &Horse, shares: &[Share], token: &str, now: DateTime<Utc>) -> Markup {
    html! {
        @if shares.is_empty() {
            p { "There is no link yet." }
        } @else {
            @let rows = html! { @for share in shares { (row(horse, share, token, now)) } };
            (layout::table("links", "The links", &["For", "Withheld", "Until", "Looked at", "End it"], &rows))
        }
    }
}

fn row(horse: &Horse, share: &Share, token: &str, now: DateTime<Utc>) -> Markup {
    let label = share.label.as_deref().unwrap_or("no name");
    html! {
        tr {
            th scope="row" { (label) span.as { "made by " (share.made_by_name) } }
            td { (sealed(&share.seal)) }
            td { (words::instant(share.expires_at.fixed_offset())) }
            td {
                (sentence::counted(share.views, "time", "times"))
                @if let Some(at) = share.last_seen_at { span.as { "last " (words::instant(at.fixed_offset())) } }
            }
            td {
                @if share.revoked_at.is_some() {
                    "ended"
                } @else if share.expires_at <= now {
                    "expired"
                } @else {
                    details.ending {
                        summary { "End…" span.unseen { " the link: " (label) } }
                        form method="post" action=(format!("/horses/{}/shares", horse.id)) {
                            (token_field(token))
                            input type="hidden" name="end" value=(share.id);
                            button.grave type="submit" { "End it now" span.unseen { ": " (label) } }
                        }
                    }
                }
            }
        }
    }
}

/// What a link keeps back, in words.
fn sealed(seal: &Seal) -> String {
    if seal.is_nothing() {
        return "nothing".to_owned();
    }
    let kinds = seal.kinds.iter().map(|kind| sentence::words(kind.code()));
    let before = seal
        .before
        .map(|day| format!("before {}", sentence::day(day)));
    let after = seal
        .after
        .map(|day| format!("after {}", sentence::day(day)));
    let mut said: Vec<String> = kinds.chain(before).chain(after).collect();
    if seal.leaf_only {
        said.push("their kind, day and author too".to_owned());
    }
    said.join(", ")
}

fn form(horse: &Horse, outcome: &Outcome, token: &str) -> Markup {
    let faults = match outcome {
        Outcome::Refused(refused) => refused.document().errors,
        _ => Vec::new(),
    };
    let told = (!faults.is_empty()).then_some("refused");
    html! {
        section aria-labelledby="new" {
            h2 id="new" { "Make a link" }
            form.ask method="post" action=(format!("/horses/{}/shares", horse.id)) {
                (token_field(token))
                @if !faults.is_empty() {
                    div.refused id="refused" role="alert" {
                        @for fault in &faults { p { (words::told(&fault.detail)) } }
                        p { "No link was made." }
                    }
                }
                div.row {
                    div.field {
                        label for="label" { "For whom (only you see this)" }
                        input id="label" name="label" type="text" maxlength="100" autocomplete="off" aria-describedby=[told];
                    }
                    div.field {
                        label for="days" { "Days that it lasts, at most " (LONGEST_DAYS) }
                        input id="days" name="days" type="number" min="1" max=(LONGEST_DAYS) value=(USUAL_DAYS) required
                            aria-describedby=[told];
                    }
                }
                details.part {
                    summary { "Withhold something" }
                    p.help { "The reader is told how much is withheld." }
                    fieldset {
                        legend { "What these entries say" }
                        div.choices {
                            @for kind in Kind::ALL.iter().filter(|kind| !kind.is_about_another()) {
                                @let id = format!("seal-{kind}");
                                div.choice {
                                    input id=(id) name="seal" type="checkbox" value=(kind);
                                    label for=(id) { (words::kind(*kind)) }
                                }
                            }
                        }
                    }
                    div.row {
                        div.field {
                            label for="before" { "Everything before" }
                            input id="before" name="before" type="date" aria-describedby=[told];
                        }
                        div.field {
                            label for="after" { "Everything after" }
                            input id="after" name="after" type="date" aria-describedby=[told];
                        }
                    }
                    div.choice {
                        input id="leaf_only" name="leaf_only" type="checkbox" value="yes";
                        label for="leaf_only" { "Of these, withhold kind, day and author as well" }
                    }
                }
                div.row { button type="submit" { "Make the link" } }
            }
        }
    }
}
