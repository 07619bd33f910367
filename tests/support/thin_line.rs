//! A thin line between a client and a server: so many bytes a second, and cut again and again.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// Bytes that are carried in one piece.
const PIECE: usize = 512;

/// What a line is like.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// Bytes a second in each direction.
    pub rate: u64,
    /// It is cut whenever it has carried between so many and so many bytes, both directions together; by chance.
    pub cut_after: Option<(u64, u64)>,
    /// Decides that chance.
    pub seed: u64,
}

/// What a line has carried.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// Bytes from the client to the server.
    pub up: u64,
    /// Bytes from the server to the client.
    pub down: u64,
    /// How often it was cut.
    pub cuts: u64,
}

impl Line {
    /// A line that is never cut, and too fast to be felt.
    #[must_use]
    pub const fn good() -> Self {
        Self {
            rate: 1_000_000_000,
            cut_after: None,
            seed: 0,
        }
    }
}

impl std::ops::Sub for Carried {
    type Output = Self;

    fn sub(self, before: Self) -> Self {
        Self {
            up: self.up - before.up,
            down: self.down - before.down,
            cuts: self.cuts - before.cuts,
        }
    }
}

/// A line that is there until it is dropped.
pub struct ThinLine {
    address: SocketAddr,
    wire: Arc<Wire>,
    accepting: Option<JoinHandle<()>>,
}

struct Wire {
    line: Mutex<Line>,
    up: AtomicU64,
    down: AtomicU64,
    cuts: AtomicU64,
    closed: AtomicBool,
    /// Bytes until the next cut, and the state of chance.
    fate: Mutex<(u64, u64)>,
    open: Mutex<Vec<TcpStream>>,
}

impl ThinLine {
    /// Lays a line to the server at `url` (`http://HOST:PORT`).
    ///
    /// # Panics
    ///
    /// If no socket is to be had.
    #[must_use]
    pub fn to(url: &str, line: Line) -> Self {
        let server: SocketAddr = url
            .strip_prefix("http://")
            .and_then(|address| address.parse().ok())
            .expect("an address like http://127.0.0.1:8040");
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a socket");
        let address = listener.local_addr().expect("an address");
        let wire = Arc::new(Wire::new(line));
        let carries = wire.clone();
        let accepting = std::thread::spawn(move || {
            for client in listener.incoming().flatten() {
                if carries.closed.load(Ordering::SeqCst) {
                    return;
                }
                if let Ok(server) = TcpStream::connect(server) {
                    carries.connect(&client, &server);
                }
            }
        });
        Self {
            address,
            wire,
            accepting: Some(accepting),
        }
    }

    /// Its address, as a client takes it.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Makes another line of it: better or worse.
    pub fn change(&self, line: Line) {
        *lock(&self.wire.line) = line;
        let mut fate = lock(&self.wire.fate);
        fate.1 = line.seed;
        self.wire.draw(&mut fate);
    }

    /// What it has carried so far.
    #[must_use]
    pub fn carried(&self) -> Carried {
        let read = |count: &AtomicU64| count.load(Ordering::SeqCst);
        Carried {
            up: read(&self.wire.up),
            down: read(&self.wire.down),
            cuts: read(&self.wire.cuts),
        }
    }
}

impl Drop for ThinLine {
    fn drop(&mut self) {
        self.wire.closed.store(true, Ordering::SeqCst);
        self.wire.hang_up();
        // Wakes whoever waits for the next client.
        drop(TcpStream::connect(self.address));
        if let Some(accepting) = self.accepting.take() {
            drop(accepting.join());
        }
    }
}

impl Wire {
    fn new(line: Line) -> Self {
        let wire = Self {
            line: Mutex::new(line),
            up: AtomicU64::new(0),
            down: AtomicU64::new(0),
            cuts: AtomicU64::new(0),
            closed: AtomicBool::new(false),
            fate: Mutex::new((0, line.seed)),
            open: Mutex::new(Vec::new()),
        };
        wire.draw(&mut lock(&wire.fate));
        wire
    }

    fn connect(self: &Arc<Self>, client: &TcpStream, server: &TcpStream) {
        let another = |stream: &TcpStream| stream.try_clone().expect("a handle");
        lock(&self.open).extend([another(client), another(server)]);
        for (from, to, is_up) in [(client, server, true), (server, client, false)] {
            let (wire, from, to) = (self.clone(), another(from), another(to));
            std::thread::spawn(move || wire.carry(from, to, is_up));
        }
    }

    fn carry(&self, mut from: TcpStream, mut to: TcpStream, is_up: bool) {
        let mut piece = [0; PIECE];
        loop {
            let read = from.read(&mut piece).unwrap_or(0);
            if read == 0 {
                // One side has ended; the other hears of it.
                let _ = to.shutdown(Shutdown::Write);
                return;
            }
            let passes = self.passes(read);
            let count = if is_up { &self.up } else { &self.down };
            count.fetch_add(passes as u64, Ordering::SeqCst);
            std::thread::sleep(Duration::from_secs(passes as u64) / self.rate());
            let sent = to.write_all(&piece[..passes]);
            if passes < read {
                self.cuts.fetch_add(1, Ordering::SeqCst);
                self.hang_up();
            }
            if sent.is_err() || passes < read {
                return;
            }
        }
    }

    fn rate(&self) -> u32 {
        u32::try_from(lock(&self.line).rate).unwrap_or(u32::MAX)
    }

    /// How many of so many bytes come through before the line is cut.
    fn passes(&self, bytes: usize) -> usize {
        if lock(&self.line).cut_after.is_none() {
            return bytes;
        }
        let mut fate = lock(&self.fate);
        if fate.0 > bytes as u64 {
            fate.0 -= bytes as u64;
            return bytes;
        }
        let passes = usize::try_from(fate.0).unwrap_or(0).min(bytes - 1);
        self.draw(&mut fate);
        passes
    }

    /// Decides when the next cut comes.
    fn draw(&self, fate: &mut (u64, u64)) {
        let Some((least, most)) = lock(&self.line).cut_after else {
            return;
        };
        // SplitMix64 (Steele, Lea, Flood 2014), which the seed alone decides.
        fate.1 = fate.1.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut chance = fate.1;
        chance = (chance ^ (chance >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        chance = (chance ^ (chance >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        chance ^= chance >> 31;
        fate.0 = least + chance % (most - least + 1);
    }

    fn hang_up(&self) {
        for stream in lock(&self.open).drain(..) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
