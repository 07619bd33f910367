//! The care engine over HTTP: the same functions that the client links.

use actix_web::web::{Data, Json, Path, Payload};
use actix_web::{HttpRequest, post};
use serde_json::Value;
use whorl_care::figure;
use whorl_contract::canonical;
use whorl_contract::figure::{FigureAnswer, FigureInput};
use whorl_contract::problem::Problem as ProblemDocument;

use crate::app::LARGEST_BODY;
use crate::body;
use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// Computes a figure: `weight`, `dose`, `egg-count`, `reduction`, `hoof`, `growth`, `due` or `entry`.
///
/// It reads and writes no record. It needs an account only because it costs the server time; `whorl figure` computes the
/// same without one. Every answer names its sources and says its cautions: they are part of the answer.
#[utoipa::path(
    tag = "figures",
    params(("name" = String, Path, description = "The figure's name", example = "weight")),
    request_body(content = FigureInput, description = "What the figure takes; a field that it doesn't know is refused"),
    responses(
        (status = 200, description = "The figure", body = FigureAnswer),
        (status = 404, description = "There is no figure of this name", body = ProblemDocument,
         content_type = "application/problem+json"),
        (status = 422, description = "The input can't stand; `errors` point into it", body = ProblemDocument,
         content_type = "application/problem+json"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/figures/{name}")]
pub(crate) async fn compute_figure(
    state: Data<State>,
    _: Caller,
    name: Path<String>,
    request: HttpRequest,
    body: Payload,
) -> Result<Json<Value>, Problem> {
    if !figure::NAMES.contains(&name.as_str()) {
        return Err(unknown());
    }
    if body::media_type(&request) != "application/json" {
        return Err(Problem::new(
            Kind::UnsupportedMediaType,
            "send application/json",
        ));
    }
    let body = body::whole(body, LARGEST_BODY).await?;
    // Read strictly: of two weights in one document, the wrong one could be taken.
    let text = std::str::from_utf8(&body)
        .map_err(|error| Problem::new(Kind::Malformed, error.to_string()))?;
    let document =
        canonical::read(text).map_err(|error| Problem::new(Kind::Malformed, error.to_string()))?;
    let rules = state.rules.clone();
    let computed = actix_web::web::block(move || figure::run(&name, &document, &rules)).await?;
    Ok(Json(computed.ok_or_else(unknown)??))
}

fn unknown() -> Problem {
    let names = figure::NAMES.join(", ");
    Problem::new(
        Kind::NotFound,
        format!("there is no such figure; there are {names}"),
    )
}
