//! What an operator watches: counts, times and sizes, for Prometheus. No label names a horse, an account, a device or an
//! address: only route patterns, methods, statuses, kinds and outcomes, of which there are few.

pub mod listen;
mod process;

use std::time::Duration;

use actix_web::http::Method;
use prometheus_client::encoding::{EncodeLabelSet, text};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use whorl_care::reading::Reader;
use whorl_contract::sync::Outcome;
use whorl_store::{StoreError, Vitals, Watch, ledger};

use self::process::Process;
use crate::ledger::Arrival;
use crate::problem::Problem;
use crate::state::State;

/// Where answers are slower than this, somebody waits: seconds.
const SECONDS: [f64; 12] = [
    0.001, 0.002_5, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0,
];

/// A request, as far as it is counted.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    method: &'static str,
    route: String,
    status: u16,
}

/// A route.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Route {
    method: &'static str,
    route: String,
}

/// What became of an event that was pushed.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Pushed {
    kind: String,
    outcome: &'static str,
}

/// How a sign-in ended.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct SignIn {
    outcome: &'static str,
}

/// By what somebody asked.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Asker {
    by: &'static str,
}

/// How a sign-in ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum SignInOutcome {
    /// A session began.
    Opened,
    /// E-mail and password don't fit.
    Failed,
    /// There were too many failures before.
    Throttled,
}

/// All that is counted and measured.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    requests: Family<Answered, Counter>,
    seconds: Family<Route, Histogram, fn() -> Histogram>,
    pushed: Family<Pushed, Counter>,
    sign_ins: Family<SignIn, Counter>,
    limited: Family<Asker, Counter>,
    commit_writes: Histogram,
    commit_seconds: Histogram,
    connection_seconds: Histogram,
    connections: Gauge,
    connections_idle: Gauge,
    writes_waiting: Gauge,
    horses: Gauge,
    log_events: Gauge,
    held: Gauge,
    process: Process,
}

fn seconds() -> Histogram {
    Histogram::new(SECONDS)
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::default();
        let process = Process::new(registry.sub_registry_with_prefix("process"));
        let ours = registry.sub_registry_with_prefix("whorl");
        let build = Info::new(vec![("version", env!("CARGO_PKG_VERSION"))]);
        ours.register("build", "What runs", build);
        let new = Self {
            requests: Family::default(),
            seconds: Family::new_with_constructor(seconds),
            pushed: Family::default(),
            sign_ins: Family::default(),
            limited: Family::default(),
            commit_writes: Histogram::new(exponential_buckets(1.0, 2.0, 9)),
            commit_seconds: seconds(),
            connection_seconds: seconds(),
            connections: Gauge::default(),
            connections_idle: Gauge::default(),
            writes_waiting: Gauge::default(),
            horses: Gauge::default(),
            log_events: Gauge::default(),
            held: Gauge::default(),
            process,
            registry: Registry::default(),
        };
        // Counters that nothing has moved yet must be there, or a rise from nothing is never seen.
        for outcome in [
            SignInOutcome::Opened,
            SignInOutcome::Failed,
            SignInOutcome::Throttled,
        ] {
            drop(new.sign_ins.get_or_create(&outcome.label()));
        }
        for reader in Reader::ALL {
            drop(new.limited.get_or_create(&Asker { by: reader.code() }));
        }
        new.register(ours);
        Self { registry, ..new }
    }
}

impl Metrics {
    fn register(&self, ours: &mut Registry) {
        ours.register(
            "requests",
            "Requests by route, method and status",
            self.requests.clone(),
        );
        ours.register_with_unit(
            "request_duration",
            "How long answers took",
            Unit::Seconds,
            self.seconds.clone(),
        );
        ours.register(
            "pushed_events",
            "Events that devices pushed, by kind and by what became of them",
            self.pushed.clone(),
        );
        ours.register(
            "sign_ins",
            "Sign-ins by how they ended",
            self.sign_ins.clone(),
        );
        ours.register(
            "limited_requests",
            "Requests of accounts, links and calendars that were told to wait",
            self.limited.clone(),
        );
        ours.register(
            "commit_writes",
            "How many writes became durable together",
            self.commit_writes.clone(),
        );
        ours.register_with_unit(
            "commit_duration",
            "How long it took to make writes durable",
            Unit::Seconds,
            self.commit_seconds.clone(),
        );
        ours.register_with_unit(
            "connection_wait",
            "How long work waited for a connection to the database",
            Unit::Seconds,
            self.connection_seconds.clone(),
        );
        let gauges = [
            (
                "connections",
                "Connections to the database that are open",
                &self.connections,
            ),
            (
                "connections_idle",
                "Connections to the database that nobody uses",
                &self.connections_idle,
            ),
            (
                "writes_waiting",
                "Writes that wait for SQLite's writer",
                &self.writes_waiting,
            ),
            ("horses", "Horses with a log", &self.horses),
            ("log_events", "Events in all logs", &self.log_events),
            (
                "held_events",
                "Events that wait for an owner's word",
                &self.held,
            ),
        ];
        for (name, help, gauge) in gauges {
            ours.register(name, help, gauge.clone());
        }
    }

    /// A request was answered.
    pub(crate) fn answered(
        &self,
        method: &Method,
        route: Option<String>,
        status: u16,
        took: Duration,
    ) {
        let method = name(method);
        // An address that nothing answers isn't named: anybody could make up as many as they like.
        let route = route.unwrap_or_else(|| "none".to_owned());
        let answered = Answered {
            method,
            route: route.clone(),
            status,
        };
        self.requests.get_or_create(&answered).inc();
        self.seconds
            .get_or_create(&Route { method, route })
            .observe(took.as_secs_f64());
    }

    /// Something became of the events of a push.
    pub(crate) fn pushed(&self, batch: &[Result<Arrival, Problem>], outcomes: &[Outcome]) {
        for (arrival, outcome) in batch.iter().zip(outcomes) {
            let kind = arrival
                .as_ref()
                .map_or_else(|_| "unreadable".to_owned(), |one| one.kind().to_string());
            let outcome = match outcome {
                Outcome::Accepted { .. } => "accepted",
                Outcome::Known { .. } => "known",
                Outcome::Held => "held",
                Outcome::Refused { .. } => "refused",
            };
            self.pushed.get_or_create(&Pushed { kind, outcome }).inc();
        }
    }

    /// Somebody tried to sign in.
    pub(crate) fn signed_in(&self, outcome: SignInOutcome) {
        self.sign_ins.get_or_create(&outcome.label()).inc();
    }

    /// Somebody asked more often than they may.
    pub(crate) fn limited(&self, by: Reader) {
        let by = by.code();
        self.limited.get_or_create(&Asker { by }).inc();
    }

    fn note(&self, vitals: Vitals, extent: ledger::Extent) {
        self.connections.set(vitals.connections.into());
        self.connections_idle.set(vitals.idle.into());
        self.writes_waiting
            .set(i64::try_from(vitals.writes_waiting).unwrap_or(i64::MAX));
        self.horses.set(extent.horses);
        self.log_events.set(extent.events);
        self.held.set(extent.held);
    }

    /// Everything as it is now, in the text form of `OpenMetrics` 1.0.
    ///
    /// # Errors
    ///
    /// A problem if the database doesn't answer.
    pub(crate) async fn text(state: &State) -> Result<String, Problem> {
        let extent = state.read::<_, StoreError>(ledger::extent).await?;
        let metrics = &state.metrics;
        metrics.note(state.store.vitals(), extent);
        metrics.process.look();
        let mut written = String::new();
        text::encode(&mut written, &metrics.registry).map_err(Problem::internal)?;
        Ok(written)
    }
}

impl Watch for Metrics {
    fn waited_for_connection(&self, time: Duration) {
        self.connection_seconds.observe(time.as_secs_f64());
    }

    fn committed(&self, writes: usize, took: Duration) {
        self.commit_writes
            .observe(f64::from(u32::try_from(writes).unwrap_or(u32::MAX)));
        self.commit_seconds.observe(took.as_secs_f64());
    }
}

impl SignInOutcome {
    fn label(self) -> SignIn {
        let outcome = match self {
            Self::Opened => "opened",
            Self::Failed => "failed",
            Self::Throttled => "throttled",
        };
        SignIn { outcome }
    }
}

/// A method by its name; those that nobody needs are one, since anybody may make up more.
fn name(method: &Method) -> &'static str {
    const KNOWN: [(Method, &str); 6] = [
        (Method::GET, "GET"),
        (Method::HEAD, "HEAD"),
        (Method::POST, "POST"),
        (Method::PUT, "PUT"),
        (Method::DELETE, "DELETE"),
        (Method::OPTIONS, "OPTIONS"),
    ];
    KNOWN
        .iter()
        .find(|(known, _)| known == method)
        .map_or("other", |(_, name)| name)
}
