//! Logs: one JSON object a line on standard error. Never in them: passwords, tokens, bodies, queries, e-mail addresses.

use tracing_subscriber::EnvFilter;
use tracing_subscriber::filter::ParseError;

/// Starts logging for the whole process; what a filter like `info` or `whorl_http=debug` lets through.
///
/// # Errors
///
/// [`ParseError`] if the filter can't be read.
pub fn start(filter: &str) -> Result<(), ParseError> {
    let subscriber = tracing_subscriber::fmt()
        .json()
        .flatten_event(true)
        .with_current_span(true)
        .with_span_list(false)
        .with_env_filter(EnvFilter::try_new(filter)?)
        .with_writer(std::io::stderr)
        .finish();
    // Where a test process has started logging already, that stays.
    drop(tracing::subscriber::set_global_default(subscriber));
    Ok(())
}
