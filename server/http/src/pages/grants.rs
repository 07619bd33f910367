//! Who may see and record what of a horse, and ending that.

use std::collections::HashMap;

use actix_web::HttpResponse;
use actix_web::web::{Data, Path};
use maud::{Markup, html};
use whorl_care::ids::{BarnId, GrantId};
use whorl_contract::grant::Grant;
use whorl_contract::horse::Horse;
use whorl_store::StoreError;

use super::form::{Sent, token_field};
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{html as page, layout, see_other, words};
use crate::problem::Problem;
use crate::routes::grants;
use crate::state::State;
use crate::{access, herd};

/// Shows who may see the horse, as far as the visitor may know that.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let now = state.clock.now();
    let caller = visitor.caller;
    let (horse, grants, barns) = state
        .read(move |db| {
            let (row, access) = access::horse(db, caller.account, id, now)?;
            let grants = grants::covering(db, &caller, id, now)?;
            let barns = access::barns_visible(db, caller.account, now)?;
            Ok::<_, StoreError>((herd::one(db, row, access)?, grants, barns))
        })
        .await?;
    let view = View {
        visitor: &visitor,
        own_barns: barns
            .iter()
            .filter(|barn| barn.owner_id == caller.account)
            .map(|barn| barn.id)
            .collect(),
        barns: barns.into_iter().map(|barn| (barn.id, barn.name)).collect(),
        horse: &horse,
        token: visitor.token()?,
    };
    let title = format!("Who may see {}", words::horse_name(&horse));
    Ok(page(layout::page(&visitor, &title, &view.main(&grants))?))
}

/// Ends a grant.
pub(super) async fn end(
    state: Data<State>,
    horse: Path<String>,
    sent: Sent,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let grant: GrantId = sent
        .fields
        .get("grant")
        .and_then(|text| text.parse().ok())
        .ok_or_else(Problem::not_found)?;
    let for_this_horse = match sent.fields.get("for") {
        Some("this-horse") => true,
        Some("all") => false,
        _ => {
            return Err(Problem::invalid(
                "/for",
                "say whether for this horse or for all",
            ));
        }
    };
    let (caller, now) = (sent.visitor.caller, state.clock.now());
    // The page of a horse ends nothing of another's, whatever the form says.
    if !state.read(move |db| grants::covers(db, grant, id)).await? {
        return Err(Problem::not_found());
    }
    grants::end(&state, caller, grant, for_this_horse.then_some(id)).await?;
    // Whoever gave up what they had may not see the horse any more.
    let account = caller.account;
    let still = state
        .read(move |db| match access::horse(db, account, id, now) {
            Err(StoreError::NotFound) => Ok(false),
            found => found.map(|_| true),
        })
        .await?;
    Ok(if still {
        see_other(&format!("/horses/{id}/grants"))
    } else {
        see_other("/")
    })
}

struct View<'a> {
    visitor: &'a Visitor,
    own_barns: Vec<BarnId>,
    barns: HashMap<BarnId, String>,
    horse: &'a Horse,
    token: String,
}

impl View<'_> {
    fn main(&self, grants: &[Grant]) -> Markup {
        let is_owner = self.horse.owner_id == self.visitor.caller.account;
        html! {
            (head(self.horse, Part::Grants))
            @if is_owner {
                p { "This horse is yours: you see and decide everything." }
            } @else {
                p { "You see here what you hold yourself; all that covers the horse is shown to its owner." }
            }
            @if grants.is_empty() {
                p { "Nobody else holds a grant for it." }
            } @else {
                @let rows = html! { @for grant in grants { (self.row(grant)) } };
                (layout::table("grants", "Who may see and record", &["Who", "What", "When", "End it"], &rows))
            }
            p.quiet {
                "Ending a grant acts at once. What was recorded stays in the log; what was made while the grant was in \
                 force and comes later is held for the owner to accept or refuse. To let somebody in, make a code with "
                code { "whorl invite" } "."
            }
        }
    }

    fn row(&self, grant: &Grant) -> Markup {
        let covers = grant.barn_id.map_or_else(
            || "this horse".to_owned(),
            |id| {
                let barn = self.barns.get(&id).map_or("its barn", String::as_str);
                format!("all horses in {barn}")
            },
        );
        let kinds = grant.kinds.as_ref().map(|kinds| {
            let kinds: Vec<String> = kinds
                .iter()
                .map(|kind| words::kind(*kind).to_lowercase())
                .collect();
            kinds.join(", ")
        });
        html! {
            tr {
                th scope="row" { (grant.account_name) span.as { (words::role(grant.role)) } }
                td {
                    (covers)
                    @if let Some(kinds) = kinds { "; only " (kinds) }
                }
                td {
                    "from " (words::instant(grant.from.fixed_offset()))
                    @if let Some(until) = grant.until { " to " (words::instant(until.fixed_offset())) }
                }
                td { (self.ending(grant)) }
            }
        }
    }

    /// The ways to end a grant that are open to the visitor; two steps, so that no slip of a thumb ends anything.
    fn ending(&self, grant: &Grant) -> Markup {
        let account = self.visitor.caller.account;
        let own_horse = self.horse.owner_id == account;
        let own_grant = grant.account_id == account;
        let own_barn = grant.barn_id.is_some_and(|id| self.own_barns.contains(&id));
        let whole = own_grant || own_barn || (own_horse && grant.barn_id.is_none());
        let alone = own_horse && grant.barn_id.is_some();
        html! {
            @if whole || alone {
                details.ending {
                    summary { "End…" span.unseen { " the grant of " (grant.account_name) } }
                    @if alone { (self.button(grant, "this-horse", "End for this horse")) }
                    @if whole && grant.barn_id.is_some() {
                        (self.button(grant, "all", "End for the whole barn"))
                    } @else if whole {
                        (self.button(grant, "all", if own_grant { "Give it up" } else { "End it now" }))
                    }
                }
            } @else {
                span.quiet { "the owner can" }
            }
        }
    }

    fn button(&self, grant: &Grant, scope: &str, label: &str) -> Markup {
        html! {
            form method="post" action=(format!("/horses/{}/grants", self.horse.id)) {
                (token_field(&self.token))
                input type="hidden" name="grant" value=(grant.id);
                input type="hidden" name="for" value=(scope);
                button.grave type="submit" { (label) span.unseen { ": " (grant.account_name) } }
            }
        }
    }
}
