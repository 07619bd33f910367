//! The routes: one file a resource, all listed here.

mod health;

use utoipa_actix_web::service_config::ServiceConfig;

/// Every operation of the server.
pub(crate) fn all(config: &mut ServiceConfig) {
    config.service(health::live).service(health::ready);
}
