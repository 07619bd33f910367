//! A server of its own for each test: a real socket, a real database, a clock that the test turns.

use std::net::{SocketAddr, TcpListener};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use chrono::{DateTime, TimeDelta, Utc};
use tempfile::TempDir;
use tokio::sync::oneshot;
use whorl_http::clock::Clock;
use whorl_http::config::{Config, DatabaseUrl, Registration};
use whorl_http::delivery::settings::Reach;
use whorl_http::keys::Keys;
use whorl_http::rate::Allowance;
use whorl_http::serve;
use whorl_http::state::State;

use crate::caller::Caller;
use crate::database::{Database, Own};
use crate::person::Person;

/// When every test begins, by its server's clock.
const BEGINS: &str = "2027-03-04T14:20:00Z";

/// A clock that stands still until a test turns it.
#[derive(Clone, Debug)]
pub struct TestClock(Arc<AtomicI64>);

impl TestClock {
    fn new() -> Self {
        let begins: DateTime<Utc> = BEGINS.parse().expect("a time");
        Self(Arc::new(AtomicI64::new(begins.timestamp_micros())))
    }

    /// What it shows.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp_micros(self.0.load(Ordering::SeqCst)).unwrap_or_default()
    }

    /// Turns it on.
    pub fn advance(&self, by: TimeDelta) {
        let micros = by.num_microseconds().unwrap_or(0);
        self.0.fetch_add(micros, Ordering::SeqCst);
    }
}

/// A running server. It stops, and its database goes, when this is dropped.
pub struct TestServer {
    /// Its clock.
    pub clock: TestClock,
    address: SocketAddr,
    config: Config,
    running: Mutex<Option<Running>>,
    // Dropped last, in this order: the database, then its folder.
    _database: Option<Own>,
    folder: Arc<TempDir>,
}

struct Running {
    state: State,
    stop: oneshot::Sender<()>,
    thread: JoinHandle<std::io::Result<()>>,
}

impl TestServer {
    /// Starts a server on an empty database.
    ///
    /// # Panics
    ///
    /// If it can't start: then there is nothing to test.
    #[must_use]
    pub fn start(database: Database) -> Self {
        Self::start_with(database, |_| {})
    }

    /// Starts a server on an empty database, with other settings than usual.
    ///
    /// # Panics
    ///
    /// If it can't start.
    #[must_use]
    pub fn start_with(database: Database, change: impl FnOnce(&mut Config)) -> Self {
        let folder = TempDir::new().expect("a folder for the test");
        let own = Own::make(database, folder.path());
        let keys = folder.path().join("whorl.keys");
        // On PostgreSQL a server doesn't make its own keys, since its replicas need the same.
        Keys::load(&keys, true).expect("keys");
        let listener = listener(SocketAddr::from(([127, 0, 0, 1], 0)));
        let mut config = Config {
            database_url: DatabaseUrl::from(own.url().to_owned()),
            listen: listener.local_addr().expect("an address"),
            name: "saltmarsh.example".into(),
            keys,
            rules: None,
            registration: Registration::Open,
            trusted_proxies: Vec::new(),
            public_url: None,
            workers: 1,
            connections: 8,
            database_seconds: 30,
            log: "info".into(),
            metrics_listen: None,
            metrics_from: Vec::new(),
            traces: None,
            shutdown_seconds: 10,
            // Its clock stands still, so that what is used up never comes back.
            requests: Allowance {
                at_once: 1_000_000,
                a_second: 10_000,
            },
            readings_days: 730,
            mail: None,
            webhooks: Reach::default(),
            jurisdiction: None,
        };
        change(&mut config);
        Self::serve(
            config,
            TestClock::new(),
            listener,
            (Some(own), folder.into()),
        )
    }

    /// Another server on the same database, with the same keys, as a second replica would be.
    ///
    /// # Panics
    ///
    /// If it can't start.
    #[must_use]
    pub fn replica(&self) -> Self {
        let listener = listener(SocketAddr::from(([127, 0, 0, 1], 0)));
        let mut config = self.config.clone();
        config.listen = listener.local_addr().expect("an address");
        Self::serve(
            config,
            self.clock.clone(),
            listener,
            (None, self.folder.clone()),
        )
    }

    /// The address of its database.
    #[must_use]
    pub fn database_url(&self) -> &str {
        self.config.database_url.expose()
    }

    /// The test's own folder.
    #[must_use]
    pub fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }

    /// Stops it, lets `fill` bring the record into another empty database, and serves that one at the same address.
    ///
    /// # Panics
    ///
    /// If it can't start.
    #[must_use]
    pub fn go_on_with(&self, database: Database, fill: impl FnOnce(&str)) -> Self {
        self.stop();
        let folder = TempDir::new().expect("a folder for the test");
        let own = Own::make(database, folder.path());
        fill(own.url());
        let mut config = self.config.clone();
        config.database_url = DatabaseUrl::from(own.url().to_owned());
        let listener = listener(self.address);
        Self::serve(
            config,
            self.clock.clone(),
            listener,
            (Some(own), folder.into()),
        )
    }

    fn serve(
        config: Config,
        clock: TestClock,
        listener: TcpListener,
        (database, folder): (Option<Own>, Arc<TempDir>),
    ) -> Self {
        let running = Running::start(config.clone(), &clock, listener);
        Self {
            clock,
            address: config.listen,
            config,
            running: Mutex::new(Some(running)),
            _database: database,
            folder,
        }
    }

    /// Stops it in good order; answers that it ended well.
    ///
    /// # Panics
    ///
    /// If it ended badly.
    pub fn stop(&self) {
        let running = self
            .running
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take();
        if let Some(Running {
            state,
            stop,
            thread,
        }) = running
        {
            drop(state);
            // It may have ended by itself.
            let _ = stop.send(());
            thread
                .join()
                .expect("the server's thread")
                .expect("an end in good order");
        }
    }

    /// Stops it and starts it again on the same database and the same address.
    ///
    /// # Panics
    ///
    /// If it can't start again.
    pub fn restart(&self) {
        self.stop();
        let running = Running::start(self.config.clone(), &self.clock, listener(self.address));
        *self.running.lock().unwrap_or_else(PoisonError::into_inner) = Some(running);
    }

    /// What its handlers see: for looking into the store.
    ///
    /// # Panics
    ///
    /// If it was stopped.
    #[must_use]
    pub fn state(&self) -> State {
        let running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        running.as_ref().expect("a running server").state.clone()
    }

    /// Its address, as a client takes it.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// The time by its clock.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Somebody who isn't signed in.
    #[must_use]
    pub fn anonymous(&self) -> Caller {
        Caller::new(self.url(), None)
    }

    /// Opens an account and signs in as a browser does.
    #[must_use]
    pub fn account(&self, name: &str) -> Person {
        Person::join(self, name, false)
    }

    /// Opens an account and signs in from a device with a key of its own.
    #[must_use]
    pub fn device_account(&self, name: &str) -> Person {
        Person::join(self, name, true)
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        let running = self
            .running
            .get_mut()
            .unwrap_or_else(PoisonError::into_inner)
            .take();
        if let Some(Running {
            state,
            stop,
            thread,
        }) = running
        {
            drop(state);
            let _ = stop.send(());
            // A test that fails says more than a server that ended badly.
            let _ = thread.join();
        }
    }
}

impl Running {
    fn start(config: Config, clock: &TestClock, listener: TcpListener) -> Self {
        let tells = clock.clone();
        let state = State::open(config, Clock::new(move || tells.now())).expect("a server");
        let (stop, stopped) = oneshot::channel::<()>();
        let serves = state.clone();
        let thread = std::thread::spawn(move || {
            serve::run(serves, listener, async {
                let _ = stopped.await;
            })
        });
        Self {
            state,
            stop,
            thread,
        }
    }
}

/// A socket that listens already: the first request waits in it, and nobody has to sleep.
fn listener(address: SocketAddr) -> TcpListener {
    TcpListener::bind(address).expect("a socket")
}

/// Makes of one test two: on SQLite and on PostgreSQL.
#[macro_export]
macro_rules! on_both {
    ($(#[$attribute:meta])* $name:ident, |$server:ident| $body:block) => {
        $(#[$attribute])*
        mod $name {
            #[allow(unused_imports, reason = "not every test needs what its file imports")]
            use super::*;

            fn check($server: &$crate::TestServer) $body

            #[test]
            fn on_sqlite() {
                check(&$crate::TestServer::start($crate::Database::Sqlite));
            }

            #[test]
            fn on_postgres() {
                check(&$crate::TestServer::start($crate::Database::Postgres));
            }
        }
    };
}

/// The same for checks that start servers of their own: each is given the database.
#[macro_export]
macro_rules! on_each_database {
    ($($name:ident),* $(,)?) => {$(
        mod $name {
            #[test]
            fn on_sqlite() {
                super::$name($crate::Database::Sqlite);
            }

            #[test]
            fn on_postgres() {
                super::$name($crate::Database::Postgres);
            }
        }
    )*};
}
