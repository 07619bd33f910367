//! The application: routes, limits and the published description, put together once for the server and for tests.

use actix_web::dev::{ServiceFactory, ServiceRequest};
use actix_web::middleware::{Compress, from_fn};
use actix_web::web::{self, Data};
use actix_web::{App, Error};

use crate::exchange::exchange;
use crate::inflate::inflate;
use crate::methods::no_route;
use crate::pages;
use crate::problem;
use crate::routes;
use crate::state::State;

/// The largest body of a request that is no attachment, in bytes.
pub const LARGEST_BODY: usize = 4 * 1024 * 1024;

/// The application. Paths have one spelling: a slash too many finds nothing.
pub(crate) fn app(
    state: Data<State>,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = actix_web::dev::ServiceResponse<impl actix_web::body::MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    App::new()
        .app_data(state)
        .app_data(
            web::JsonConfig::default()
                .limit(LARGEST_BODY)
                .error_handler(problem::of_json),
        )
        .app_data(web::PathConfig::default().error_handler(problem::of_path))
        .app_data(web::QueryConfig::default().error_handler(problem::of_query))
        .app_data(web::PayloadConfig::new(LARGEST_BODY))
        .configure(routes::all)
        .default_service(web::route().to(no_route))
        .configure(routes::docs::pages)
        .configure(pages::all)
        .wrap(Compress::default())
        .wrap(from_fn(inflate))
        .wrap(from_fn(exchange))
}
