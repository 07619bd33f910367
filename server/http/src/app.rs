//! The application: routes, limits and the published description, put together once for the server and for tests.

use actix_web::dev::{ServiceFactory, ServiceRequest};
use actix_web::middleware::Compress;
use actix_web::web::{self, Data};
use actix_web::{App, Error, HttpRequest, HttpResponse};
use utoipa_actix_web::AppExt;

use crate::problem::{self, Kind, Problem};
use crate::routes;
use crate::state::State;

/// The largest body of a request that is no attachment, in bytes.
pub const LARGEST_BODY: usize = 4 * 1024 * 1024;

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
    app.configure(routes::docs::pages)
        .wrap(Compress::default())
        .wrap(tracing_actix_web::TracingLogger::default())
}

async fn nothing_here(_: HttpRequest) -> Result<HttpResponse, Problem> {
    Err(Problem::bare(Kind::NotFound))
}
