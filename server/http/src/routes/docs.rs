//! The published description, and a page to read and try it on that needs nothing from elsewhere.

use actix_web::http::header::LOCATION;
use actix_web::web::{self, ServiceConfig};
use actix_web::{HttpResponse, Responder};
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::description;

/// Where the description is served.
const DOCUMENT: &str = "/openapi.json";

/// Adds `/openapi.json` and `/docs`.
pub(crate) fn pages(config: &mut ServiceConfig) {
    let settings = Config::new([DOCUMENT]).validator_url("none");
    let page = SwaggerUi::new("/docs/{_:.*}")
        .external_url_unchecked(DOCUMENT, description::openapi())
        .config(settings);
    config
        .service(web::resource("/docs").to(to_page))
        .service(page);
}

async fn to_page() -> impl Responder {
    HttpResponse::PermanentRedirect()
        .insert_header((LOCATION, "/docs/"))
        .finish()
}
