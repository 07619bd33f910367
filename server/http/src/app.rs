//! The application: routes, limits and the published description, put together once for the server and for tests.

use actix_web::dev::{ServiceFactory, ServiceRequest};
use actix_web::middleware::{Compress, NormalizePath};
use actix_web::web::{self, Data};
use actix_web::{App, Error, HttpRequest, HttpResponse};
use utoipa::OpenApi as _;
use utoipa::openapi::OpenApi;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa_actix_web::AppExt;

use crate::problem::{self, Kind, Problem};
use crate::routes;
use crate::state::State;

/// The largest body of a request that is no attachment, in bytes.
pub const LARGEST_BODY: usize = 4 * 1024 * 1024;

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Whorl",
        description = "A shared, verifiable health record for horses. Entries are signed by the device that made them. \
            Doses, due dates and entry checks are guidance: follow the label, your vet and local law.",
        license(name = "Apache-2.0", identifier = "Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    security(("bearer" = [])),
    modifiers(&Bearer),
    tags(
        (name = "server", description = "The server itself"),
        (name = "accounts", description = "People, sessions and devices"),
        (name = "barns", description = "Barns"),
        (name = "horses", description = "Horses and their histories"),
        (name = "access", description = "Grants, invitations, licences, transfers and the procedure policy"),
        (name = "sync", description = "Push, heads and pull"),
        (name = "figures", description = "The care engine: weights, doses, egg counts, hooves, due dates, entry"),
    ),
)]
struct Description;

struct Bearer;

impl utoipa::Modify for Bearer {
    fn modify(&self, openapi: &mut OpenApi) {
        let bearer = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .bearer_format("JWT")
            .build();
        openapi
            .components
            .get_or_insert_with(Default::default)
            .add_security_scheme("bearer", SecurityScheme::Http(bearer));
    }
}

/// The description of every operation, as it is published.
#[must_use]
pub fn openapi() -> OpenApi {
    let (_, openapi) = App::new()
        .into_utoipa_app()
        .openapi(Description::openapi())
        .configure(routes::all)
        .split_for_parts();
    openapi
}

/// The application.
pub fn app(
    state: State,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = actix_web::dev::ServiceResponse<impl actix_web::body::MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    let (app, _) = App::new()
        .into_utoipa_app()
        .app_data(Data::new(state))
        .app_data(
            web::JsonConfig::default()
                .limit(LARGEST_BODY)
                .error_handler(problem::of_json),
        )
        .app_data(web::PathConfig::default().error_handler(problem::of_path))
        .app_data(web::QueryConfig::default().error_handler(problem::of_query))
        .app_data(web::PayloadConfig::new(LARGEST_BODY))
        .configure(routes::all)
        .default_service(web::route().to(nothing_here))
        .split_for_parts();
    app.wrap(Compress::default())
        .wrap(NormalizePath::trim())
        .wrap(tracing_actix_web::TracingLogger::default())
}

async fn nothing_here(_: HttpRequest) -> Result<HttpResponse, Problem> {
    Err(Problem::bare(Kind::NotFound))
}
