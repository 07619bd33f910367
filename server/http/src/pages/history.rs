//! The whole history of a horse, by kind and by day.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use whorl_care::kind::Kind;
use whorl_care::reading::Way;
use whorl_contract::history::HistoryEntry;
use whorl_contract::horse::Horse;
use whorl_store::StoreError;

use super::entry::{self, Heading};
use super::fields::Fields;
use super::horse::{Part, head, horse_id, nothing_yet};
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::history::{self, Cursor};
use crate::problem::Problem;
use crate::readings::By;
use crate::routes::history::Filter;
use crate::state::State;
use crate::{access, herd};

/// So many entries stand on one page.
const ON_A_PAGE: u32 = 40;

/// Shows the history.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let fields = Fields::of_query(&request)?;
    let filter = filter(&fields);
    // What can't be read is said above the form; what is shown then is everything.
    let (wanted, refused) = match filter.read() {
        Ok(wanted) => (wanted, None),
        Err(problem) => {
            let told = problem.document().errors.into_iter().next();
            let everything = Filter {
                limit: Some(ON_A_PAGE),
                ..Filter::default()
            };
            (everything.read()?, told)
        }
    };
    let now = state.clock.now();
    let account = visitor.caller.account;
    let (horse, kinds, entries, next) = state
        .read(move |db| {
            let (row, access) = access::horse(db, account, id, now)?;
            let (entries, next) = history::page(db, row.id, row.head_seq, &access, &wanted)?;
            let kinds = access.kinds();
            Ok::<_, StoreError>((herd::one(db, row, access)?, kinds, entries, next))
        })
        .await?;
    state.note(By::Account(account), Way::History, &id);
    let view = View {
        horse: &horse,
        kinds: &kinds,
        fields: &fields,
        refused: refused.map(|fault| (fault.pointer, fault.detail)),
        next: next.map(Cursor::text),
    };
    let title = format!("History of {}", words::horse_name(&horse));
    Ok(page(layout::page(&visitor, &title, &view.main(&entries))?))
}

fn filter(fields: &Fields) -> Filter {
    let text = |name: &str| fields.get(name).map(str::to_owned);
    Filter {
        kind: text("kind"),
        from: text("from"),
        until: text("until"),
        retracted: fields.get("withdrawn").is_some(),
        cursor: text("after"),
        limit: Some(ON_A_PAGE),
        format: None,
    }
}

struct View<'a> {
    horse: &'a Horse,
    kinds: &'a [Kind],
    fields: &'a Fields,
    refused: Option<(String, String)>,
    next: Option<String>,
}

impl View<'_> {
    fn main(&self, entries: &[HistoryEntry]) -> Markup {
        html! {
            (head(self.horse, Part::History))
            (self.form())
            @if entries.is_empty() {
                @if self.chooses() { p { "Nothing that you may see fits." } } @else { (nothing_yet()) }
            } @else {
                (entry::list(entries, Heading::Second))
            }
            @if let Some(next) = &self.next {
                p { a.next rel="next" href=(self.older(next)) { "Older entries" } }
            }
        }
    }

    /// Whether only some of the entries are asked for.
    fn chooses(&self) -> bool {
        ["kind", "from", "until", "after"]
            .iter()
            .any(|name| self.fields.get(name).is_some())
    }

    fn form(&self) -> Markup {
        let chosen = self.fields.get("kind");
        let day = |name| self.fields.get(name).unwrap_or_default();
        let wrong = |name: &str| {
            let pointer = format!("/{name}");
            let hit = self.refused.as_ref().is_some_and(|(at, _)| *at == pointer);
            hit.then_some("refused")
        };
        html! {
            form.filter method="get" role="search" aria-label="Choose what is shown" {
                @if let Some((_, detail)) = &self.refused {
                    p.refused id="refused" role="alert" {
                        (words::told(detail)) " Everything is shown."
                    }
                }
                div.field {
                    label for="kind" { "What" }
                    select id="kind" name="kind" aria-describedby=[wrong("kind")] {
                        option value="" selected[chosen.is_none()] { "Everything" }
                        @for kind in self.kinds {
                            @if !kind.is_about_another() {
                                option value=(kind) selected[chosen == Some(kind.code())] { (words::kind(*kind)) }
                            }
                        }
                    }
                }
                div.field {
                    label for="from" { "From" }
                    input id="from" name="from" type="date" value=(day("from")) aria-describedby=[wrong("from")];
                }
                div.field {
                    label for="until" { "Until" }
                    input id="until" name="until" type="date" value=(day("until")) aria-describedby=[wrong("until")];
                }
                div.choice {
                    input id="withdrawn" name="withdrawn" type="checkbox" value="yes"
                        checked[self.fields.get("withdrawn").is_some()];
                    label for="withdrawn" { "Withdrawn entries too" }
                }
                button type="submit" { "Show" }
            }
        }
    }

    /// The next page with the same choice.
    fn older(&self, after: &str) -> String {
        let mut path = format!("/horses/{}/history?after={after}", self.horse.id);
        for name in ["kind", "from", "until", "withdrawn"] {
            let value = self.fields.get(name).unwrap_or_default();
            let plain = |one: char| one.is_ascii_alphanumeric() || matches!(one, '_' | '-');
            // What was let through by the filter is a code, a day or an instant.
            if !value.is_empty() && value.chars().all(plain) {
                path = format!("{path}&{name}={value}");
            }
        }
        path
    }
}
