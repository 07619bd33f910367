//! Sends prepared requests over many connections at once, and takes the time.

use std::net::SocketAddr;
use std::sync::Barrier;
use std::time::{Duration, Instant};

use crate::Outcome;
use crate::client::Client;

/// What a run of requests came to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pace {
    /// Answers in a second.
    pub(crate) per_second: f64,
    /// Half of the answers came within this time …
    pub(crate) half: Duration,
    /// … and 99 in 100 within this.
    pub(crate) p99: Duration,
}

/// Sends the requests of each connection one after another, each when the one before was answered, until they are all
/// sent or `most` has gone by. `check` looks at each answer.
pub(crate) fn send(
    address: SocketAddr,
    connections: &[Vec<Vec<u8>>],
    most: Duration,
    check: impl Fn(&[u8]) -> Outcome + Sync,
) -> Outcome<Pace> {
    let barrier = Barrier::new(connections.len());
    let ends = std::thread::scope(|scope| {
        let threads: Vec<_> = connections
            .iter()
            .map(|requests| {
                let (barrier, check) = (&barrier, &check);
                scope.spawn(move || {
                    let client = Client::connect(address);
                    barrier.wait();
                    one(client?, requests, most, check)
                })
            })
            .collect();
        threads
            .into_iter()
            .map(|thread| thread.join().map_err(|_| "a connection failed"))
            .collect::<Result<Vec<_>, _>>()
    })?;
    let ends = ends.into_iter().collect::<Outcome<Vec<_>>>()?;
    // Each connection by its own watch: one that ends early doesn't water the others down.
    let per_second = ends
        .iter()
        .map(|(took, elapsed)| rate(took.len(), *elapsed))
        .sum();
    let mut took: Vec<Duration> = ends.into_iter().flat_map(|(took, _)| took).collect();
    took.sort_unstable();
    let at = |hundredths: usize| {
        took.get(took.len() * hundredths / 100)
            .copied()
            .unwrap_or_default()
    };
    Ok(Pace {
        per_second,
        half: at(50),
        p99: at(99),
    })
}

fn one(
    mut client: Client,
    requests: &[Vec<u8>],
    most: Duration,
    check: &impl Fn(&[u8]) -> Outcome,
) -> Outcome<(Vec<Duration>, Duration)> {
    let began = Instant::now();
    let mut took = Vec::with_capacity(requests.len());
    for request in requests {
        let sent = Instant::now();
        check(client.ask(request)?)?;
        took.push(sent.elapsed());
        if began.elapsed() > most {
            break;
        }
    }
    Ok((took, began.elapsed()))
}

/// So many in a second.
#[expect(clippy::cast_precision_loss, reason = "counts of a few millions")]
pub(crate) fn rate(count: usize, elapsed: Duration) -> f64 {
    count as f64 / elapsed.as_secs_f64()
}

/// One size for each of another.
#[expect(clippy::cast_precision_loss, reason = "sizes of files and of herds")]
pub(crate) fn ratio(size: u64, of: u64) -> f64 {
    size as f64 / of as f64
}
