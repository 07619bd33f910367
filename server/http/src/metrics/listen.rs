//! Where metrics are fetched: on an address of their own, and only from the networks that the operator names.

use std::io;
use std::net::{IpAddr, TcpListener};

use actix_web::dev::Server;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use actix_web::web::{self, Data};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer};

use super::Metrics;
use crate::network::Network;
use crate::problem::Problem;
use crate::state::State;

/// The media type of `OpenMetrics`' text form.
const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// A server for metrics alone, if the operator wants one.
///
/// # Errors
///
/// [`io::Error`] if the address can't be listened on.
pub(crate) fn server(state: &Data<State>) -> io::Result<Option<Server>> {
    let Some(address) = state.config.metrics_listen else {
        return Ok(None);
    };
    let listener = TcpListener::bind(address)
        .map_err(|error| io::Error::new(error.kind(), format!("metrics on {address}: {error}")))?;
    tracing::info!(%address, "metrics");
    let state = state.clone();
    let app = move || {
        App::new()
            .app_data(state.clone())
            .route("/metrics", web::get().to(metrics))
    };
    let server = HttpServer::new(app)
        .workers(1)
        .disable_signals()
        .listen(listener)?;
    Ok(Some(server.run()))
}

async fn metrics(request: HttpRequest, state: Data<State>) -> Result<HttpResponse, Problem> {
    // No proxy stands in front: what it says of others is not asked.
    let peer = request.peer_addr().map(|peer| peer.ip());
    if !peer.is_some_and(|peer| may_fetch(peer, &state.config.metrics_from)) {
        return Err(Problem::not_found());
    }
    let text = Metrics::text(&state).await?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, OPEN_METRICS))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(text))
}

/// Whoever is on this machine may, and whoever is in one of the networks.
fn may_fetch(peer: IpAddr, networks: &[Network]) -> bool {
    let peer = peer.to_canonical();
    peer.is_loopback() || networks.iter().any(|network| network.holds(peer))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_and_named_networks_may_fetch() {
        let networks = ["10.1.0.0/16".parse().expect("a range")];
        let may = |peer: &str| may_fetch(peer.parse().expect("an address"), &networks);
        for known in ["127.0.0.1", "::1", "::ffff:127.0.0.1", "10.1.7.7"] {
            assert!(may(known), "{known}");
        }
        for stranger in ["10.2.0.1", "203.0.113.9", "2001:db8::1"] {
            assert!(!may(stranger), "{stranger}");
        }
    }
}
