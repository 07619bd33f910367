//! Who read a horse's record, for its owner.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use whorl_care::reading::Reader;
use whorl_care::sentence::{capital, counted};
use whorl_contract::reading::Reading;

use super::fields::Fields;
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::paging::Paging;
use crate::problem::Problem;
use crate::routes::readings;
use crate::state::State;
use crate::{access, herd};

/// So many on a page.
const A_PAGE: u32 = 100;

/// Shows them, the latest day first.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let fields = Fields::of_query(&request)?;
    let (now, account) = (state.clock.now(), visitor.caller.account);
    let paging = Paging {
        cursor: fields.get("after").map(str::to_owned),
        limit: Some(A_PAGE),
    };
    let found = readings::known(&state, account, id, &paging).await?;
    let horse = state
        .read(move |db| {
            let (row, access) = access::horse(db, account, id, now)?;
            herd::one(db, row, access)
        })
        .await?;
    let main = html! {
        (head(&horse, Part::Readings))
        p {
            "What others read of this record here, while the horse is yours; your own reading isn't noted. What somebody's "
            "device holds they read there unseen: that it was copied is noted. Kept for "
            (counted(state.config.readings_days as usize, "day", "days")) "."
        }
        @if found.items.is_empty() {
            p { @if paging.cursor.is_none() { "Nobody else read it." } @else { "Nothing older is kept." } }
        } @else {
            @let rows = html! { @for reading in &found.items { (row(reading)) } };
            (layout::table("readings", "Who read it", &["Who", "What", "First", "Last", "Times"], &rows))
        }
        @if let Some(next) = &found.next_cursor {
            p.next { a rel="next" href=(format!("/horses/{id}/readings?after={next}")) { "Older readings" } }
        }
    };
    let title = format!("Who read of {}", words::horse_name(&horse));
    Ok(page(layout::page(&visitor, &title, &main)?))
}

fn row(reading: &Reading) -> Markup {
    let name = reading.name.as_deref();
    html! {
        tr {
            th scope="row" {
                @match reading.reader {
                    Reader::Account => (name.unwrap_or("somebody whose account is gone")),
                    Reader::Share => {
                        (name.unwrap_or("no name")) span.as { "a link, and whoever had it" }
                    }
                    Reader::Calendar => {
                        (name.unwrap_or("somebody")) span.as { "by a calendar program" }
                    }
                }
            }
            td { (capital(reading.way.words())) }
            td { (words::instant(reading.first_at.fixed_offset())) }
            td { (words::instant(reading.last_at.fixed_offset())) }
            td { (reading.times) }
        }
    }
}
