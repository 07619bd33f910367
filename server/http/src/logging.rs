//! Logs: one JSON object a line on standard error. Never in them: passwords, tokens, bodies, queries, e-mail addresses.
//! Beside them go traces, if the operator wants some (see [`crate::traces`]).

use tracing_subscriber::filter::{FilterExt, ParseError, filter_fn};
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::{EnvFilter, Layer, Registry};

use crate::traces::{self, Destination};

/// Below what the operator says: every request that can't be read is an error to the library that reads them, so anybody
/// could fill the log with errors. `actix_http=error` among the operator's own brings them back.
const QUIET: &str = "actix_http=off";

/// Why nothing can be logged.
#[derive(Debug, thiserror::Error)]
pub enum NoLog {
    /// The filter can't be read.
    #[error(transparent)]
    Filter(#[from] ParseError),
    /// Traces can't be sent.
    #[error("traces can't be sent: {0}")]
    Traces(String),
}

/// What is to be sent still is sent when this is dropped; keep it as long as there is anything to log.
#[derive(Debug)]
#[must_use = "traces end when it is dropped"]
pub struct Logging {
    _traces: Option<traces::Sending>,
}

/// Starts logging for the whole process: what a filter like `info` or `whorl_http=debug` lets through. Blocks.
///
/// # Errors
///
/// [`NoLog`].
pub fn start(filter: &str, traces: Option<&Destination>) -> Result<Logging, NoLog> {
    let sending = traces
        .map(traces::sending)
        .transpose()
        .map_err(NoLog::Traces)?;
    let lines = tracing_subscriber::fmt::layer()
        .json()
        .flatten_event(true)
        .with_current_span(true)
        .with_span_list(false)
        .with_writer(std::io::stderr)
        .with_filter(
            EnvFilter::try_new(format!("{QUIET},{filter}"))?
                .and(filter_fn(|what| !traces::is_ours(what))),
        );
    let subscriber = Registry::default()
        .with(lines)
        .with(sending.as_ref().map(traces::Sending::layer));
    // Where a test process has started logging already, that stays.
    drop(tracing::subscriber::set_global_default(subscriber));
    Ok(Logging { _traces: sending })
}
