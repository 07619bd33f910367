//! The open store: many readers, and one way to write.

use std::sync::Arc;
use std::time::{Duration, Instant};

use diesel::RunQueryDsl;
use diesel::connection::{Connection, SimpleConnection};
use diesel::r2d2::{ManageConnection, Pool, PooledConnection};

use crate::connection::{Address, Db};
use crate::error::StoreError;
use crate::gate::Gate;
use crate::life::Lives;
use crate::migrations;
use crate::watch::{Unwatched, Vitals, Watch};
use crate::writer::Writer;

/// How to open a store.
#[derive(Clone, Debug)]
pub struct Settings {
    /// `sqlite://PATH` or `postgres://…`.
    pub url: String,
    /// Connections kept for reading (and, on PostgreSQL, for writing).
    pub connections: u32,
    /// No statement may take longer, and nobody waits longer for a connection.
    pub patience: Duration,
    /// How another life of the ledger begins, for a server; a job that only looks has none.
    pub lives: Option<Lives>,
}

impl Settings {
    /// Those of a job that nobody else waits for.
    #[must_use]
    pub fn of_job(url: &str) -> Self {
        Self {
            url: url.to_owned(),
            connections: 1,
            patience: PATIENCE,
            lives: None,
        }
    }
}

/// The patience of who has no reason for another.
pub(crate) const PATIENCE: Duration = Duration::from_secs(30);

/// A connection that answered so lately isn't asked whether it still is one: that would cost every read another trip.
const FRESH: Duration = Duration::from_secs(1);

/// Nobody waits longer than this for a connection.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);

/// The open store. Cheap to clone.
#[derive(Clone)]
pub struct Store {
    pool: Pool<Opener>,
    /// SQLite has one writer, which commits waiting writes together; PostgreSQL writes on the pool's connections.
    writer: Option<Arc<Writer>>,
    /// On PostgreSQL writes never take all connections.
    gate: Arc<Gate>,
    patience: Duration,
    lives: Option<Lives>,
    watch: Arc<dyn Watch>,
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.writer.is_some() {
            "Store(sqlite)"
        } else {
            "Store(postgres)"
        })
    }
}

impl Store {
    /// Opens the database, brings its schema up to date and starts the writer.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the address is wrong, the database can't be reached, or a migration fails.
    pub fn open(settings: &Settings) -> Result<Self, StoreError> {
        Self::open_watched(settings, Arc::new(Unwatched))
    }

    /// The same; `watch` hears what the store does.
    ///
    /// # Errors
    ///
    /// As [`Store::open`].
    pub fn open_watched(settings: &Settings, watch: Arc<dyn Watch>) -> Result<Self, StoreError> {
        let address = Address::parse(&settings.url)?;
        if let Address::Sqlite(path) = &address {
            keep_to_oneself(path)?;
        }
        let patience = settings.patience;
        migrations::apply(&mut Db::open(&address, patience)?)?;
        let writer = match &address {
            Address::Sqlite(_) => Some(Arc::new(Writer::start(address.clone(), watch.clone())?)),
            Address::Postgres(_) => None,
        };
        let pool = Pool::builder()
            .max_size(settings.connections.max(1))
            .min_idle(Some(0))
            .connection_timeout(patience.min(CONNECT_WITHIN))
            .build(Opener {
                address,
                patience,
                lives: settings.lives.clone(),
            })
            .map_err(|error| StoreError::Connection(error.to_string()))?;
        Ok(Self {
            pool,
            writer,
            gate: Arc::new(Gate::before(settings.connections.max(1))),
            patience: patience.min(CONNECT_WITHIN),
            lives: settings.lives.clone(),
            watch,
        })
    }

    /// Whether several servers may share this database.
    #[must_use]
    pub fn is_shared(&self) -> bool {
        self.writer.is_none()
    }

    /// Runs `work` on a connection for reading. Each statement sees what is committed by then, so what must fit together
    /// is read up to one head of the log, which never changes. Blocks: call it off the async threads.
    ///
    /// # Errors
    ///
    /// What `work` answers, or the failure to get a connection.
    pub fn read<T, E: From<StoreError>>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E>,
    ) -> Result<T, E> {
        work(&mut self.connection()?.db)
    }

    /// A connection for reading that nobody uses, where there is one and a question takes no trip: on SQLite. For a few rows by their
    /// keys, on a thread that must not wait.
    #[must_use]
    pub fn at_hand(&self) -> Option<AtHand> {
        self.writer.as_ref()?;
        self.pool.try_get().map(AtHand)
    }

    /// Runs `work` in a transaction; when this answers `Ok`, it is durable. Blocks: call it off the async threads.
    ///
    /// On SQLite the writes that wait are committed together; each is undone by itself, so that one that fails
    /// leaves its neighbours alone.
    ///
    /// # Errors
    ///
    /// What `work` answers (nothing of it stays then), or the failure to commit.
    pub fn write<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        if let Some(writer) = &self.writer {
            return writer.run(work);
        }
        let _pass = self.gate.enter(self.patience)?;
        let db = &mut self.connection()?.db;
        db.begin_write().map_err(StoreError::from)?;
        match work(db) {
            Ok(done) => {
                let begun = Instant::now();
                db.commit().map_err(StoreError::from)?;
                self.watch.committed(1, begun.elapsed());
                Ok(done)
            }
            Err(why) => {
                if let Err(error) = db.rollback() {
                    // The connection is of no use any more, and the pool sees that.
                    tracing::warn!(%error, "a write could not be undone by hand");
                }
                Err(why)
            }
        }
    }

    /// SQLite's writer, for who has no thread to wait with; PostgreSQL has none.
    #[must_use]
    pub fn writer(&self) -> Option<&Writer> {
        self.writer.as_deref()
    }

    fn connection(&self) -> Result<PooledConnection<Opener>, StoreError> {
        let asked = Instant::now();
        let got = self.pool.get();
        self.watch.waited_for_connection(asked.elapsed());
        got.map_err(|error| StoreError::Connection(error.to_string()))
    }

    /// How it is just now.
    #[must_use]
    pub fn vitals(&self) -> Vitals {
        let pool = self.pool.state();
        Vitals {
            connections: pool.connections,
            idle: pool.idle_connections,
            writes_waiting: self.writer.as_ref().map_or(0, |writer| writer.waiting()),
        }
    }

    /// Ends writing in good order: what was handed over is committed and answered first, and SQLite's log is merged
    /// into its file. Blocks.
    pub fn close(&self) {
        if let Some(writer) = &self.writer {
            writer.close();
            if let Err(error) = self.note() {
                tracing::warn!(%error, "the witness could not be told how far the file has come");
            }
            let merged = self.read(|db| {
                db.batch_execute("PRAGMA wal_checkpoint(TRUNCATE)")
                    .map_err(StoreError::from)
            });
            if let Err(error) = merged {
                // Nothing is lost: the next start reads the log.
                tracing::warn!(%error, "the write-ahead log could not be merged");
            }
        }
    }

    /// Lets the witness of a SQLite file know how far it has come, so that an older copy that is put back is noticed at
    /// the next start. Blocks.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the database or the witness fails.
    pub fn note(&self) -> Result<(), StoreError> {
        match &self.lives {
            Some(lives) => self.read(|db| lives.note(db)),
            None => Ok(()),
        }
    }

    /// Lets the database look for damage in its own pages: SQLite reads them all; PostgreSQL does so as it reads each,
    /// where it was set up with checksums. Blocks.
    ///
    /// # Errors
    ///
    /// [`StoreError::Unreadable`] with what it found.
    pub fn check_pages(&self) -> Result<(), StoreError> {
        self.read(|db| {
            let Db::Sqlite(conn) = db else { return Ok(()) };
            let found: Vec<Found> =
                diesel::sql_query("SELECT integrity_check AS what FROM pragma_integrity_check")
                    .load(conn)?;
            let what: Vec<String> = found.into_iter().map(|one| one.what).collect();
            if what == ["ok"] {
                return Ok(());
            }
            Err(StoreError::Unreadable(what.join("; ")))
        })
    }

    /// Whether the database answers.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if it doesn't.
    pub fn ping(&self) -> Result<(), StoreError> {
        self.read(|db| Ok(db.batch_execute("SELECT 1")?))
    }
}

/// A connection for reading; it goes back when this is dropped.
pub struct AtHand(PooledConnection<Opener>);

impl std::fmt::Debug for AtHand {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("AtHand")
    }
}

impl AtHand {
    /// Runs `work` on it, as [`Store::read`] does.
    ///
    /// # Errors
    ///
    /// What `work` answers.
    pub fn read<T, E>(mut self, work: impl FnOnce(&mut Db) -> Result<T, E>) -> Result<T, E> {
        work(&mut self.0.db)
    }
}

/// A line of what SQLite says of its pages.
#[derive(diesel::QueryableByName)]
struct Found {
    #[diesel(sql_type = diesel::sql_types::Text)]
    what: String,
}

/// Makes the database's file, if there is none, readable by its user only; SQLite's other files follow it.
pub(crate) fn keep_to_oneself(path: &str) -> Result<(), StoreError> {
    let mut options = std::fs::OpenOptions::new();
    options.create(true).append(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    options
        .open(path)
        .map(drop)
        .map_err(|error| StoreError::Connection(format!("{path}: {error}")))
}

/// Opens connections for the pool.
#[derive(Clone, Debug)]
struct Opener {
    address: Address,
    patience: Duration,
    lives: Option<Lives>,
}

/// A connection of the pool.
struct Pooled {
    db: Db,
    /// When it was last asked whether it still is one, and was. That it was used since tells nothing: diesel doesn't notice of each
    /// connection that it died, and callers who come without a pause would be given a dead one for ever.
    alive: Instant,
}

impl ManageConnection for Opener {
    type Connection = Pooled;
    type Error = StoreError;

    fn connect(&self) -> Result<Pooled, StoreError> {
        let mut db = Db::open(&self.address, self.patience)?;
        if let (Some(lives), Db::Postgres(_)) = (&self.lives, &db) {
            lives.look(&mut db)?;
        }
        let alive = Instant::now();
        Ok(Pooled { db, alive })
    }

    fn is_valid(&self, pooled: &mut Pooled) -> Result<(), StoreError> {
        match &mut pooled.db {
            Db::Postgres(conn) if pooled.alive.elapsed() > FRESH => {
                conn.batch_execute("SELECT 1")?;
                pooled.alive = Instant::now();
                Ok(())
            }
            // A file doesn't go away.
            Db::Postgres(_) | Db::Sqlite(_) => Ok(()),
        }
    }

    fn has_broken(&self, pooled: &mut Pooled) -> bool {
        use diesel::connection::TransactionManager;
        std::thread::panicking()
            || <Db as Connection>::TransactionManager::is_broken_transaction_manager(&mut pooled.db)
    }
}
