//! SQLite's one writer: it commits the writes that wait together, so that many devices share one flush to disk.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use diesel::Connection;

use crate::connection::{Address, Db};
use crate::error::StoreError;
use crate::store::PATIENCE;
use crate::watch::Watch;

/// At most so many writes share a commit: bounds how long the first of them waits.
const TOGETHER: usize = 256;

/// The longest that a commit waits for more to share it.
const LONGEST_WAIT: Duration = Duration::from_millis(2);

/// How many writes may queue before callers wait to hand theirs over.
const QUEUE: usize = 1024;

/// A write that waits: it runs inside the shared transaction and answers its caller after the commit.
type Job = Box<dyn FnOnce(&mut Db) -> Answer + Send>;

/// Tells a caller what became of the write; handed the commit's own failure, if there was one.
type Answer = Box<dyn FnOnce(Result<(), StoreError>) + Send>;

/// The writer's thread and the way to it.
pub(crate) struct Writer {
    jobs: Mutex<Option<SyncSender<Job>>>,
    /// Jobs that were handed over and haven't begun.
    waiting: Arc<AtomicUsize>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Writer {
    /// Starts the thread on its own connection.
    pub(crate) fn start(address: Address, watch: Arc<dyn Watch>) -> Result<Self, StoreError> {
        let db = Db::open(&address, PATIENCE)?;
        let (jobs, queue) = sync_channel::<Job>(QUEUE);
        let waiting = Arc::new(AtomicUsize::new(0));
        let queue = Queue {
            jobs: queue,
            waiting: waiting.clone(),
        };
        let thread = std::thread::Builder::new()
            .name("whorl-writer".into())
            .spawn(move || serve(&address, db, &queue, watch.as_ref()))
            .map_err(|error| StoreError::Connection(error.to_string()))?;
        Ok(Self {
            jobs: Mutex::new(Some(jobs)),
            waiting,
            thread: Mutex::new(Some(thread)),
        })
    }

    /// Hands `work` over and waits until it is committed, or undone.
    pub(crate) fn run<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        let (reply, answered) = sync_channel::<Result<T, E>>(1);
        let job: Job = Box::new(move |db| {
            let done = in_savepoint(db, work);
            Box::new(move |committed: Result<(), StoreError>| {
                let outcome = match (done, committed) {
                    (Ok(_), Err(why)) => Err(why.into()),
                    (done, _) => done,
                };
                // The caller may have gone; the write stands either way.
                drop(reply.send(outcome));
            })
        });
        let jobs = self
            .jobs
            .lock()
            .map_err(|_| StoreError::Closing)?
            .clone()
            .ok_or(StoreError::Closing)?;
        self.waiting.fetch_add(1, Ordering::Relaxed);
        jobs.send(job).map_err(|_| {
            self.waiting.fetch_sub(1, Ordering::Relaxed);
            StoreError::Closing
        })?;
        drop(jobs);
        answered.recv().map_err(|_| StoreError::Closing)?
    }

    /// How many writes were handed over and haven't begun.
    pub(crate) fn waiting(&self) -> usize {
        self.waiting.load(Ordering::Relaxed)
    }

    /// Lets what was handed over finish, then ends the thread; writes that come later are refused.
    pub(crate) fn close(&self) {
        if let Ok(mut jobs) = self.jobs.lock() {
            jobs.take();
        }
        let thread = self.thread.lock().ok().and_then(|mut thread| thread.take());
        if let Some(thread) = thread {
            drop(thread.join());
        }
    }
}

/// The writes that wait, and their count.
struct Queue {
    jobs: Receiver<Job>,
    waiting: Arc<AtomicUsize>,
}

impl Queue {
    /// The next write; waits for one. None once no more will come.
    fn next(&self) -> Option<Job> {
        self.taken(self.jobs.recv().ok())
    }

    /// The next write, if one waits already.
    fn next_at_once(&self) -> Option<Job> {
        self.taken(self.jobs.try_recv().ok())
    }

    /// The next write, if one comes in this time.
    fn next_within(&self, time: Duration) -> Option<Job> {
        self.taken(self.jobs.recv_timeout(time).ok())
    }

    fn taken(&self, job: Option<Job>) -> Option<Job> {
        job.inspect(|_| {
            self.waiting.fetch_sub(1, Ordering::Relaxed);
        })
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.close();
    }
}

/// Runs one write in its own savepoint, so that its failure undoes nothing of its neighbours.
fn in_savepoint<T, E: From<StoreError>>(
    db: &mut Db,
    work: impl FnOnce(&mut Db) -> Result<T, E>,
) -> Result<T, E> {
    let mut failed = None;
    let done = db.transaction::<T, diesel::result::Error, _>(|db| {
        work(db).map_err(|why| {
            failed = Some(why);
            diesel::result::Error::RollbackTransaction
        })
    });
    match (done, failed) {
        (_, Some(why)) => Err(why),
        (Ok(done), None) => Ok(done),
        (Err(error), None) => Err(StoreError::from(error).into()),
    }
}

/// How the last commit went: what the next one goes by.
#[derive(Clone, Copy, Debug, Default)]
struct Pace {
    /// So many writes shared it.
    together: usize,
    /// So long it took to reach the disk.
    flushed_in: Duration,
}

impl Pace {
    /// How long it pays to wait for the others who shared the last commit: they have just had their answers, and their
    /// next writes are on their way. A lone writer never waits.
    fn patience(self) -> Duration {
        (self.flushed_in / 4).min(LONGEST_WAIT)
    }
}

fn serve(address: &Address, db: Db, queue: &Queue, watch: &dyn Watch) {
    let mut pace = Pace::default();
    let mut sound = Some(db);
    while let Some(first) = queue.next() {
        let mut db = match sound.take().map_or_else(|| Db::open(address, PATIENCE), Ok) {
            Ok(db) => db,
            Err(error) => {
                // The job is dropped, its reply channel with it: the caller hears that the store didn't take it.
                tracing::error!(%error, "the writer can't open a connection; the next write tries again");
                continue;
            }
        };
        // A panic in one write must not end the writer: all that shared its transaction is undone, and the callers
        // hear it.
        let served = catch_unwind(AssertUnwindSafe(|| {
            serve_together(&mut db, first, queue, watch, &mut pace)
        }));
        match served {
            Ok(true) => sound = Some(db),
            // SQLite undoes by itself what a full or failing disk cut short, and the connection's count of transactions
            // doesn't hear of it: the next write gets a fresh one.
            Ok(false) => {}
            Err(_) => tracing::error!("a write panicked; the writer opens a new connection"),
        }
    }
}

/// Commits `first` and what waits behind it in one transaction, then answers each. Answers whether the connection can go
/// on.
fn serve_together(
    db: &mut Db,
    first: Job,
    queue: &Queue,
    watch: &dyn Watch,
    pace: &mut Pace,
) -> bool {
    if let Err(error) = db.begin_write() {
        // The job is dropped, as above.
        tracing::error!(%error, "the writer can't begin a transaction");
        return false;
    }
    let mut answers = vec![first(db)];
    let until = Instant::now() + pace.patience();
    while answers.len() < TOGETHER {
        let next = queue.next_at_once().or_else(|| {
            let left = until.saturating_duration_since(Instant::now());
            let more = answers.len() < pace.together && !left.is_zero();
            more.then(|| queue.next_within(left)).flatten()
        });
        let Some(job) = next else { break };
        answers.push(job(db));
    }
    let begun = Instant::now();
    let failed = db.commit().err().map(StoreError::from);
    *pace = Pace {
        together: answers.len(),
        flushed_in: begun.elapsed(),
    };
    if let Some(error) = &failed {
        tracing::error!(%error, writes = answers.len(), "the writer can't commit");
    } else {
        watch.committed(answers.len(), begun.elapsed());
    }
    for answer in answers {
        answer(match &failed {
            None => Ok(()),
            Some(StoreError::Disk(why)) => Err(StoreError::Disk(why.clone())),
            Some(error) => Err(StoreError::Connection(format!(
                "the commit failed: {error}"
            ))),
        });
    }
    failed.is_none()
}
