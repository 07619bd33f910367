//! The published description, and a page to read and try it on that needs nothing from elsewhere.

use std::sync::LazyLock;

use actix_web::guard::Get;
use actix_web::http::header::{ContentType, LOCATION};
use actix_web::web::{self, Bytes, ServiceConfig};
use actix_web::{HttpResponse, Responder};
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::description;

/// Where the description is served.
const DOCUMENT: &str = "/openapi.json";

/// The description as it is served. It is put together when somebody first asks: most servers are never asked.
static PUBLISHED: LazyLock<String> = LazyLock::new(|| description::openapi().to_string());

/// Adds `/openapi.json` and `/docs`.
pub(crate) fn pages(config: &mut ServiceConfig) {
    let settings = Config::new([DOCUMENT]).validator_url("none");
    let page = SwaggerUi::new("/docs/{_:.*}").config(settings);
    config
        .service(web::resource(DOCUMENT).guard(Get()).to(document))
        .service(web::resource("/docs").to(to_page))
        .service(page);
}

async fn document() -> impl Responder {
    let text = Bytes::from_static(PUBLISHED.as_bytes());
    HttpResponse::Ok()
        .content_type(ContentType::json())
        .body(text)
}

async fn to_page() -> impl Responder {
    HttpResponse::PermanentRedirect()
        .insert_header((LOCATION, "/docs/"))
        .finish()
}
