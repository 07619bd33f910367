//! Serving: from a socket that listens to a shutdown in good order.

use std::future::Future;
use std::io;
use std::net::TcpListener;
use std::time::Duration;

use actix_web::HttpServer;
use actix_web::dev::Server;
use actix_web::rt::{self, System};
use actix_web::web::Data;
use tokio::sync::watch;
use whorl_store::{StoreError, deliveries, readings, sessions};

use crate::app;
use crate::delivery;
use crate::metrics::listen;
use crate::state::State;
use crate::throttle;

/// The head of a request must have come in this time, so that slow senders don't hold connections for nothing.
const HEAD_WITHIN: Duration = Duration::from_secs(10);

/// A connection that is idle for so long is closed.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// More connections than this to one worker wait.
const MOST_CONNECTIONS: usize = 4096;

/// How often what no longer counts is swept away.
const SWEEP_EVERY: Duration = Duration::from_hours(1);

/// How often a SQLite file's witness is told how far the file has come.
const NOTE_EVERY: Duration = Duration::from_secs(30);

/// How often what was read is written down.
const WRITE_READINGS_EVERY: Duration = Duration::from_secs(1);

/// Ended sessions are kept for so many days, to look into what happened.
const KEEP_SESSIONS_DAYS: i64 = 180;

/// What was sent, or given up, is known for so many days.
const KEEP_DELIVERIES_DAYS: i64 = 30;

/// Serves until `stop` resolves; then takes no more, finishes what is in hand, and closes the store. To be run on an
/// actix runtime; [`run`] brings one.
///
/// # Errors
///
/// [`io::Error`] if the socket can't be used.
pub async fn serve(
    state: State,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let address = listener.local_addr()?;
    let settings = state.config.clone();
    let store = state.store.clone();
    let sweeper = rt::spawn(sweep(state.clone()));
    let noter = rt::spawn(note(state.clone()));
    let reading = rt::spawn(write_readings(state.clone()));
    let last_readings = state.clone();
    let (end_sending, told_to_end) = watch::channel(false);
    let mut sender = rt::spawn(delivery::run(state.clone(), told_to_end));
    tracing::info!(%address, name = settings.name, "listening");
    if !address.ip().is_loopback() {
        tracing::warn!(%address, "reached from other machines without encryption: put a TLS proxy in front");
    }
    let state = Data::new(state);
    let metrics = listen::server(&state)?;
    let fetched_until = metrics.as_ref().map(Server::handle);
    let metrics = metrics.map(rt::spawn);
    let done = HttpServer::new(move || app::app(state.clone()))
        .workers(settings.workers)
        .keep_alive(KEEP_ALIVE)
        .client_request_timeout(HEAD_WITHIN)
        .client_disconnect_timeout(Duration::from_secs(2))
        .max_connections(MOST_CONNECTIONS)
        .shutdown_timeout(settings.shutdown_seconds)
        .shutdown_signal(stop)
        .listen(listener)?
        .run()
        .await;
    sweeper.abort();
    noter.abort();
    reading.abort();
    last_readings.write_readings().await;
    // What is being sent is finished; what can't be in time comes up again after its lease.
    end_sending.send_replace(true);
    let within = Duration::from_secs(settings.shutdown_seconds);
    if rt::time::timeout(within, &mut sender).await.is_err() {
        sender.abort();
    }
    if let Some(metrics) = fetched_until {
        metrics.stop(false).await;
    }
    drop(metrics);
    actix_web::web::block(move || store.close())
        .await
        .map_err(io::Error::other)?;
    tracing::info!("stopped");
    done
}

/// [`serve`] on a runtime of its own. Blocks.
///
/// # Errors
///
/// [`io::Error`] if the socket can't be used.
pub fn run(
    state: State,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    System::new().block_on(serve(state, listener, stop))
}

/// [`run`] until the system asks the process to end. Blocks.
///
/// # Errors
///
/// [`io::Error`] if the socket can't be used or signals can't be heard.
pub fn run_until_asked(state: State, listener: TcpListener) -> io::Result<()> {
    System::new().block_on(async { serve(state, listener, asked_to_stop()?).await })
}

/// Resolves when the system asks the process to end (SIGTERM, or SIGINT from a keyboard).
///
/// # Errors
///
/// [`io::Error`] if signals can't be heard.
fn asked_to_stop() -> io::Result<impl Future<Output = ()> + Send + 'static> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        Ok(async move {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt.recv() => {}
            }
        })
    }
    #[cfg(not(unix))]
    Ok(async {
        drop(tokio::signal::ctrl_c().await);
    })
}

/// Keeps the witness of a SQLite file near what the file holds.
async fn note(state: State) {
    let mut every = rt::time::interval(NOTE_EVERY);
    while !state.store.is_shared() {
        every.tick().await;
        let store = state.store.clone();
        match actix_web::web::block(move || store.note()).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::warn!(%error, "the witness could not be written"),
            Err(error) => tracing::warn!(%error, "the witness could not be written"),
        }
    }
}

/// Writes down who read what.
async fn write_readings(state: State) {
    let mut every = rt::time::interval(WRITE_READINGS_EVERY);
    loop {
        every.tick().await;
        state.write_readings().await;
    }
}

async fn sweep(state: State) {
    let mut every = rt::time::interval(SWEEP_EVERY);
    loop {
        every.tick().await;
        let now = state.clock.now();
        let before = now.naive_utc() - chrono::TimeDelta::days(KEEP_SESSIONS_DAYS);
        let sent_before = now.naive_utc() - chrono::TimeDelta::days(KEEP_DELIVERIES_DAYS);
        let kept = chrono::TimeDelta::days(i64::from(state.config.readings_days));
        let read_before = (now - kept).date_naive();
        let swept = state
            .write(move |db| -> Result<(usize, usize), StoreError> {
                deliveries::sweep(db, sent_before)?;
                readings::sweep(db, read_before)?;
                Ok((throttle::sweep(db, now)?, sessions::sweep(db, before)?))
            })
            .await;
        match swept {
            Ok((counts, sessions)) => tracing::debug!(counts, sessions, "swept"),
            Err(error) => tracing::warn!(%error, "could not sweep"),
        }
    }
}
