//! A recall: which horses of a barn had a lot, and who must be told.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use whorl_care::ids::BarnId;
use whorl_care::reading::Way;
use whorl_care::recall::Wanted;
use whorl_care::sentence::counted;
use whorl_contract::recall::{Recall, Recalled, Why};
use whorl_store::StoreError;
use whorl_store::barns::BarnRow;

use super::fields::Fields;
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::access;
use crate::problem::Problem;
use crate::readings::By;
use crate::recall;
use crate::routes::recall::Question;
use crate::state::State;

/// Shows the form, and what came of it once a lot is asked for.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    barn: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id: BarnId = barn.parse().map_err(|_| Problem::not_found())?;
    let fields = Fields::of_query(&request)?;
    let asked = fields.get("lot").map(|lot| {
        Question {
            lot: lot.to_owned(),
            product: fields.get("product").map(str::to_owned),
        }
        .read()
    });
    let (wanted, refused) = match asked.transpose() {
        Ok(wanted) => (wanted, None),
        Err(problem) => (None, problem.document().errors.into_iter().next()),
    };
    let now = state.clock.now();
    let account = visitor.caller.account;
    let (barn, found) = state
        .read(move |db| {
            let barn = access::barn(db, account, id, now)?;
            let found = wanted
                .map(|wanted: Wanted| recall::recall(db, account, &wanted, now))
                .transpose()?;
            Ok::<_, StoreError>((barn, found))
        })
        .await?;
    if let Some(found) = &found {
        state.note(By::Account(account), Way::Recall, found);
    }
    let main = html! {
        h1 { (barn.name) ": " span.part { "recall of a lot" } }
        (form(&fields, refused.map(|fault| fault.detail)))
        @if let Some(found) = &found { (answer(&barn, fields.get("lot").unwrap_or_default(), found)) }
    };
    let title = format!("Recall of a lot in {}", barn.name);
    Ok(page(layout::page(&visitor, &title, &main)?))
}

fn form(fields: &Fields, refused: Option<String>) -> Markup {
    let described = refused.as_ref().map(|_| "refused");
    html! {
        form.ask method="get" {
            @if let Some(refused) = refused {
                p.refused id="refused" role="alert" { (words::told(&refused)) }
            }
            div.row {
                div.field {
                    label for="lot" { "Lot number" }
                    input id="lot" name="lot" type="text" required maxlength="200" autocomplete="off"
                        value=(fields.get("lot").unwrap_or_default()) aria-describedby=[described];
                }
                div.field {
                    label for="product" { "Product, or a part of its name" }
                    input id="product" name="product" type="text" maxlength="200" autocomplete="off"
                        value=(fields.get("product").unwrap_or_default());
                }
                button type="submit" { "Look" }
            }
        }
    }
}

fn answer(barn: &BarnRow, asked: &str, found: &Recall) -> Markup {
    let is_here = |item: &&Recalled| item.stands.as_ref().is_some_and(|at| at.barn_id == barn.id);
    let (here, elsewhere): (Vec<&Recalled>, Vec<&Recalled>) = found.items.iter().partition(is_here);
    html! {
        section aria-labelledby="found" {
            h2 id="found" { "Lot " (asked) ": " (doses(here.len())) " to horses that stand here" }
            ul.tasks.print-list { @for item in &here { (dose(item)) } }
            @if !elsewhere.is_empty() {
                h2 { (doses(elsewhere.len())) " to horses elsewhere" }
                ul.tasks.print-list { @for item in &elsewhere { (dose(item)) } }
            }
            p { (found.scope) }
            ul.cautions { @for text in &found.cautions { li { (words::told(text)) } } }
        }
    }
}

fn doses(count: usize) -> String {
    if count == 0 {
        return "no doses".to_owned();
    }
    counted(count, "dose", "doses")
}

fn dose(item: &Recalled) -> Markup {
    let name = item.horse.as_deref().unwrap_or("A horse without a name");
    let why = |why: Why| match why {
        Why::Owner => "owner",
        Why::GaveIt => "gave it",
        Why::Barn => "runs the barn",
    };
    html! {
        li.task {
            p.task-head {
                a.name href=(format!("/horses/{}", item.horse_id)) { (name) }
                ": " (words::kind(item.kind).to_lowercase())
                @if let Some(at) = item.performed_at { ", " (words::instant(at)) }
            }
            p {
                @if let Some(product) = &item.product { (product) ", " }
                "lot " (item.lot_number)
                @if item.amended { " (amended)" }
                @if let Some(by) = &item.given_by { "; given by " (by) }
                "; " (words::provenance(item.provenance).to_lowercase())
            }
            @if let Some(place) = &item.stands {
                @if let Some(name) = &place.name { p.quiet { "Stands in " (name) "." } }
            }
            @if !item.tell.is_empty() {
                p {
                    strong { "To be told: " }
                    @for (n, one) in item.tell.iter().enumerate() {
                        @if n > 0 { "; " }
                        (one.name.as_deref().unwrap_or("somebody whose name isn't known here")) " (" (why(one.why)) ")"
                    }
                }
            }
        }
    }
}
