//! The history of one horse as a document to print or to hand on.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get};
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_care::reading::Way;
use whorl_care::sentence::words;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::StoreError;

use crate::access::{self, Access};
use crate::caller::Caller;
use crate::export::pdf::{self, Document};
use crate::history::{self, Wanted};
use crate::problem::Problem;
use crate::readings::By;
use crate::routes::sync::bytes_with_etag;
use crate::state::State;
use crate::{herd, log_view};

/// Gives a horse's history as a PDF file, the latest entry first, with what the caller may not see left out and named.
///
/// The file is the same, byte for byte, for the same record and day.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        ("If-None-Match" = Option<String>, Header, description = "The ETag of the last answer"),
    ),
    responses(
        (status = 200, description = "The document", content((Vec<u8> = "application/pdf")),
         headers(("ETag" = String, description = "Give it back as If-None-Match"))),
        (status = 304, description = "Nothing changed"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/history.pdf")]
pub(crate) async fn get_history_pdf(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let wanted = Wanted {
        kinds: Vec::new(),
        from: None,
        until: None,
        retracted: true,
        cursor: None,
        limit: usize::MAX / 2,
    };
    let server = state.config.name.clone();
    let (id, bytes) = state
        .read(move |db| {
            let (row, access) = access::horse(db, caller.account, horse.into_inner(), now)?;
            let until = access.until_seq(row.head_seq);
            let head = (until, log_view::head_at(db, row.id, until)?);
            let (entries, _) = history::page(db, row.id, row.head_seq, &access, &wanted)?;
            let withheld = withheld(&access, until < row.head_seq);
            let horse = herd::one(db, row, access)?;
            let document = Document {
                horse_id: horse.id,
                profile: &horse.profile,
                entries: &entries,
                withheld: &withheld,
                head,
                server: &server,
                on: now.date_naive(),
                link: None,
            };
            Ok::<_, StoreError>((horse.id, pdf::write(&document)))
        })
        .await?;
    let mut answer = bytes_with_etag(&request, "application/pdf", bytes?);
    state.note(By::Account(caller.account), Way::Document, &id);
    let name = format!("attachment; filename=\"history-{id}.pdf\"");
    answer.headers_mut().insert(
        CONTENT_DISPOSITION,
        name.parse().map_err(Problem::internal)?,
    );
    Ok(answer)
}

/// What a caller's document leaves out, in words.
fn withheld(access: &Access, later: bool) -> Vec<String> {
    let mut withheld = Vec::new();
    if access.is_limited() {
        let seen = access.kinds();
        let missing: Vec<String> = Kind::ALL
            .iter()
            .filter(|kind| !seen.contains(kind) && !kind.is_about_another())
            .map(|kind| words(kind.code()))
            .collect();
        withheld.push(format!(
            "Not all of the record: whoever made this document may not see these kinds of entries, if there are any: {}.",
            missing.join(", ")
        ));
    }
    if later {
        withheld.push(
            "Whatever was recorded after whoever made this document lost sight of the record."
                .to_owned(),
        );
    }
    withheld
}
