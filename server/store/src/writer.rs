//! SQLite's one writer: it commits the writes that wait together, so that many devices share one flush to disk.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use diesel::connection::{Connection, SimpleConnection};

use crate::connection::{Address, Db};
use crate::error::StoreError;
use crate::store::PATIENCE;
use crate::watch::Watch;

/// At most so many writes share a commit: bounds how long the first of them waits.
const TOGETHER: usize = 256;

/// A commit takes no more writes once they have gone on for so long, unless a flush takes longer. The flush is a small part of it then,
/// and whoever is answered gets the next write ready meanwhile: if all are answered at once, all make ready at once, then all wait.
const LONG_ENOUGH: Duration = Duration::from_millis(10);

/// The longest that a commit waits for more to share it.
const LONGEST_WAIT: Duration = Duration::from_millis(2);

/// How many writes may queue before callers wait to hand theirs over, or are told to ask again.
const QUEUE: usize = 1024;

/// A write that waits: it runs inside the shared transaction and answers its caller after the commit.
type Job = Box<dyn FnOnce(&mut Db, Place) -> Ran + Send>;

/// Where a write stands in the shared transaction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    /// It is the first.
    First,
    /// Others have written before it.
    Behind,
}

/// What became of a write before the commit.
struct Ran {
    answer: Answer,
    /// Whether the transaction can go on, with this write or without it.
    sound: bool,
}

/// Tells a caller what became of the write; handed the commit's own failure, if there was one.
type Answer = Box<dyn FnOnce(Result<(), StoreError>) + Send>;

/// The writer's thread and the way to it.
pub struct Writer {
    jobs: Mutex<Option<SyncSender<Job>>>,
    /// Jobs that were handed over and haven't begun.
    waiting: Arc<AtomicUsize>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Writer {
    /// Starts the thread on its own connection.
    pub(crate) fn start(address: Address, watch: Arc<dyn Watch>) -> Result<Self, StoreError> {
        Self::start_at(Pace::default(), address, watch)
    }

    fn start_at(pace: Pace, address: Address, watch: Arc<dyn Watch>) -> Result<Self, StoreError> {
        let db = open(&address)?;
        let (jobs, queue) = sync_channel::<Job>(QUEUE);
        let waiting = Arc::new(AtomicUsize::new(0));
        let queue = Queue {
            jobs: queue,
            waiting: waiting.clone(),
        };
        let thread = std::thread::Builder::new()
            .name("whorl-writer".into())
            .spawn(move || serve(&address, db, &queue, watch.as_ref(), pace))
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
        let job = job(work, move |outcome| drop(reply.send(outcome)));
        let jobs = self.jobs()?;
        self.waiting.fetch_add(1, Ordering::Relaxed);
        jobs.send(job)
            .map_err(|_| self.not_taken(StoreError::Closing))?;
        drop(jobs);
        answered.recv().map_err(|_| StoreError::Closing)?
    }

    /// Hands `work` over, as [`crate::Store::write`] does, but without waiting. `then` is called on the writer's thread once the work
    /// is durable or undone, so it may not block; if the writer fails under it, it is dropped without a call.
    ///
    /// # Errors
    ///
    /// Nothing was done: [`StoreError::Busy`] if too many writes wait, [`StoreError::Closing`] if the store takes none any more.
    pub fn hand_over<T, E>(
        &self,
        work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
        then: impl FnOnce(Result<T, E>) + Send + 'static,
    ) -> Result<(), StoreError>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        let jobs = self.jobs()?;
        self.waiting.fetch_add(1, Ordering::Relaxed);
        jobs.try_send(job(work, then)).map_err(|refused| {
            self.not_taken(match refused {
                TrySendError::Full(_) => StoreError::Busy("too many writes wait".into()),
                TrySendError::Disconnected(_) => StoreError::Closing,
            })
        })
    }

    fn jobs(&self) -> Result<SyncSender<Job>, StoreError> {
        let jobs = self.jobs.lock().map_err(|_| StoreError::Closing)?;
        jobs.clone().ok_or(StoreError::Closing)
    }

    fn not_taken(&self, why: StoreError) -> StoreError {
        self.waiting.fetch_sub(1, Ordering::Relaxed);
        why
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

/// A write for the queue; `then` is told what became of it, unless the writer's thread fails under it.
fn job<T, E>(
    work: impl FnOnce(&mut Db) -> Result<T, E> + Send + 'static,
    then: impl FnOnce(Result<T, E>) + Send + 'static,
) -> Job
where
    T: Send + 'static,
    E: From<StoreError> + Send + 'static,
{
    Box::new(move |db, place| {
        let (done, sound) = match place {
            Place::First => as_first(db, work),
            Place::Behind => (in_savepoint(db, work), true),
        };
        // The caller may have gone; the write stands either way.
        let answer = Box::new(move |committed: Result<(), StoreError>| {
            then(match (done, committed) {
                (Ok(_), Err(why)) => Err(why.into()),
                (done, _) => done,
            });
        });
        Ran { answer, sound }
    })
}

/// What the writer's connection has besides [`crate::SQLITE_SETTINGS`]: 16 MB of memory for pages, and 4,000 of them in the log before it
/// is merged into the file. A batch of a thousand events changes more than SQLite allows by itself: it would write some pages twice,
/// and merge its log at every commit.
pub const WRITER_SETTINGS: &str = "PRAGMA cache_size = -16000; PRAGMA wal_autocheckpoint = 4000";

/// A connection for writing.
fn open(address: &Address) -> Result<Db, StoreError> {
    let mut db = Db::open(address, PATIENCE)?;
    db.batch_execute(WRITER_SETTINGS)?;
    Ok(db)
}

/// Runs the first write of a transaction. It needs no savepoint, which would make SQLite keep a copy of each page that it
/// changes: if it fails, all that there is to undo is its own. Answers also whether the transaction can go on.
fn as_first<T, E>(db: &mut Db, work: impl FnOnce(&mut Db) -> Result<T, E>) -> (Result<T, E>, bool) {
    let done = work(db);
    let sound = done.is_ok() || db.rollback().and_then(|()| db.begin_write()).is_ok();
    (done, sound)
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

/// What the next commit goes by.
#[derive(Clone, Copy, Debug)]
struct Pace {
    /// See [`LONG_ENOUGH`].
    long_enough: Duration,
    /// So many writes shared the last commit.
    together: usize,
    /// So long that one took to reach the disk.
    flushed_in: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            long_enough: LONG_ENOUGH,
            together: 0,
            flushed_in: Duration::ZERO,
        }
    }
}

impl Pace {
    /// How long writes may go on that share a commit.
    fn writing(self) -> Duration {
        self.flushed_in.max(self.long_enough)
    }

    /// How long it pays to wait for the others who shared the last commit: they have just had their answers, and their
    /// next writes are on their way. A lone writer never waits.
    fn patience(self) -> Duration {
        (self.flushed_in / 4).min(LONGEST_WAIT)
    }
}

fn serve(address: &Address, db: Db, queue: &Queue, watch: &dyn Watch, mut pace: Pace) {
    let mut sound = Some(db);
    while let Some(first) = queue.next() {
        let mut db = match sound.take().map_or_else(|| open(address), Ok) {
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
    let begun = Instant::now();
    let first = first(db, Place::First);
    if !first.sound {
        // It has failed by itself, and nobody else has written yet.
        (first.answer)(Ok(()));
        tracing::error!("a write could not be undone; the writer opens a new connection");
        return false;
    }
    let mut answers = vec![first.answer];
    let until = Instant::now() + pace.patience();
    while answers.len() < TOGETHER && begun.elapsed() < pace.writing() {
        let next = queue.next_at_once().or_else(|| {
            let left = until.saturating_duration_since(Instant::now());
            let more = answers.len() < pace.together && !left.is_zero();
            more.then(|| queue.next_within(left)).flatten()
        });
        let Some(job) = next else { break };
        answers.push(job(db, Place::Behind).answer);
    }
    let flushing = Instant::now();
    let failed = db.commit().err().map(StoreError::from);
    pace.together = answers.len();
    pace.flushed_in = flushing.elapsed();
    if let Some(error) = &failed {
        tracing::error!(%error, writes = answers.len(), "the writer can't commit");
    } else {
        watch.committed(answers.len(), pace.flushed_in);
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

#[cfg(test)]
mod tests {
    use diesel::prelude::*;
    use diesel::sql_types::BigInt;
    use tempfile::TempDir;

    use super::*;

    /// Remembers how many writes shared each commit.
    #[derive(Debug, Default)]
    struct Commits(Mutex<Vec<usize>>);

    impl Watch for Commits {
        fn committed(&self, writes: usize, _: Duration) {
            self.0.lock().expect("nobody panicked").push(writes);
        }
    }

    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = BigInt)]
        n: i64,
    }

    fn insert(db: &mut Db, n: i64) -> Result<(), StoreError> {
        Ok(db.batch_execute(&format!("INSERT INTO number VALUES ({n})"))?)
    }

    fn numbers(address: &Address) -> Vec<i64> {
        let Db::Sqlite(mut db) = Db::open(address, PATIENCE).expect("the database") else {
            unreachable!("a file is SQLite's");
        };
        let rows: Vec<Row> = diesel::sql_query("SELECT n FROM number ORDER BY n")
            .load(&mut db)
            .expect("rows");
        rows.into_iter().map(|row| row.n).collect()
    }

    #[test]
    fn who_finds_the_queue_full_is_told_so_and_those_in_it_are_served() {
        let folder = TempDir::new().expect("a folder");
        let address = Address::Sqlite(folder.path().join("db").display().to_string());
        let writer = Writer::start(address, Arc::new(Commits::default())).expect("a writer");
        let (begun, has_begun) = sync_channel(0);
        let (go, may_go) = sync_channel::<()>(0);
        writer
            .hand_over(
                move |_| {
                    begun.send(()).expect("somebody waits for it");
                    may_go.recv().expect("somebody lets it go");
                    Ok::<_, StoreError>(())
                },
                drop,
            )
            .expect("there is room");
        has_begun.recv().expect("it has begun");
        let (tell, told) = sync_channel(QUEUE);
        let mut taken = 0;
        let refused = loop {
            let tell = tell.clone();
            let answer = move |done: Result<(), StoreError>| drop(tell.send(done));
            match writer.hand_over(|_| Ok(()), answer) {
                Ok(()) => taken += 1,
                Err(why) => break why,
            }
        };
        assert!(matches!(refused, StoreError::Busy(_)), "{refused:?}");
        assert_eq!((taken, writer.waiting()), (QUEUE, QUEUE));
        go.send(()).expect("it waits for that");
        for _ in 0..QUEUE {
            told.recv().expect("an answer").expect("done");
        }
        assert_eq!(writer.waiting(), 0);
        assert!(writer.run(|_| Ok::<_, StoreError>(())).is_ok());
    }

    #[test]
    fn who_waits_behind_a_long_write_is_served_in_the_next_commit() {
        let folder = TempDir::new().expect("a folder");
        let address = Address::Sqlite(folder.path().join("db").display().to_string());
        let commits = Arc::new(Commits::default());
        // Whatever takes any time is long.
        let pace = Pace {
            long_enough: Duration::ZERO,
            ..Pace::default()
        };
        let writer = Writer::start_at(pace, address.clone(), commits.clone()).expect("a writer");
        let waiting = writer.waiting.clone();
        let (begun, has_begun) = sync_channel(0);
        std::thread::scope(|scope| {
            let long = scope.spawn(|| {
                writer.run(move |db| {
                    begun.send(()).expect("somebody waits for it");
                    while waiting.load(Ordering::Relaxed) < 1 {
                        std::thread::yield_now();
                    }
                    db.batch_execute("CREATE TABLE number (n BIGINT)")?;
                    insert(db, 1)
                })
            });
            has_begun.recv().expect("it has begun");
            writer.run(|db| insert(db, 2)).expect("the next");
            long.join().expect("no panic").expect("the long one");
        });
        assert_eq!(numbers(&address), [1, 2]);
        assert_eq!(*commits.0.lock().expect("nobody panicked"), [1, 1]);
    }

    #[test]
    fn a_write_that_fails_is_undone_alone_wherever_it_stands_in_the_commit() {
        for failing in [0, 1, 2] {
            let folder = TempDir::new().expect("a folder");
            let address = Address::Sqlite(folder.path().join("db").display().to_string());
            let commits = Arc::new(Commits::default());
            // However slow the machine is, they share a commit.
            let pace = Pace {
                long_enough: Duration::from_hours(1),
                ..Pace::default()
            };
            let writer =
                Writer::start_at(pace, address.clone(), commits.clone()).expect("a writer");
            writer
                .run(|db| Ok::<_, StoreError>(db.batch_execute("CREATE TABLE number (n BIGINT)")?))
                .expect("a table");
            let (waiting, others_wait) = (writer.waiting.clone(), sync_channel(0));
            let write = |place: i64| {
                move |db: &mut Db| {
                    insert(db, place * 10)?;
                    insert(db, place * 10 + 1)?;
                    if place == failing {
                        return Err(StoreError::NotFound);
                    }
                    Ok(())
                }
            };
            std::thread::scope(|scope| {
                let first = scope.spawn(|| {
                    let (begun, write) = (others_wait.0.clone(), write(0));
                    writer.run(move |db| {
                        begun.send(()).expect("somebody waits for it");
                        while waiting.load(Ordering::Relaxed) < 2 {
                            std::thread::yield_now();
                        }
                        write(db)
                    })
                });
                others_wait.1.recv().expect("the first has begun");
                let second = scope.spawn(|| writer.run(write(1)));
                while writer.waiting() < 1 {
                    std::thread::yield_now();
                }
                let third = scope.spawn(|| writer.run(write(2)));
                for (place, done) in (0..).zip([first, second, third]) {
                    let done = done.join().expect("no panic");
                    assert_eq!(done.is_err(), place == failing, "{place}: {done:?}");
                }
            });
            let kept = [0, 1, 2].into_iter().filter(|place| *place != failing);
            let kept: Vec<i64> = kept
                .flat_map(|place| [place * 10, place * 10 + 1])
                .collect();
            assert_eq!(numbers(&address), kept);
            assert_eq!(*commits.0.lock().expect("nobody panicked"), [1, 3]);
        }
    }
}
